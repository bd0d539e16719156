"""How much a day of a whole property writes to the disk: the installed daemon, a day in half a minute."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from controller.journal.database import JOURNAL_NAME, backups_of, files_of
from controller.records.entries import EventKind, Switching
from tests.process.daemon import PATIENCE_S, Daemon, running
from tests.process.faketime import FakeTime

EXAMPLE = Path(__file__).parents[2] / "config" / "examples" / "full-property.toml"
RATE = 3600
PAGE_BYTES = 4096
# From a noon in the festive weeks, when nights are long and most zones have a special night, past the next
# noon, when the night's copy of the journal is made.
STARTS_AT_UTC = datetime(2027, 12, 17, 17, 0, tzinfo=UTC)
LASTS = timedelta(hours=24, minutes=20)
BEGUN_S = 20 * 60
HASTY = (EventKind.RESUMED, EventKind.CLOCK_STEPPED)
# What the front garden does then in the example.
FESTIVE = "dusk to dawn, at most 9h"


@dataclass(frozen=True, kw_only=True)
class Written:
    """What a day wrote, without the start.

    Attributes:
        pages: bytes that the kernel counts as written by the process: whole pages of 4 kB, proc(5).
        journal: bytes that were added to the journal's log, and bytes of the night's copy.
        switchings: what was switched.
        hasty: events that are there only because the day was so short: rounds that came late for it.
    """

    pages: int
    journal: int
    switchings: Sequence[Switching]
    hasty: int


def write_a_day(folder: Path, *, program: str = "") -> Written:
    """Let a day pass and count.

    Args:
        folder: where site file and journal lie; it must be on a disk, since what is written to memory is not
            counted.
        program: what the front garden does in the festive weeks; as in the example where it is empty.
    """
    fake = FakeTime(rate=RATE)
    site, journal = _write_site(folder / "site.toml", program), folder / "state" / JOURNAL_NAME
    with running(site, journal.parent, environment=fake.environment(STARTS_AT_UTC)) as daemon:
        disk = _Disk(journal)
        daemon.wait_until("in the journal", lambda: bool(daemon.started))
        start = daemon.started[-1]
        for_s = (STARTS_AT_UTC + LASTS - start.utc).total_seconds()
        daemon.wait_until("well begun", lambda: disk.sync() and fake.boot_s() >= start.boot_s + BEGUN_S)
        pages, log_bytes = _write_bytes(daemon), disk.log_bytes
        daemon.wait_until(
            "a day later",
            lambda: disk.sync() and fake.boot_s() >= start.boot_s + for_s,
            within_s=fake.real_s(for_s) + PATIENCE_S,
        )
        daemon.wait_until("copied", lambda: bool(backups_of(journal)))
        (copy,) = backups_of(journal)
        return Written(
            pages=_write_bytes(daemon) - pages,
            journal=disk.log_bytes - log_bytes + copy.stat().st_size,
            switchings=daemon.switchings,
            hasty=sum(each.kind in HASTY for each in daemon.events),
        )


class _Disk:
    """Sends a journal's log to the disk soon after each commit.

    The kernel counts a page once until it is on the disk, which is half a minute after it was written at
    most. A day so short would leave all of it in memory until the end.
    """

    def __init__(self, journal: Path) -> None:
        self._log = files_of(journal)[0]
        self.log_bytes = self._synced_bytes = 0

    def sync(self) -> bool:
        """Look at the log; send what has come, unless more has come since the last look."""
        seen_bytes = self._log.stat().st_size if self._log.exists() else 0
        assert seen_bytes >= self.log_bytes, "the log was emptied: choose a shorter time"
        if seen_bytes == self.log_bytes and seen_bytes != self._synced_bytes:
            descriptor = os.open(self._log, os.O_RDONLY)
            try:
                os.fdatasync(descriptor)
            finally:
                os.close(descriptor)
            self._synced_bytes = seen_bytes
        self.log_bytes = seen_bytes
        return True


def _write_site(path: Path, program: str) -> Path:
    """Write the example's site file, so that it believes the clock of the test."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in (('"synchronised"', '"always"'), (FESTIVE, program or FESTIVE)):
        assert text.count(old) == 1, f"the example has {old} not once"
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def _write_bytes(daemon: Daemon) -> int:
    """Read what the kernel counted."""
    lines = Path(f"/proc/{daemon.process.pid}/io").read_text(encoding="ascii").splitlines()
    counts = dict(line.split(": ") for line in lines)
    return int(counts["write_bytes"]) - int(counts["cancelled_write_bytes"])
