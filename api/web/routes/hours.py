"""Routes of the account: hours, energy and money, the printable report of a season, the picture of a year."""

from datetime import timedelta
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from api.render.hours_csv import write_csv
from api.render.hours_json import HoursResponse, write_hours_json
from api.render.season_report import write_report
from api.render.words import Words
from api.web.context import Context, LongRoute, RequestContext, prefers
from api.web.headers import WholePage, answer_with_page, whole_page
from api.web.problems.types import invalid, problems_of, shown_as
from api.web.routes.replacements import known_replacements
from api.web.schemas.fields import DateField, OneZone, RequestModel
from api.web.streaming import head_of, is_head, stream_response
from config.errors import PeriodError
from controller.calendar.periods import Each
from controller.history.query import Beside, HoursQuery, read_period
from controller.history.report import stream_hours
from controller.history.season import report_season, require_season
from controller.planning.planner import Planner

PERIODS = "a season by the year in which it begins, a month, a year, a night, or two nights joined by “to”"
SeasonText = Annotated[str, Path(description=PERIODS, examples=["2027-winter"], max_length=40)]
CSV, SVG, HTML = "text/csv", "image/svg+xml", "text/html; charset=utf-8"
_NIGHTS_TO_THE_LAST = timedelta(days=364)

router = APIRouter(tags=["hours"], route_class=LongRoute)


class HoursParams(RequestModel):
    """Which nights, and into what they are cut."""

    by: Literal["night", "month", "season", "year", "whole"] = Field(
        "month", description="what a row is about; “whole” without dates adds up all nights"
    )
    period: str | None = Field(
        None, max_length=40, description=PERIODS, examples=["2027-winter", "2027-06", "2027-06-21"]
    )
    from_date: DateField | None = Field(
        None,
        alias="from",
        description="the first night; 14 nights, 12 months, 4 seasons or 5 years back if left out",
    )
    to_date: DateField | None = Field(None, alias="to", description="the last night; tonight if left out")
    everything: bool = Field(
        False,  # noqa: FBT003 - a default
        alias="all",
        strict=False,
        description="from the beginning of the journal on",
        examples=[True],
    )
    zone: OneZone = None
    beside: list[Literal["last-year", "forecast"]] = Field(
        [],
        description="what stands beside each period: “last-year”, the same a year earlier; “forecast”, what "
        "the present program was expected to use; may be given twice",
    )
    format: Literal["json", "csv"] | None = Field(
        None, description="“csv” for CSV (RFC 4180), a row a zone and period; what Accept prefers if left out"
    )


@router.get(
    "/v1/hours",
    summary="What was lit and missed, energy, cost, lamps and relays",
    response_model=HoursResponse,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **problems_of("journal-unreadable")},
)
def get_hours(request: Request, context: Context, params: Annotated[HoursParams, Query()]) -> Response:
    """Account for nights, months, seasons, years or any stretch of nights, from the journal.

    Energy is worked out from the load that a zone had at the time, missed light from the program of the time.
    A long answer comes piece by piece; one that ends before its time is not complete.
    """
    query = HoursQuery(
        by=Each(params.by),
        period=params.period,
        first=params.from_date,
        last=params.to_date,
        everything=params.everything,
        zones=() if params.zone is None else (params.zone,),
        beside=frozenset(map(Beside, params.beside)),
    )
    as_csv = params.format == "csv" or (
        params.format is None and prefers(request, CSV, usual="application/json")
    )
    gateway, years, now = context.gateway, context.years, context.now()
    with years.planner_like(gateway.planner) as planner:
        year = None if as_csv or is_head(request) else years.year_ahead(planner, now)
        try:
            stream = stream_hours(planner, gateway.journal, query, now_utc=now.utc, year=year)
        except PeriodError as error:
            wrong = "period" if params.period is not None else "all" if params.everything else "to"
            raise invalid(str(error), parameter=wrong) from error
    return stream_response(
        request,
        write_csv(stream) if as_csv else write_hours_json(stream),
        turn=years.turn,
        media_type=CSV if as_csv else "application/json",
        headers={"vary": "Accept"},
    )


@router.get(
    "/v1/report/{season}",
    summary="The report of a season, to print",
    response_class=Response,
    responses=shown_as("text/html", "invalid-request", "journal-unreadable"),
)
def get_report(request: Request, context: Context, season: SeasonText) -> Response:
    """Give a page for A4 and Letter, to hand over.

    It has totals, the work to do, what was missed and why, each zone and month, the year before, what lies
    between lamps and meter, lamps as they stood at the end, the year's picture, and room for remarks.
    """
    return answer_with_report(request, context, season)


def answer_with_report(
    request: Request, context: RequestContext, season: str, words: Words | None = None
) -> Response:
    """Answer with the report of a period, which is kept until something happens, and what is over until noon.

    ``words`` are those of a browser that shows it on the page; without any it is in English, and alone.
    """
    gateway, years, now = context.gateway, context.years, context.now()
    tonight = gateway.planner.night_at(now.utc).date

    def work(planner: Planner) -> WholePage:
        year = years.year_ahead(planner, now)
        report = report_season(planner, gateway.journal, season, now_utc=now.utc, year=year)
        return whole_page(write_report(report, words))

    try:
        if is_head(request):
            with years.planner_like(gateway.planner) as planner:
                require_season(planner, gateway.journal, season, now_utc=now.utc)
            return head_of(HTML, {"vary": "accept-encoding"})
        period = read_period(season, gateway.planner)
        minute = now.utc.replace(second=0, microsecond=0)
        until = minute.date() if period.ends_at_utc <= now.utc else minute
        since = (gateway.recent.last, gateway.recent.forgotten, sum(1 for _ in gateway.unwritten()))
        replaced = tuple(sorted((each.id, each.note) for each in known_replacements(gateway).values()))
        page = years.keep(("report", season, tonight, until, since, replaced, words), gateway.planner, work)
    except PeriodError as error:
        raise invalid(str(error), parameter="season") from error
    return answer_with_page(request, page)
