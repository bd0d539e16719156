"""The last change of programs, as the journal has it: whose it was, and what the zones did before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta

from api.web.context import WRITTEN_BY, RequestContext
from config.errors import JournalError, ProgramError
from config.models.site import Site, SpecialNight
from config.program.spans import Span
from controller.planning.program_record import parse_program_record
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading

# What lies further back is hardly what somebody wants back by one button.
_BACK = timedelta(days=30)

Program = tuple[tuple[Span, ...], tuple[SpecialNight, ...]]
"""What a zone does: its spans of every night, and its special nights."""


class ChangedMeanwhile(Exception):  # noqa: N818 - not an error, but a question for a person
    """Somebody else changed a program while this client looked at it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramChange:
    """One change of the programs of one zone or several.

    Attributes:
        by: who made it; empty where it was made in the site file.
        before: what each zone did until then.
    """

    at: Reading
    by: str
    before: Mapping[str, Program]

    @property
    def id(self) -> str:
        """What tells it from any other change."""
        return f"{self.at.boot_id}:{self.at.boot_s:.3f}"


def program_of(site: Site, zone_id: str) -> Program:
    """Give what a zone does."""
    zone = site.zone(zone_id)
    return zone.program, zone.special_nights


def last_change(context: RequestContext) -> ProgramChange | None:
    """Give the last change of programs; None where there was none lately, or nobody knows any more.

    What happened since the start is in memory; what happened before is read from the journal.
    """
    gateway, now_utc = context.gateway, context.now().utc
    recent = (entry for _, entry in gateway.recent.newer(None) if isinstance(entry, Event))
    found = find_last_change(recent, gateway.site)
    if found is None:
        try:
            found = find_last_change(gateway.journal.events_about(now_utc - _BACK, now_utc), gateway.site)
        except JournalError:
            return None
    return found


def find_last_change(events: Iterable[Event], site: Site) -> ProgramChange | None:
    """Find the last change among events in the order in which they were written."""
    known: dict[str, Program] = {}
    changes: dict[str, tuple[Reading, str, Program]] = {}
    written: tuple[Reading, str] | None = None
    for event in events:
        if event.kind is EventKind.SITE_CHANGED:
            written = event.at, event.words.rpartition(WRITTEN_BY)[2] if WRITTEN_BY in event.words else ""
        elif event.kind is EventKind.PROGRAM and event.zone is not None:
            zone, program = site.zone_id_now(event.zone), _read(event)
            if program is None:
                continue  # gone, or called otherwise from now on
            before = known.get(zone)
            known[zone] = program
            if before is not None and before != program:
                by = written[1] if written is not None and written[0] == event.at else ""
                changes.pop(zone, None)  # so that the last one stands at the end
                changes[zone] = event.at, by, before
    present = {zone.id: program_of(site, zone.id) for zone in site.zones}
    still = {zone: change for zone, change in changes.items() if known[zone] == present.get(zone)}
    if not still:
        return None
    at, by, _ = list(still.values())[-1]
    before_it = {zone: then for zone, (when, _, then) in still.items() if when == at}
    return ProgramChange(at=at, by=by, before=before_it)


def _read(event: Event) -> Program | None:
    try:
        record = parse_program_record(event.zone or "", event.words)
    except ProgramError:
        return None
    return None if record is None else (record.program, tuple(record.special_nights))
