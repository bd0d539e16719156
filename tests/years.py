"""Journals of years in which nothing goes wrong, for benches and for tests of what grows with the years."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

from config.models.site import Site
from controller.calendar.night import night_on, nights
from controller.journal.journal import Journal
from controller.planning.planner import Planner
from controller.planning.program_text import format_program
from controller.records.entries import Cause, Entry, Event, EventKind, Switching
from controller.records.reading import Reading

# A board that starts afresh so often.
NIGHTS_A_BOOT = 100
# Entries written at once.
_AT_ONCE = 8000


def write_years(folder: Path, site: Site, first: date, last: date) -> None:
    """Write the journal of a site that kept its program from one night to another, the last one included."""
    journal = Journal(folder)
    for number, entry in enumerate(entries(site, first, last), 1):
        journal.append(entry)
        if number % _AT_ONCE == 0:
            journal.flush()
    journal.flush()
    journal.close()


def entries(site: Site, first: date, last: date) -> Iterator[Entry]:
    """Give what a keeper writes meanwhile."""
    planner = Planner(site)
    boot_id, started = "", night_on(first, planner.tz).starts_at_utc
    for number, night in enumerate(nights(first, last, planner.tz)):
        if number % NIGHTS_A_BOOT == 0:
            boot_id, started = f"00000000-0000-4000-8000-{number:012d}", night.starts_at_utc
            at = _reading(started, boot_id, started)
            yield Event(kind=EventKind.STARTED, at=at, words="site")
            for zone in site.zones:
                yield Event(kind=EventKind.PROGRAM, at=at, words=format_program(zone), zone=zone.id)
        edges = [
            (at_utc, on, zone)
            for zone in site.zones
            for window in planner.plan(zone.id, night).windows
            for at_utc, on in ((window.on_utc, True), (window.off_utc, False))
        ]
        for at_utc, on, zone in sorted(edges, key=lambda edge: edge[:2]):
            yield Switching(
                zone=zone.id,
                at=_reading(at_utc, boot_id, started),
                on=on,
                cause=Cause.PROGRAM,
                words="dusk to midnight, every night",
                load_w=zone.rated_load.watts,
                load_from=zone.rated_load.origin,
            )


def _reading(at_utc: datetime, boot_id: str, started_utc: datetime) -> Reading:
    """Read a clock that is right."""
    boot_s = (at_utc - started_utc).total_seconds()
    return Reading(utc=at_utc, boot_s=boot_s, boot_id=boot_id, trusted=True, trust="set from the network")
