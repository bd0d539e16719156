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
from api.render.model import Instant, ResponseModel, ZoneId
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

    zone: ZoneId


class EndedOverrideResponse(ResponseModel):
    """The end of an override."""

    at: Instant = Field(description="when it ended")
    zone: ZoneId
    because: str = Field(
        description="why it ended", examples=["its time was over", "lifted by kitchen phone"]
    )


class ZoneProgramResponse(ResponseModel):
    """What a zone does from an instant on."""

    at: Instant = Field(description="from when on")
    zone: ZoneId
    program: list[SpanText] | None = Field(
        description="spans for every night; null where the site has no such zone any more",
        examples=[["dusk to midnight"]],
    )
    special_nights: list[SpecialNightResponse] = Field(description="nights that differ")
    out_of_service: str | None = Field(
        description="why it is never lit; null where it is in service", examples=["the post was felled"]
    )


class EventResponse(ResponseModel):
    """Something else that happened: to the clock, a relay, the site file, the journal, the daemon."""

    at: Instant = Field(description="when it happened, by the clock of that time")
    kind: EventKind = Field(description="what happened, in a word")
    zone: str | None = Field(
        description="whose relay it is about; null where it is about no zone", examples=["jetty"]
    )
    because: str = Field(description="the same in words", examples=["the clock was set forward by 3600 s"])
    size_s: float | None = Field(
        description="length of a step, a gap or a fault in seconds; null without one", examples=[3600.0]
    )
    trusted: bool = Field(description="whether the clock was trusted then")


class ResetResponse(ResponseModel):
    """What the client knows of the past may be incomplete: read again what you show of it."""

    because: str = Field(
        description="why", examples=["another journal took the place of the one that was read"]
    )


class PingResponse(ResponseModel):
    """A sign of life, every 15 s."""

    now: Instant = Field(description="what the clock says")


class StatusEvent(ResponseModel):
    """The state of everything, at the beginning of a stream; ``id`` is that of the newest entry."""

    event: Literal["status"] = Field("status", description="name of the message")
    id: EventId | None = Field(description="of the newest entry; null while the journal is empty")
    data: Annotated[StatusResponse, AS_JSON] = Field(description="the document, on one line")


class ResetEvent(ResponseModel):
    """Not all that was missed can be told; ``id`` is that of the newest entry."""

    event: Literal["reset"] = Field("reset", description="name of the message")
    id: EventId | None = Field(description="of the newest entry; null while the journal is empty")
    data: Annotated[ResetResponse, AS_JSON] = Field(description="the document, on one line")


class ZonesEvent(ResponseModel):
    """Every zone, where the site has others, or calls them otherwise, than before."""

    event: Literal["zones"] = Field("zones", description="name of the message")
    data: Annotated[ZonesResponse, AS_JSON] = Field(description="the document, on one line")


class ZoneEvent(ResponseModel):
    """A zone whose light, decision, override or fault changed."""

    event: Literal["zone"] = Field("zone", description="name of the message")
    data: Annotated[ZoneSummary, AS_JSON] = Field(description="the document, on one line")


class ClockEvent(ResponseModel):
    """Whether the clock is trusted, or why, changed."""

    event: Literal["clock"] = Field("clock", description="name of the message")
    data: Annotated[ClockResponse, AS_JSON] = Field(description="the document, on one line")


class SiteFileEvent(ResponseModel):
    """The site file was changed, read, or refused."""

    event: Literal["site_file"] = Field("site_file", description="name of the message")
    data: Annotated[SiteFileResponse, AS_JSON] = Field(description="the document, on one line")


class JournalEvent(ResponseModel):
    """The journal cannot be written, or can be again."""

    event: Literal["journal"] = Field("journal", description="name of the message")
    data: Annotated[JournalResponse, AS_JSON] = Field(description="the document, on one line")


class SwitchingEvent(ResponseModel):
    """A relay changed."""

    event: Literal["switching"] = Field("switching", description="name of the message")
    id: EventId
    data: Annotated[SwitchingResponse, AS_JSON] = Field(description="the document, on one line")


class OverrideEvent(ResponseModel):
    """An override was placed."""

    event: Literal["override"] = Field("override", description="name of the message")
    id: EventId
    data: Annotated[PlacedOverrideResponse, AS_JSON] = Field(description="the document, on one line")


class OverrideEndedEvent(ResponseModel):
    """An override ended."""

    event: Literal["override_ended"] = Field("override_ended", description="name of the message")
    id: EventId
    data: Annotated[EndedOverrideResponse, AS_JSON] = Field(description="the document, on one line")


class ProgramEvent(ResponseModel):
    """A zone was told what to do: at every start, and where that changed."""

    event: Literal["program"] = Field("program", description="name of the message")
    id: EventId
    data: Annotated[ZoneProgramResponse, AS_JSON] = Field(description="the document, on one line")


class OtherEvent(ResponseModel):
    """Something else happened."""

    event: Literal["event"] = Field("event", description="name of the message")
    id: EventId
    data: Annotated[EventResponse, AS_JSON] = Field(description="the document, on one line")


class PingEvent(ResponseModel):
    """The stream is alive."""

    event: Literal["ping"] = Field("ping", description="name of the message")
    data: Annotated[PingResponse, AS_JSON] = Field(description="the document, on one line")


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
