"""Run the benches and print one table: ``python -m tests.bench [name ...]``.

Exit code 0 where every bound holds, 1 where one does not or a bench broke, 2 for a name that is no bench.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from rich.console import Console
from rich.table import Table

from tests.bench.rows import Row

PREFIX = "bench_"


def names_of_benches() -> list[str]:
    """Give the names of the benches in this folder, in order."""
    return sorted(path.stem.removeprefix(PREFIX) for path in Path(__file__).parent.glob(f"{PREFIX}*.py"))


def run_bench(name: str) -> list[Row]:
    """Import one bench, with whatever it needs, and run it."""
    measure: Callable[[], list[Row]] = import_module(f"tests.bench.{PREFIX}{name}").measure
    return measure()


def table_of(rows: list[Row]) -> Table:
    """Lay the rows out."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading, side in [
        ("what", "left"),
        ("ours", "right"),
        ("peer", "left"),
        ("peer's", "right"),
        ("ratio", "right"),
        ("bound", "left"),
        ("holds?", "left"),
    ]:
        table.add_column(heading, justify=side, no_wrap=heading != "what")  # type: ignore[arg-type]
    for row in rows:
        table.add_row(
            row.what,
            f"{row.ours:.3g} {row.unit}",
            row.peer_name,
            "" if row.peer is None else f"{row.peer:.3g} {row.unit}",
            "" if row.ratio is None else f"{row.ratio:.2f}",
            row.bound,
            "yes" if row.holds else "NO",
            style="" if row.holds else "bold red",
        )
    return table


def main(wanted: list[str]) -> int:
    """Run the benches that are wanted, or all, and print their rows."""
    known = names_of_benches()
    unknown = [name for name in wanted if name not in known]
    if unknown:
        sys.stderr.write(f"no bench is called {', '.join(unknown)}; there are {', '.join(known)}\n")
        return 2
    rows: list[Row] = []
    broken = []
    for name in wanted or known:
        sys.stderr.write(f"running {name} ...\n")
        try:
            rows += run_bench(name)
        except Exception:  # noqa: BLE001 (one broken bench must not hide the others' figures)
            traceback.print_exc()
            broken.append(name)
    console = Console()
    # A pipe has no width of its own: give it enough that no figure is folded.
    Console(width=None if console.is_terminal else 140, highlight=False).print(table_of(rows))
    for name in broken:
        sys.stdout.write(f"{name}: broken, see above\n")
    return 1 if broken or not all(row.holds for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
