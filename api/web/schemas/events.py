"""The messages of the event stream: what each is called, the document that it carries, and how it is made.

A message with an id tells of an entry of the journal. The others show the state as it is now.
"""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from fastapi.sse import format_sse_event
from pydantic import Field, GetJsonSchemaHandler
from pydantic_core import CoreSchema

from api.render.clock_json import ClockResponse, clock_response
from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel
from api.web.schemas.status import (
    JournalResponse,
    SiteFileResponse,
    StatusResponse,
    journal_response,
    site_file_response,
)
from api.web.schemas.switchings import SwitchingResponse, switching_response
from api.web.schemas.zones import (
    OverrideResponse,
    SpanText,
    SpecialNightResponse,
    ZonesResponse,
    ZoneSummary,
    by_present_clock,
    override_response,
    zone_summaries,
    zones_response,
)
from config.models.site import Site
from controller.journal.recent import EntryId, News
from controller.keeper.state import KeeperStatus, ZoneStatus
from controller.planning.program_record import parse_program_record
from controller.records.entries import Event, EventKind, Override, OverrideEnded, Switching
from controller.records.reading import Reading

# By how much the end of an override may differ from one round to the next: it is reckoned from what is left.
_SAME_END_S = 1.0


class _AsJson:
    """Describes a field that is sent as a line of JSON: JSON Schema 2020-12 (Validation), section 8.5."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "string", "contentMediaType": "application/json", "contentSchema": handler(schema)}


AS_JSON = _AsJson()
EventId = Annotated[
    str,
    Field(
        description="names the entry of the journal; a client that comes back sends the last one as "
        "Last-Event-ID, as every EventSource does, and is told what it missed",
        examples=["2f6d7c1e-5b0a-4a3e-9c53-8d1f0e6b7a42:5231877:1"],
    ),
]


class PlacedOverrideResponse(OverrideResponse):
    """A person's “on” or “off” for now, that was placed."""

    zone: str


class EndedOverrideResponse(ResponseModel):
    """The end of an override."""

    at: Instant
    zone: str
    because: str = Field(examples=["its time was over", "lifted by api"])


class ZoneProgramResponse(ResponseModel):
    """What a zone does from an instant on."""

    at: Instant
    zone: str
    program: list[SpanText] | None = Field(description="null where the site has no such zone any more")
    special_nights: list[SpecialNightResponse]
    out_of_service: str | None = Field(description="why it is never lit; null where it is in service")


class EventResponse(ResponseModel):
    """Something else that happened: to the clock, a relay, the site file, the journal, the daemon."""

    at: Instant
    kind: EventKind
    zone: str | None = Field(description="whose relay it is about; null where it is about no zone")
    because: str
    size_s: float | None = Field(
        description="length of a step, a gap or a fault in seconds; null without one"
    )
    trusted: bool = Field(description="whether the clock was trusted then")


class ResetResponse(ResponseModel):
    """What the client knows of the past may be incomplete: read again what you show of it."""

    because: str


class PingResponse(ResponseModel):
    """A sign of life, every 15 s."""

    now: Instant


class StatusEvent(ResponseModel):
    """The state of everything, at the beginning of a stream; ``id`` is that of the newest entry."""

    event: Literal["status"] = "status"
    id: EventId | None
    data: Annotated[StatusResponse, AS_JSON]


class ResetEvent(ResponseModel):
    """Not all that was missed can be told; ``id`` is that of the newest entry."""

    event: Literal["reset"] = "reset"
    id: EventId | None
    data: Annotated[ResetResponse, AS_JSON]


class ZonesEvent(ResponseModel):
    """Every zone, where the site has others, or calls them otherwise, than before."""

    event: Literal["zones"] = "zones"
    data: Annotated[ZonesResponse, AS_JSON]


class ZoneEvent(ResponseModel):
    """A zone whose light, decision, override or fault changed."""

    event: Literal["zone"] = "zone"
    data: Annotated[ZoneSummary, AS_JSON]


class ClockEvent(ResponseModel):
    """Whether the clock is trusted, or why, changed."""

    event: Literal["clock"] = "clock"
    data: Annotated[ClockResponse, AS_JSON]


class SiteFileEvent(ResponseModel):
    """The site file was changed, read, or refused."""

    event: Literal["site_file"] = "site_file"
    data: Annotated[SiteFileResponse, AS_JSON]


class JournalEvent(ResponseModel):
    """The journal cannot be written, or can be again."""

    event: Literal["journal"] = "journal"
    data: Annotated[JournalResponse, AS_JSON]


class SwitchingEvent(ResponseModel):
    """A relay changed."""

    event: Literal["switching"] = "switching"
    id: EventId
    data: Annotated[SwitchingResponse, AS_JSON]


class OverrideEvent(ResponseModel):
    """An override was placed."""

    event: Literal["override"] = "override"
    id: EventId
    data: Annotated[PlacedOverrideResponse, AS_JSON]


class OverrideEndedEvent(ResponseModel):
    """An override ended."""

    event: Literal["override_ended"] = "override_ended"
    id: EventId
    data: Annotated[EndedOverrideResponse, AS_JSON]


class ProgramEvent(ResponseModel):
    """A zone was told what to do: at every start, and where that changed."""

    event: Literal["program"] = "program"
    id: EventId
    data: Annotated[ZoneProgramResponse, AS_JSON]


class OtherEvent(ResponseModel):
    """Something else happened."""

    event: Literal["event"] = "event"
    id: EventId
    data: Annotated[EventResponse, AS_JSON]


class PingEvent(ResponseModel):
    """The stream is alive."""

    event: Literal["ping"] = "ping"
    data: Annotated[PingResponse, AS_JSON]


NewsEvent = SwitchingEvent | OverrideEvent | OverrideEndedEvent | ProgramEvent | OtherEvent
StateEvent = ZonesEvent | ZoneEvent | ClockEvent | SiteFileEvent | JournalEvent
StreamEvent = Annotated[
    StatusEvent | ResetEvent | StateEvent | NewsEvent | PingEvent, Field(discriminator="event")
]


def message(event: StatusEvent | ResetEvent | StateEvent | NewsEvent | PingEvent) -> bytes:
    """Write an event as it is sent: HTML (WHATWG), section 9.2.5."""
    return format_sse_event(
        event=event.event, id=getattr(event, "id", None), data_str=event.data.model_dump_json()
    )


def news_event(entry_id: EntryId, entry: News, site: Site, now: Reading) -> NewsEvent:
    """Tell of an entry of the journal, by the name that its zone has now."""
    name, zone = str(entry_id), site.zone_id_now(entry.zone or "")
    match entry:
        case Switching():
            found = switching_response(entry).model_copy(update={"zone": zone})
            return SwitchingEvent(id=name, data=found)
        case Override():
            placed = PlacedOverrideResponse(**dict(override_response(entry, now)), zone=zone)
            return OverrideEvent(id=name, data=placed)
        case OverrideEnded():
            at = instant_text(entry.at.utc)
            return OverrideEndedEvent(
                id=name, data=EndedOverrideResponse(at=at, zone=zone, because=entry.words)
            )
        case Event(kind=EventKind.PROGRAM):
            return ProgramEvent(id=name, data=_zone_program(entry, zone))
    return OtherEvent(
        id=name,
        data=EventResponse(
            at=instant_text(entry.at.utc),
            kind=entry.kind,
            zone=zone or None,
            because=entry.words,
            size_s=entry.size_s,
            trusted=entry.at.trusted,
        ),
    )


def state_events(before: KeeperStatus, after: KeeperStatus, site: Site, now: Reading) -> Iterator[StateEvent]:
    """Show what of the state is not as it was in an earlier status."""
    known = {(each.zone, each.name): each for each in before.zones}
    if list(known) != [(each.zone, each.name) for each in after.zones]:
        yield ZonesEvent(data=zones_response(site, after, now))
    else:
        changed = {each.zone for each in after.zones if not _is_same(known[each.zone, each.name], each)}
        for summary in zone_summaries(site, after, now) if changed else ():
            if summary.id in changed:
                yield ZoneEvent(data=summary)
    if (before.at.trusted, before.at.trust) != (after.at.trusted, after.at.trust):
        yield ClockEvent(data=clock_response(now, by_present_clock(after.trust_since, now)))
    if (before.site_file, before.site_changed_at) != (after.site_file, after.site_changed_at):
        yield SiteFileEvent(data=site_file_response(after, now))
    if (before.journal_fault, before.lost) != (after.journal_fault, after.lost):
        yield JournalEvent(data=journal_response(after))


def _is_same(before: ZoneStatus, after: ZoneStatus) -> bool:
    ends = before.decision.until_utc, after.decision.until_utc
    if ends[0] is not None and ends[1] is not None:
        ends_alike = abs((ends[0] - ends[1]).total_seconds()) < _SAME_END_S
    else:
        ends_alike = ends == (None, None)
    return ends_alike and _shown(before) == _shown(after)


def _shown(status: ZoneStatus) -> tuple[object, ...]:
    decision, fault = status.decision, status.fault
    return (
        status.lit,
        (decision.on, decision.cause, decision.words),
        status.override,
        None if fault is None else (fault.words, fault.since),
    )


def _zone_program(event: Event, zone: str) -> ZoneProgramResponse:
    told = parse_program_record(zone, event.words)
    return ZoneProgramResponse(
        at=instant_text(event.at.utc),
        zone=zone,
        program=None if told is None else [str(span) for span in told.program],
        special_nights=[
            SpecialNightResponse(nights=str(each.nights), program=[str(span) for span in each.program])
            for each in (() if told is None else told.special_nights)
        ],
        out_of_service=None if told is None else told.out_of_service,
    )
