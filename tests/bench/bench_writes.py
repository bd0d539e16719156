"""What a day of a whole property writes to the disk: the installed daemon, a day in half a minute.

There is no peer to hold it against. The bound is a promise: a card is worn out by what is written to it, in
whole pages. Needs libfaketime, and a temporary folder that is on a disk.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench.rows import Row
from tests.process.writes import write_a_day

AT_MOST_KB = 1000.0


def measure() -> list[Row]:
    """Let one long night pass, and give what the kernel counted and what the journal grew by."""
    with TemporaryDirectory() as folder:
        written = write_a_day(Path(folder))
    if not written.pages:
        raise ValueError("the temporary folder is in memory; set TMPDIR to one on a disk")
    return [
        Row(
            what="a December day, 8 zones: written by the daemon, in pages of 4 kB",
            unit="kB",
            ours=written.pages / 1000,
            ours_at_most=AT_MOST_KB,
        ),
        Row(
            what="the same: added to the journal, and the night's copy",
            unit="kB",
            ours=written.journal / 1000,
            ours_at_most=AT_MOST_KB,
        ),
    ]
