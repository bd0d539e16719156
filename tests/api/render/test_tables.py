"""Tables for people: aligned where they fit, a block for each row on a narrower terminal."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from api.render.tables import TableColumn, build_table

COLUMNS = [
    TableColumn(heading="Period"),
    TableColumn(heading="Zone"),
    TableColumn(heading="Lit h", right=True),
    TableColumn(heading="Before dusk or\nafter dawn", right=True),
]
ROWS = [
    ["2027-05", "jetty", "26.60", "0.00"],
    ["", "path", "1,040.5", "1.50"],
    None,
    ["total", "", "1,067.1", ""],
]


def shown(width: int) -> list[str]:
    """The lines that a terminal of a width shows."""
    file = io.StringIO()
    Console(file=file, width=width, force_terminal=True, color_system=None).print(build_table(COLUMNS, ROWS))
    return [line.rstrip() for line in file.getvalue().splitlines()]


def test_a_table_that_fits_is_aligned():
    """Headings may have two lines, numbers stand to the right, and an empty row is an empty line."""
    assert shown(80) == [
        "                         Before dusk or",
        "Period   Zone     Lit h      after dawn",
        "2027-05  jetty    26.60            0.00",
        "         path   1,040.5            1.50",
        "",
        "total           1,067.1",
    ]


@pytest.mark.parametrize("width", [24, 38])
def test_a_table_that_does_not_fit_becomes_blocks(width):
    """Each row is named by what stands before its numbers, and no line is wider than the terminal."""
    lines = shown(width)
    assert [line for line in lines if not line.startswith("  ")] == ["2027-05 jetty", "2027-05 path", "total"]
    assert max(map(len, lines)) <= width
    assert "Lit h 1,040.5" in " ".join(line.strip() for line in lines)
