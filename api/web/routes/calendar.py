"""Routes of the calendar: the nights to come for calendar programs, which cannot send a token in a header."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from api.web.conditions import TAGGED, tagged, tagged_content
from api.web.context import Context, LongRoute, RequestContext
from api.web.permission import Caller
from api.web.problems.types import ProblemError, shown_as
from api.web.schemas.fields import OneZone, RequestModel

CALENDAR = "text/calendar"
CalendarSecret = Annotated[
    str,
    Path(
        max_length=100,
        description="the secret of the address; whoever knows it may read the calendar",
        examples=["WkN2dGJ1c2p0a3Z5d2Z4b2h6cWxtcGRyZ25jYWVpdXk"],
    ),
]

router = APIRouter(tags=["calendar"], route_class=LongRoute)


class CalendarParams(RequestModel):
    """Which zone."""

    zone: OneZone = None


@router.get(
    "/v1/calendar.ics",
    summary="The coming 60 nights as a calendar",
    response_class=Response,
    responses=tagged(shown_as(CALENDAR, "clock-not-trusted")),
    dependencies=TAGGED,
)
def get_calendar(request: Request, context: Context, params: Annotated[CalendarParams, Query()]) -> Response:
    """Give when each zone is lit as events (RFC 5545), by the site file alone, without overrides.

    Its ETag stays the same until the site file changes or the next night begins.
    """
    return _calendar(request, context, params.zone)


@router.get(
    "/v1/calendar/{secret}.ics",
    summary="The same, at an address for subscribers",
    response_class=Response,
    responses=tagged(shown_as(CALENDAR, "clock-not-trusted", "not-found")),
    dependencies=TAGGED,
)
def get_calendar_by_secret(
    request: Request,
    context: Context,
    client: Caller,
    secret: CalendarSecret,
    params: Annotated[CalendarParams, Query()],
) -> Response:
    """Give the same calendar to a program that can send no token; the address can be revoked."""
    if not context.access.opens_calendar(secret, address=client.address, now=context.now()):
        raise ProblemError("not-found", "there is no calendar at this address; ask for its present one")
    return _calendar(request, context, params.zone)


def _calendar(request: Request, context: RequestContext, zone_id: str | None) -> Response:
    from api.render.feeds.calendar_ics import write_calendar  # noqa: PLC0415 - at the first request

    now = context.now()
    if not now.trusted:
        # Nights of a wrong year would take the place of what a subscriber has.
        raise ProblemError("clock-not-trusted", f"the nights to come are not known: {now.trust}")
    with context.years.planner_like(context.gateway.planner) as planner:
        zones = planner.site.zones if zone_id is None else (planner.site.zone(zone_id),)
        tonight = planner.night_at(now.utc).date
        content = write_calendar(planner, zones, tonight=tonight, changed_utc=context.site_changed_utc())
    return tagged_content(request, content, media_type=f"{CALENDAR}; charset=utf-8")
