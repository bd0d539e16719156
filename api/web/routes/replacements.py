"""Routes of lamps that were replaced."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, NightDate, ResponseModel
from api.web.context import Context, ShortRoute
from api.web.problems.types import invalid, problems_of
from api.web.schemas.fields import DateField, OneZone, RequestModel
from controller.lamps.life import require_replaced
from controller.records.entries import Replacement

_FIXTURE = "the fixture's place in the site file, from 1"

router = APIRouter(tags=["hours"], route_class=ShortRoute)


class ReplacementsParams(RequestModel):
    """Whose replaced lamps."""

    zone: OneZone = None


class ReplacementRequest(RequestModel):
    """Lamps that were replaced."""

    zone: str = Field(description="id of the zone")
    fixture: int = Field(ge=1, le=10_000, description=_FIXTURE)
    on: DateField | None = Field(None, description="the day on which they were replaced; today if left out")
    note: str = Field("", max_length=200, description="a note on it")


class ReplacementResponse(ResponseModel):
    """Lamps that were replaced."""

    zone: str
    fixture: int = Field(description=_FIXTURE)
    on: NightDate = Field(description="the day; the new lamps serve from that night on")
    note: str
    at: Instant = Field(description="when this was recorded")


class ReplacementsResponse(ResponseModel):
    """Lamps that were replaced, in the order of their days."""

    site: str
    replacements: list[ReplacementResponse]


def replacement_response(entry: Replacement) -> ReplacementResponse:
    """Describe lamps that were replaced."""
    return ReplacementResponse(
        zone=entry.zone,
        fixture=int(entry.part),
        on=entry.on_date.isoformat(),
        note=entry.note,
        at=instant_text(entry.at.utc),
    )


@router.get(
    "/v1/replacements", summary="Lamps that were replaced", responses=problems_of("journal-unreadable")
)
def get_replacements(
    context: Context, params: Annotated[ReplacementsParams, Query()]
) -> ReplacementsResponse:
    """List replaced lamps in the order of their days; the newest of a fixture counts."""
    gateway = context.gateway
    found = [replacement_response(each) for each in gateway.journal.replacements(params.zone)]
    if params.zone is not None and not found:
        gateway.site.zone(params.zone)
    return ReplacementsResponse(site=gateway.site.name, replacements=found)


@router.post(
    "/v1/replacements",
    summary="Record that lamps were replaced",
    status_code=201,
    responses=problems_of("unknown-zone"),
)
def post_replacement(context: Context, body: ReplacementRequest) -> ReplacementResponse:
    """Record in the journal that the lamps of a fixture were replaced; their hours count from then."""
    gateway, now = context.gateway, context.now()
    zone = gateway.site.zone(body.zone)
    today = now.utc.astimezone(gateway.tz).date()
    on_date = body.on or today
    try:
        require_replaced(zone, body.fixture, on_date, today)
    except ValueError as error:
        raise invalid(str(error), pointer="#/on" if on_date > today else "#/fixture") from error
    entry = Replacement(zone=zone.id, part=str(body.fixture), on_date=on_date, at=now, note=body.note)
    # By way of the keeper, whose next round has the entry written soon.
    gateway.loop.call(lambda _keeper: gateway.append(entry))
    return replacement_response(entry)
