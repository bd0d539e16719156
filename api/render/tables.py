"""Tables and colours for people: through rich, plain where the output is a pipe or NO_COLOR is set.

On a terminal that is too narrow for a table each row becomes a block of lines. A pipe is 100 columns wide:
texts fold there too, but a table stays one, and no line is cut or padded, so that grep and awk find names and
numbers. Colours never carry a meaning of their own: what is lit says "lit".
"""

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import IO

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

_PIPE_COLUMNS = 100
# Wide enough to measure what a table needs.
_ANY_COLUMNS = 10_000
# A longer table is laid out in pages of about so many rows: a row takes ten kilobytes until it is printed.
PAGE_ROWS = 250
# A column narrower than this cannot be read.
_LEAST_FOLDED_COLUMNS = 12

# Yellow and blue stay apart for people who cannot tell red from green.
LIT = "bold yellow"
DARK = "blue"
QUIET = "dim"
STRONG = "bold"


@dataclass(frozen=True, kw_only=True, slots=True)
class TableColumn:
    """A column of a table: its heading, whether numbers stand to the right, and whether its text may fold."""

    heading: str
    right: bool = False
    folds: bool = False


def texts(*headings: str, folds: bool = False) -> list[TableColumn]:
    """Make columns of text."""
    return [TableColumn(heading=each, folds=folds) for each in headings]


def numbers(*headings: str) -> list[TableColumn]:
    """Make columns of numbers, which stand to the right."""
    return [TableColumn(heading=each, right=True) for each in headings]


def strong(*cells: str) -> list[Text]:
    """Make the cells of a row of totals."""
    return [Text(cell, style=STRONG) for cell in cells]


def note_line(note: str) -> Text:
    """Make a sentence of a note below a table."""
    return Text(f"{note[0].upper()}{note[1:]}.", style=QUIET)


def open_console(file: IO[str] | None = None) -> Console:
    """Open a console that takes text as it is: a name in square brackets is a name, no markup."""
    console = Console(file=file or sys.stdout, markup=False, emoji=False, highlight=False, soft_wrap=False)
    if not console.is_terminal:
        console.width = _PIPE_COLUMNS
    return console


def show(*things: RenderableType) -> None:
    """Print things one below the other to standard output."""
    show_each(things)


def show_each(things: Iterable[RenderableType]) -> None:
    """Print things one below the other, each as it comes."""
    console = open_console()
    for thing in things:
        if console.is_terminal:
            console.print(thing)
            continue
        with console.capture() as capture:
            console.print(thing, crop=False)
        console.file.write("".join(f"{line.rstrip()}\n" for line in capture.get().splitlines()))


Row = Sequence[str | Text] | None


@dataclass(frozen=True, kw_only=True, slots=True)
class FoldingTable:
    """An aligned table; where the terminal is too narrow for it, a block of lines for each row."""

    columns: Sequence[TableColumn]
    rows: Sequence[Sequence[Text]]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        table = self._table()
        least = Measurement.get(console, options.update(width=_ANY_COLUMNS), table).minimum
        if least <= options.max_width or not console.is_terminal:
            yield from console.render(table, options.update(width=max(least, options.max_width)))
        else:
            yield from self._blocks()

    def _table(self) -> Table:
        table = Table(box=None, padding=(0, 2, 0, 0), header_style=STRONG, pad_edge=False)
        lines = [cell for row in self.rows for cell in (row or [Text()] * len(self.columns))]
        for place, column in enumerate(self.columns):
            heading = column.heading.splitlines() or [""]
            cells = lines[place :: len(self.columns)]
            widest = max([*map(cell_len, heading), *(cell.cell_len for cell in cells)])
            table.add_column(
                Text(column.heading),
                justify="right" if column.right else "left",
                vertical="top",
                no_wrap=not column.folds,
                min_width=min(widest, _LEAST_FOLDED_COLUMNS) if column.folds else widest,
                overflow="fold",
            )
        for start in range(0, len(lines), len(self.columns)):
            table.add_row(*lines[start : start + len(self.columns)])
        return table

    def _blocks(self) -> Iterator[RenderableType]:
        """Build the blocks: the columns left of the numbers are the title, the others follow by name."""
        titles = next((n for n, column in enumerate(self.columns) if column.right), 1) or 1
        above = ""
        for cells in filter(None, self.rows):
            above = cells[0].plain or above
            yield Text(
                " ".join(filter(None, [above, *(cell.plain for cell in cells[1:titles])])), style=STRONG
            )
            parts = [
                Text.assemble(f"{column.heading} ".replace("\n", " ").lstrip(), cell)
                for column, cell in zip(self.columns[titles:], cells[titles:], strict=True)
                if cell.plain
            ]
            yield Padding(Text(" · ").join(parts), (0, 0, 0, 2))


def build_table(columns: Sequence[TableColumn], rows: Iterable[Row]) -> FoldingTable:
    """Build an aligned table; a row of None leaves a line empty, and a text is shown letter by letter."""
    cells = [[cell if isinstance(cell, Text) else Text(cell) for cell in row or ()] for row in rows]
    return FoldingTable(columns=columns, rows=cells)
