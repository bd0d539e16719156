"""Routes over time: the nights to come and gone by the site file, and the switchings that were made."""

from datetime import UTC, date, datetime, timedelta
from itertools import islice
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from api.render.instants import instant_text
from api.render.model import ResponseModel, SiteName
from api.render.nights_json import NightsResponse, write_nights_json
from api.web.context import Context, RequestContext, ShortRoute, json_response
from api.web.problems.types import invalid, problems_of
from api.web.schemas.fields import DateField, EdgeField, OneZone, RequestModel
from api.web.schemas.switchings import SwitchingResponse, switching_response
from api.web.streaming import stream_response
from config.errors import UnknownZoneError
from config.models.site import Site
from controller.calendar.intervals import ms_of, utc_of
from controller.calendar.night import night_on
from controller.records.entries import Switching

MOST_NIGHTS = 800
# In one answer: 8 MB, and seconds of work.
MOST_WINDOWS = 50_000
USUAL_NIGHTS = 7
USUAL_STRETCH = timedelta(days=7)
MOST_SWITCHINGS = 1000
USUAL_SWITCHINGS = 100

_LINK = {
    "description": "the address of the older ones, with rel=next (RFC 8288); left out where there are none",
    "schema": {"type": "string"},
}

router = APIRouter(tags=["nights"], route_class=ShortRoute)


class NightsParams(RequestModel):
    """Which nights, and of which zone."""

    from_date: DateField | None = Field(
        None, alias="from", description="the first night; tonight if left out"
    )
    to_date: DateField | None = Field(
        None, alias="to", description="the last night; six nights after the first if left out"
    )
    zone: OneZone = None


class SwitchingsParams(RequestModel):
    """Which switchings."""

    from_edge: EdgeField | None = Field(
        None,
        alias="from",
        description="an instant, or a night's date; a week before the end, or now, if left out",
    )
    to_edge: EdgeField | None = Field(
        None, alias="to", description="an instant, or the date of the last night; no end if left out"
    )
    zone: OneZone = None
    limit: int = Field(
        USUAL_SWITCHINGS,
        ge=1,
        le=MOST_SWITCHINGS,
        strict=False,
        description="maximum number of them",
        examples=[USUAL_SWITCHINGS],
    )
    cursor: str | None = Field(
        None,
        pattern=r"^[0-9]{1,14}\.[0-9]{1,4}$",
        description="where an earlier response ended; its “next” has it",
        examples=["1814407200000.1"],
    )


class SwitchingsResponse(ResponseModel):
    """Changes of relays, the newest first."""

    site: SiteName
    switchings: list[SwitchingResponse] = Field(description="the newest first")
    next: str | None = Field(
        description="address of the older ones; null where there are none",
        examples=["/v1/switchings?from=2027-06-15T01:30:00Z&limit=100&cursor=1814407200000.1"],
    )


@router.get("/v1/nights", summary="What each zone does, night by night", response_model=NightsResponse)
def get_nights(request: Request, context: Context, params: Annotated[NightsParams, Query()]) -> Response:
    """Say when zones are lit from one night to another, by the site file alone: at most 800 nights."""
    with context.planner_lock:
        planner = context.gateway.planner
        first, last = _period(params, planner.night_at(context.now().utc).date)
        _require_few_windows(planner.site, params.zone, (last - first).days + 1)
        pieces = write_nights_json(planner, first, last, None if params.zone is None else [params.zone])
    return stream_response(request, pieces, turn=context.planner_lock, media_type="application/json")


@router.get(
    "/v1/switchings",
    summary="What was switched, the newest first",
    response_model=SwitchingsResponse,
    responses={200: {"headers": {"Link": _LINK}}, **problems_of("journal-unreadable")},
)
def get_switchings(context: Context, params: Annotated[SwitchingsParams, Query()]) -> Response:
    """List changes of relays, the newest first, with the cause of each.

    `next` leads on to older ones, and so does the header Link.
    """
    from_utc, to_utc = _interval(context, params)
    skip = 0
    if params.cursor is not None:
        # A page ends at an instant of which so many switchings were given already.
        at_ms, skip = (int(part) for part in params.cursor.split("."))
        to_utc = utc_of(at_ms + 1)
    limit, journal = params.limit, context.gateway.journal
    newest = journal.switchings(from_utc, to_utc, zone=params.zone, limit=skip + limit + 1, newest_first=True)
    found = list(islice(newest, skip, None))
    if params.zone is not None and not found:
        _require_zone(context, params.zone)
    page = found[:limit]
    older = _next_link(params, from_utc, page, skip) if len(found) > limit else None
    response = SwitchingsResponse(
        site=context.gateway.site.name,
        switchings=[switching_response(each) for each in page],
        next=older,
    )
    return json_response(response, headers={} if older is None else {"link": f'<{older}>; rel="next"'})


def _period(params: NightsParams, tonight: date) -> tuple[date, date]:
    first = params.from_date or tonight
    last = params.to_date or first + timedelta(days=USUAL_NIGHTS - 1)
    asked = (last - first).days + 1
    if last < first:
        words = f"to = {last} lies before from = {first}; name a last night that is not before the first"
    elif asked > MOST_NIGHTS:
        words = f"{asked} nights were asked for; ask for at most {MOST_NIGHTS} at once"
    else:
        return first, last
    raise invalid(words, parameter="to")


def _require_few_windows(site: Site, zone_id: str | None, nights: int) -> None:
    zones = site.zones if zone_id is None else (site.zone(zone_id),)
    most = nights * sum(zone.most_windows for zone in zones)
    if most > MOST_WINDOWS:
        words = f"{nights} nights of {len(zones)} zones have up to {most} windows, more than {MOST_WINDOWS}"
        raise invalid(f"{words}; ask for fewer nights, or for one zone", parameter="to")


def _interval(context: RequestContext, params: SwitchingsParams) -> tuple[datetime, datetime | None]:
    """Give the time that is asked about; open at the end where nobody named one.

    A clock that once ran ahead left entries that lie in the future now; they are shown with the newest.
    """
    to_utc = None if params.to_edge is None else _edge(context, params.to_edge, ends=True)
    if params.from_edge is not None:
        from_utc = _edge(context, params.from_edge, ends=False)
    else:
        from_utc = (to_utc or context.now().utc) - USUAL_STRETCH
    if to_utc is not None and to_utc <= from_utc:
        words = f"to = {instant_text(to_utc)} is not after from = {instant_text(from_utc)}; give a later one"
        raise invalid(words, parameter="to")
    return from_utc, to_utc


def _edge(context: RequestContext, edge: date | datetime, *, ends: bool) -> datetime:
    """Give an instant as it is, and the beginning or the end of a night that is named by its date."""
    if isinstance(edge, datetime):
        return edge
    night = night_on(edge, context.gateway.tz)
    return night.ends_at_utc if ends else night.starts_at_utc


def _require_zone(context: RequestContext, zone_id: str) -> None:
    """Refuse a zone that neither the site nor the journal knows; one that was removed keeps its past."""
    try:
        context.gateway.site.zone(zone_id)
    except UnknownZoneError:
        if not list(context.gateway.journal.switchings(zone=zone_id, limit=1)):
            raise


def _next_link(params: SwitchingsParams, from_utc: datetime, page: list[Switching], skip: int) -> str:
    end_ms = ms_of(page[-1].at.utc)
    given = sum(ms_of(each.at.utc) == end_ms for each in page)
    if given == len(page) and params.cursor is not None and int(params.cursor.split(".")[0]) == end_ms:
        given += skip
    start = from_utc.astimezone(UTC).replace(tzinfo=None).isoformat()
    zone = {} if params.zone is None else {"zone": params.zone}
    query = {"from": f"{start}Z", "limit": params.limit, **zone, "cursor": f"{end_ms}.{given}"}
    return f"/v1/switchings?{urlencode(query, safe=':')}"
