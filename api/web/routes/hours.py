"""Routes of the account: hours, energy and money of the past, and lamps that were replaced."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from api.render.hours_json import HoursResponse, to_response
from api.web.context import LONG, SHORT, Context
from api.web.openapi import problems_of
from api.web.problems.types import invalid
from api.web.schemas.hours import (
    HoursParams,
    ReplacementRequest,
    ReplacementResponse,
    ReplacementsParams,
    ReplacementsResponse,
    replacement_response,
)
from config.errors import PeriodError
from controller.calendar.periods import Each
from controller.history.query import MOST_NIGHTS_OVER_THE_WEB, HoursQuery
from controller.history.replacements import require_replaced
from controller.history.report import report_hours
from controller.records.entries import Replacement

router = APIRouter(tags=["hours"])


@router.get(
    "/v1/hours",
    summary="What was lit and missed, energy, cost, lamps and relays",
    response_model=HoursResponse,
    responses=problems_of("journal-unreadable"),
    dependencies=[LONG],
)
def get_hours(context: Context, params: Annotated[HoursParams, Query()]) -> Response:
    """Account for nights, months, seasons or any stretch of nights, from the journal.

    Energy is worked out from the load that a zone had at the time, missed light from the program of the time.
    """
    query = HoursQuery(
        by=Each(params.by),
        period=params.period,
        first=params.from_date,
        last=params.to_date,
        zones=() if params.zone is None else (params.zone,),
        most_nights=MOST_NIGHTS_OVER_THE_WEB,
    )
    gateway, years, now = context.gateway, context.years, context.now()
    with years.lock:
        planner = years.planner_like(gateway.planner)
        year = years.year_ahead(planner, now)
        try:
            report = report_hours(planner, gateway.journal, query, now_utc=now.utc, year=year)
        except PeriodError as error:
            raise invalid(str(error), parameter="to" if params.period is None else "period") from error
    return Response(to_response(report).model_dump_json(), media_type="application/json")


@router.get(
    "/v1/replacements",
    summary="Lamps that were replaced",
    responses=problems_of("journal-unreadable"),
    dependencies=[SHORT],
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
    dependencies=[SHORT],
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
    entry = Replacement(zone=zone.id, fixture=body.fixture, on_date=on_date, at=now, note=body.note)
    gateway.record(entry)
    return replacement_response(entry)
