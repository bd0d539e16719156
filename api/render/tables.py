"""Tables and colours for people: through rich, plain where the output is a pipe or NO_COLOR is set.

On a pipe a line is never folded, cut or padded, so that grep and awk find what they look for. Colours never
carry a meaning of their own: what is lit says "lit".
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import IO

from rich.cells import cell_len
from rich.console import Console, RenderableType
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

# Wide enough that no line is ever folded where nobody looks at a screen.
_PIPE_COLUMNS = 10_000
# A column narrower than this is no longer read, only looked at.
_LEAST_FOLDED_COLUMNS = 16

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


def open_console(file: IO[str] | None = None) -> Console:
    """Open a console that takes text as it is: a name in square brackets is a name, no markup."""
    console = Console(file=file or sys.stdout, markup=False, emoji=False, highlight=False, soft_wrap=False)
    if not console.is_terminal:
        console.width = _PIPE_COLUMNS
    return console


def show(*things: RenderableType) -> None:
    """Print things one below the other to standard output.

    Where they do not fit the terminal, even with their texts folded, long lines are left to the terminal:
    nothing is ever cut off.
    """
    console = open_console()
    if console.is_terminal and _least_columns(things) <= console.width:
        console.print(*things, sep="\n")
        return
    console.width = _PIPE_COLUMNS
    with console.capture() as capture:
        console.print(*things, sep="\n")
    console.file.write("".join(f"{line.rstrip()}\n" for line in capture.get().splitlines()))


def _least_columns(things: Iterable[RenderableType]) -> int:
    """Say how many columns the tables among them need at the least."""
    wide = Console(width=_PIPE_COLUMNS)
    return max(
        (Measurement.get(wide, wide.options, each).minimum for each in things if isinstance(each, Table)),
        default=0,
    )


def build_table(columns: Sequence[TableColumn], rows: Iterable[Sequence[str | Text] | None]) -> Table:
    """Build an aligned table; a row of None leaves a line empty."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style=STRONG, pad_edge=False)
    lines = [[Text("") for _ in columns] if row is None else [as_text(cell) for cell in row] for row in rows]
    for place, column in enumerate(columns):
        widest = max([cell_len(column.heading), *(line[place].cell_len for line in lines)])
        table.add_column(
            Text(column.heading),
            justify="right" if column.right else "left",
            no_wrap=not column.folds,
            min_width=min(widest, _LEAST_FOLDED_COLUMNS) if column.folds else widest,
            overflow="fold",
        )
    for line in lines:
        table.add_row(*line)
    return table


def as_text(cell: str | Text) -> Text:
    """Make a text of a cell, letter by letter."""
    return cell if isinstance(cell, Text) else Text(cell)


def spell_duration(lasts: timedelta) -> str:
    """Say how long something lasts: ``20 s``, ``45 m``, ``3 h 05 m``, and from two days on ``22 days``."""
    seconds = round(lasts.total_seconds())
    if seconds < 60:  # noqa: PLR2004 - seconds in a minute
        return f"{seconds} s"
    if seconds >= 2 * 86_400:
        return f"{round(seconds / 86_400)} days"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02} m" if hours else f"{minutes} m"


def count(number: int, one: str, many: str = "") -> str:
    """Say how many: ``1 night``, ``3 nights``."""
    return f"{number} {one if number == 1 else many or one + 's'}"
