"""Routes of what was replaced: the lamps of a fixture, or a relay."""

import logging
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from pydantic import BeforeValidator, Field, WithJsonSchema

from api.render.instants import quote
from api.render.replacements_json import ReplacementResponse, ReplacementsResponse, replacement_response
from api.web.context import Context, RequestContext, ShortRoute
from api.web.gateway import KeeperGateway
from api.web.permission import Caller
from api.web.problems.types import WRITING, ProblemError, invalid, problems_of
from api.web.schemas.fields import DateField, OneZone, RequestModel
from config.errors import JournalError
from config.file.fixture_ids import write_fixture_id
from controller.lamps.replacements import Part, find_part, record, require_past, undo
from controller.records.entries import Entry, Event, EventKind, Replacement, ReplacementUndone
from controller.records.reading import Reading

log = logging.getLogger(__name__)

router = APIRouter(tags=["hours"], route_class=ShortRoute)

ReplacementId = Annotated[
    str, Path(description="zone, part and day, as the list has it", examples=["jetty.steps.2027-04-15"])
]


_LONGEST = 200
_UNDO = {
    "undo": {
        "operationId": "delete_replacement",
        "parameters": {"replacement_id": "$response.body#/id"},
        "description": "takes it back",
    }
}


def _take_place(value: object) -> object:
    return str(value) if type(value) is int else value


class ReplacementsParams(RequestModel):
    """Whose replacements."""

    zone: OneZone = None


class ReplacementRequest(RequestModel):
    """What was replaced."""

    zone: str = Field(max_length=_LONGEST, description="id of the zone", examples=["jetty"])
    part: Annotated[
        str,
        BeforeValidator(_take_place),
        Field(max_length=_LONGEST),
        WithJsonSchema({"type": ["string", "integer"], "examples": ["steps"]}),
    ] = Field(description="“relay”, or the fixture: its id, or its place in the zone's list, from 1")
    on: DateField | None = Field(None, description="the day on which it was replaced; today if left out")
    note: str = Field("", max_length=_LONGEST, description="a note on it", examples=["3000 K"])


@router.get("/v1/replacements", summary="What was replaced", responses=problems_of("journal-unreadable"))
def get_replacements(
    context: Context, params: Annotated[ReplacementsParams, Query()]
) -> ReplacementsResponse:
    """List replaced lamps and relays in the order of their days; the newest of each counts."""
    site = context.gateway.site
    zone_id = None if params.zone is None else site.zone_id_now(params.zone)
    found = [each for each in known_replacements(context.gateway).values() if zone_id in (None, each.zone)]
    if zone_id is not None and not found:
        site.zone(zone_id)
    found.sort(key=lambda each: each.on_date)
    return ReplacementsResponse(
        site=site.name, replacements=[replacement_response(site, each) for each in found]
    )


@router.post(
    "/v1/replacements",
    summary="Record that lamps or a relay were replaced",
    status_code=201,
    responses={
        200: {"model": ReplacementResponse, "description": "it was recorded already", "links": _UNDO},
        201: {"links": _UNDO},
        **problems_of("unknown-zone", *WRITING),
    },
)
def post_replacement(
    context: Context, client: Caller, body: ReplacementRequest, response: Response
) -> ReplacementResponse:
    """Record in the journal what was replaced: its hours, or its cycles, count from then on.

    A fixture without an id gets one, which is written into the site file. The same replacement twice is one.
    """
    stands, is_new = record_replacement(context, body, by=client.name)
    response.status_code = 201 if is_new else 200
    return replacement_response(context.gateway.site, stands)


@router.delete(
    "/v1/replacements/{replacement_id}",
    summary="Take a replacement back",
    status_code=204,
    response_class=Response,
    responses=problems_of("unknown-replacement", "journal-unreadable"),
)
def delete_replacement(context: Context, client: Caller, replacement_id: ReplacementId) -> None:
    """Take back what was recorded by mistake; what was replaced before counts again."""
    take_back(context, replacement_id, by=client.name)


def record_replacement(
    context: RequestContext, body: ReplacementRequest, *, by: str
) -> tuple[Replacement, bool]:
    """Have the journal told what was replaced; say how that stands, and whether it was not known before."""
    gateway, now = context.gateway, context.now()
    zone = gateway.site.zone(body.zone)
    try:
        part = find_part(zone, body.part)
    except ValueError as error:
        raise invalid(str(error), pointer="#/part") from error
    today = now.utc.astimezone(gateway.tz).date()
    on_date = body.on or today
    try:
        require_past(on_date, today)
    except ValueError as error:
        raise invalid(str(error), pointer="#/on") from error
    wanted = _with_id(context, part, by=by).replaced(on_date, at=now, note=body.note)
    try:
        known = known_replacements(gateway).get(wanted.id)
    except JournalError:
        known = None  # what cannot be read now is told once more, and the journal keeps it once
    stands, entries = record(gateway.site, wanted, known)
    _append(context, entries, now, f"{wanted.id} recorded, by {by}")
    return stands, known is None


def take_back(context: RequestContext, replacement_id: str, *, by: str) -> None:
    """Have the journal told that nothing was replaced."""
    gateway, now = context.gateway, context.now()
    known = known_replacements(gateway).get(replacement_id)
    if known is None:
        words = f"no replacement {quote(replacement_id)} is recorded; GET /v1/replacements lists them"
        raise ProblemError("unknown-replacement", words)
    _append(context, undo(gateway.site, known, now), now, f"{known.id} taken back, by {by}")


def known_replacements(gateway: KeeperGateway) -> dict[str, Replacement]:
    """Give what is recorded, by its id, what is not written yet among it."""
    # In this order: what is written meanwhile is then in both.
    waiting = list(gateway.unwritten())
    known = {each.id: each for each in gateway.journal.replacements()}
    for entry in waiting:
        if isinstance(entry, Replacement):
            known[entry.id] = entry
        elif isinstance(entry, ReplacementUndone):
            known.pop(f"{entry.zone}.{entry.part}.{entry.on_date}", None)
    return known


def _with_id(context: RequestContext, part: Part, *, by: str) -> Part:
    """Have an id written into the site file for a fixture that has none."""
    if part.id is not None or part.place is None:
        return part
    zone_id, place = part.zone.id, part.place
    note = f"fixture {place} of zone {zone_id} was given an id"
    context.write_site(partial(write_fixture_id, zone_id=zone_id, place=place), note, by=by)
    return find_part(context.gateway.site.zone(zone_id), str(place))


def _append(context: RequestContext, entries: list[Entry], at: Reading, words: str) -> None:
    """Have the journal told, by way of the keeper, whose next round has it written soon; and the log."""

    def append(_keeper: object) -> None:
        for entry in entries:
            context.gateway.append(entry)

    if entries:
        entries = [*entries, Event(kind=EventKind.REPLACEMENT, at=at, words=words)]
        context.call(append)
        log.info("replacement %s", words)
