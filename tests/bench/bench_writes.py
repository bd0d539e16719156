"""What a day of a whole property writes to the disk: the installed daemon, a day in half a minute.

There is no reference program. The limit is a promise: a card is worn out by what is written to it, in
whole pages. Needs libfaketime, and a temporary folder that is on a disk.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench.benchmark import Benchmark, Measurement
from tests.process.writes import write_a_day

BENCHMARKS = (
    Benchmark(
        what="a December day, 8 zones: written by the daemon, in pages of 4 kB", unit="kB", max_value=1000
    ),
    Benchmark(what="the same: added to the journal, and the night's backup", unit="kB", max_value=1000),
)


def measure() -> list[Measurement]:
    """Let one long night pass, and give what the kernel counted and what the journal grew by."""
    with TemporaryDirectory() as folder:
        written = write_a_day(Path(folder))
    if not written.pages:
        raise ValueError("the temporary folder is in memory; set TMPDIR to one on a disk")
    pages, journal = BENCHMARKS
    return [pages.measured(written.pages / 1000), journal.measured(written.journal / 1000)]
