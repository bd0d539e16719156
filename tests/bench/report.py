"""The table of the benches: for a terminal, and as the section “Measured” of DEVELOPERS.md."""

from __future__ import annotations

import os
import platform
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from rich.table import Table

from tests.bench.benchmark import Measurement

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
HEADINGS = ("what", "measured", "reference", "ratio", "limit", "ok?")


def figure(value: float) -> str:
    """Write a figure with three digits, and no fewer before the point."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def cells(measurement: Measurement) -> tuple[str, ...]:
    """Give the texts of one line, one for each heading."""
    benchmark = measurement.benchmark
    return (
        benchmark.what,
        f"{figure(measurement.value)} {benchmark.unit}",
        "" if measurement.reference is None else f"{figure(measurement.reference)} ({benchmark.reference})",
        "" if measurement.ratio is None else f"{measurement.ratio:.2f}",
        benchmark.limit,
        "yes" if measurement.ok else "NO",
    )


def terminal_table(measurements: Sequence[Measurement]) -> Table:
    """Lay the lines out for a terminal; one that fails is red."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in HEADINGS:
        right = heading in ("measured", "ratio")
        table.add_column(heading, justify="right" if right else "left", no_wrap=heading != "what")
    for measurement in measurements:
        table.add_row(*cells(measurement), style="" if measurement.ok else "bold red")
    return table


def machine() -> str:
    """Describe this machine: processor, cores, system, Python."""
    info = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    models = [line.split(":", 1)[1].strip() for line in info.splitlines() if line.startswith("model name")]
    return (
        f"{models[0] if models else platform.machine()}, {os.cpu_count()} cores, "
        f"{platform.system()} {platform.release().split('-')[0]}, Python {platform.python_version()}"
    )


def section(measurements: Sequence[Measurement], *, today: date, machine: str) -> str:
    """Write the section between its two marks: when, where, and the table in Markdown."""
    lines = [
        BEGIN,
        f"Measured on {today:%Y-%m-%d} by `python -m tests.bench --write`: {machine}.",
        "",
        "| " + " | ".join(HEADINGS) + " |",
        "| --- | ---: | --- | ---: | --- | --- |",
        *("| " + " | ".join(cells(each)) + " |" for each in measurements),
        END,
    ]
    return "\n".join(lines)


def replace_section(text: str, fresh: str) -> str:
    """Put a fresh section in the place of the one in a text.

    Raises:
        ValueError: the text has not exactly one pair of marks.
    """
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise ValueError(f"there must be one “{BEGIN}” and one “{END}”")
    before, rest = text.split(BEGIN)
    return before + fresh + rest.split(END)[1]
