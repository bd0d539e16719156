"""Entries for the tests of the journal, and a plain model of what it must answer."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from config.errors import JournalError
from controller.journal.database import open_to_read
from controller.journal.journal import Journal
from controller.journal.previous_run import open_switchings
from controller.journal.reader import JournalReader
from controller.journal.rows import NOT_TRUSTED, TRUSTED
from controller.records.entries import Cause, Entry, Event, EventKind, Heartbeat, Override, Switching
from controller.records.past import Run
from controller.records.reading import Reading

# Where the system keeps files in memory: hundreds of journals there wait for no disk.
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
DUSK = datetime(2027, 6, 21, 21, 40, tzinfo=UTC)


def reading(
    after_s: float = 0.0, *, boot: str = "boot-1", boot_s: float | None = None, trusted: bool = True
) -> Reading:
    """Look at the clock ``after_s`` seconds after dusk; the boot-time clock said 1000 s then."""
    return Reading(
        utc=DUSK + timedelta(seconds=after_s),
        boot_s=1000 + after_s if boot_s is None else boot_s,
        boot_id=boot,
        trusted=trusted,
        trust=TRUSTED if trusted else NOT_TRUSTED,
    )


def lit(zone: str, at: Reading, *, load_w: float | None = 27.0, load_from: str = "fixtures") -> Switching:
    """Switch a zone on, by its program."""
    return Switching(
        zone=zone,
        at=at,
        on=True,
        cause=Cause.PROGRAM,
        words="dusk to midnight",
        load_w=load_w,
        load_from=load_from,
    )


def dark(zone: str, at: Reading, *, cause: Cause = Cause.PROGRAM, load_w: float | None = 27.0) -> Switching:
    """Switch a zone off, by its program."""
    return Switching(
        zone=zone, at=at, on=False, cause=cause, words="midnight", load_w=load_w, load_from="fixtures"
    )


def heartbeat(at: Reading) -> Heartbeat:
    """Give a sign of life."""
    return Heartbeat(at=at)


def event(at: Reading, words: str = "a test", kind: EventKind = EventKind.STARTED) -> Event:
    """Note that something happened."""
    return Event(kind=kind, at=at, words=words)


def overridden(zone: str, at: Reading, *, on: bool = True, lasts_s: float | None = 3600.0) -> Override:
    """Override a zone."""
    return Override(zone=zone, on=on, placed_at=at, lasts_s=lasts_s, by="command line")


def unended(journal: Journal) -> list[Switching]:
    """Give the switchings whose runs have not ended, from the file."""
    with open_to_read(journal.path) as connection:
        return open_switchings(connection)


def model_runs(switchings: list[Switching]) -> list[Run]:
    """Pair the switchings of alternating zones, in the plainest way that there is; oldest beginning first.

    Every clock is trusted: a run is counted back from its end; one that is still lit began when the last
    clock of its boot says.
    """
    begun: dict[str, Switching] = {}
    runs: list[Run] = []
    booted = {each.at.boot_id: each.at.utc - timedelta(seconds=each.at.boot_s) for each in switchings}
    for switching in switchings:
        if switching.on:
            begun[switching.zone] = switching
            continue
        on = begun.pop(switching.zone, None)
        if on is None:
            continue
        same_boot = on.at.boot_id == switching.at.boot_id
        by_wall_s = (switching.at.utc - on.at.utc).total_seconds()
        lit_s = round(switching.at.boot_s - on.at.boot_s if same_boot else max(0.0, by_wall_s), 3)
        runs.append(_run(on, switching, switching.at.utc - timedelta(seconds=lit_s), lit_s))
    runs += [_run(on, None, booted[on.at.boot_id] + timedelta(seconds=on.at.boot_s)) for on in begun.values()]
    return sorted(runs, key=lambda run: run.on_utc)


def _run(on: Switching, off: Switching | None, on_utc: datetime, lit_s: float | None = None) -> Run:
    """Make a run of its ends."""
    return Run(
        zone=on.zone,
        on_utc=on_utc,
        off_utc=None if off is None else off.at.utc,
        lit_s=lit_s,
        cause=on.cause,
        words=on.words,
        ended_by=None if off is None else off.cause,
        load_w=on.load_w,
        load_from=on.load_from,
        trusted=True,
    )


def write(journal: Journal, *entries: object) -> None:
    """Append entries and have them written."""
    for entry in entries:
        journal.append(entry)
    journal.flush()


def write_nights(journal: Journal, nights: int = 365) -> None:
    """Have two zones lit for two hours every night."""
    for night in range(nights):
        for zone in ("jetty", "steps"):
            journal.append(lit(zone, reading(night * 86400)))
            journal.append(dark(zone, reading(night * 86400 + 7200)))
    journal.flush()


def corrupt(path: Path) -> None:
    """Overwrite the second half of a file."""
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2] + b"\x5a" * (len(content) - len(content) // 2))


def everything(place: Path) -> tuple[list[object], ...]:
    """Ask a journal all that it can answer."""
    reader = JournalReader(place)
    return (
        list(reader.switchings()),
        list(reader.runs()),
        list(reader.events()),
        list(reader.overrides()),
        list(reader.replacements()),
        reader.totals(),
    )


@contextlib.contextmanager
def written_journal(
    entries: list[Entry], flush_after: frozenset[int] = frozenset()
) -> Iterator[JournalReader]:
    """Write entries, in as many transactions as asked, and open a reader while the journal stays open."""
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        journal = Journal(Path(folder))
        journal.open()
        for number, entry in enumerate(entries):
            journal.append(entry)
            if number in flush_after:
                journal.flush()
        journal.flush()
        assert journal.lost == 0
        yield JournalReader(Path(folder))
        journal.close()


def written_to(state: Path, *entries: Entry) -> JournalReader:
    """Write entries to a journal, close it, and give a reader."""
    journal = Journal(state)
    write(journal, *entries)
    journal.close()
    return JournalReader(state)


def switch_often(journal: Journal, times: int, *, begin: int = 0) -> None:
    """Append one switching a second of one zone, numbered by its second."""
    for number in range(begin, begin + times):
        change = lit if number % 2 == 0 else dark
        journal.append(change("jetty", reading(number)))


def written(journal: Journal) -> list[float]:
    """Give the numbers of the switchings that are in the file."""
    return [switching.at.boot_s - 1000 for switching in JournalReader(journal.directory).switchings()]


def assert_refused(journal: Journal, *words: str) -> JournalError:
    """A flush fails in these words, loses nothing, and the journal goes on taking entries."""
    waiting, lost = journal.waiting, journal.lost
    with pytest.raises(JournalError) as refusal:
        journal.flush()
    for word in words:
        assert word in str(refusal.value)
    assert (journal.waiting, journal.lost, journal.fault) == (waiting, lost, str(refusal.value))
    return refusal.value
