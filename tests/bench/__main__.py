"""Run the benches and print one table: ``python -m tests.bench [--write] [name ...]``.

Exit code 0 where every limit is kept, 1 where one is not or a bench broke, 2 for a name that is no bench.
"""

from __future__ import annotations

import argparse
import sys
import traceback
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from rich.console import Console

from tests.bench import report
from tests.bench.benchmark import Benchmark, Measurement

PREFIX = "bench_"


def bench_names() -> list[str]:
    """Give the names of the benches in this folder, in order."""
    return sorted(path.stem.removeprefix(PREFIX) for path in Path(__file__).parent.glob(f"{PREFIX}*.py"))


def benchmarks_of(name: str) -> Sequence[Benchmark]:
    """Give what one bench declares, unmeasured."""
    declared: Sequence[Benchmark] = import_module(f"tests.bench.{PREFIX}{name}").BENCHMARKS
    return declared


def run_bench(name: str) -> list[Measurement]:
    """Import one bench, with whatever it needs, and run it.

    Raises:
        ValueError: it measured something else than it declares.
    """
    measure: Callable[[], list[Measurement]] = import_module(f"tests.bench.{PREFIX}{name}").measure
    measurements = measure()
    if [each.benchmark for each in measurements] != list(benchmarks_of(name)):
        raise ValueError(f"the bench “{name}” did not measure what it declares, in that order")
    return measurements


def main(arguments: list[str]) -> int:
    """Run the benches that are named, or all, and print their table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=main.__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help="one of: " + ", ".join(bench_names()))
    parser.add_argument("--write", action="store_true", help="run all, and fill “Measured” in DEVELOPERS.md")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.names if name not in bench_names()]
    if unknown or (options.write and options.names):
        message = f"no bench is called {', '.join(unknown)}" if unknown else "--write runs every bench"
        sys.stderr.write(f"{message}; there are {', '.join(bench_names())}\n")
        return 2
    measurements: list[Measurement] = []
    broken = []
    for name in options.names or bench_names():
        sys.stderr.write(f"running {name} ...\n")
        try:
            measurements += run_bench(name)
        except Exception:  # noqa: BLE001 (one broken bench must not hide the others' figures)
            traceback.print_exc()
            broken.append(name)
    console = Console()
    # A pipe has no width of its own: give it enough that no figure is folded.
    width = None if console.is_terminal else 160
    Console(width=width, highlight=False).print(report.terminal_table(measurements))
    for name in broken:
        sys.stdout.write(f"{name}: broken, see above\n")
    if options.write and not broken:
        fresh = report.section(measurements, today=datetime.now(UTC).date(), machine=report.machine())
        text = report.DEVELOPERS.read_text(encoding="utf-8")
        report.DEVELOPERS.write_text(report.replace_section(text, fresh), encoding="utf-8")
    return 1 if broken or not all(each.ok for each in measurements) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
