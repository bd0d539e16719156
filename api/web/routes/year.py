"""Routes of the year: the nights to come in figures, beside other plans, and the picture of 365 nights."""

from datetime import date, timedelta
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from api.render.words import english
from api.render.year.as_json import YearResponse, year_response
from api.render.year.svg import NARROWEST_PX, USUAL_PX, WIDEST_PX, draw_future, lay_out_past, write_svg
from api.web.context import Context, LongRoute, json_response
from api.web.headers import compressed
from api.web.problems.types import invalid, problems_of, shown_as
from api.web.schemas.fields import DateField, OffField, OneZone, OtherProgramField, PinsField, RequestModel
from api.web.streaming import head_of, is_head
from controller.forecast.mechanical_timer import MOST_DRIFT_S_PER_DAY, MechanicalTimer
from controller.forecast.year import YearQuery, forecast_year
from controller.history.account import light_of_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory

SVG = "image/svg+xml"
_NIGHTS_TO_THE_LAST = timedelta(days=364)
# Each takes as long as the year itself.
MOST_PLANS = 8

router = APIRouter(tags=["hours"], route_class=LongRoute)


class YearParams(RequestModel):
    """Which nights, and what they are compared with."""

    from_date: DateField | None = Field(
        None,
        alias="from",
        description="the first of 365 nights; tonight, or the later day on which the timer is set, if left "
        "out",
    )
    off: list[OffField] = Field(
        [],
        max_length=MOST_PLANS,
        description="compare with: off at this clock time every night; may be given again",
    )
    program: list[OtherProgramField] = Field(
        [],
        max_length=MOST_PLANS,
        description="compare with another program, its spans joined by “and”; special nights stay; may be "
        "given again",
    )
    old_timer: PinsField | None = Field(
        None, description="compare with a mechanical timer: what its dial shows when it switches on, and off"
    )
    set_on: DateField | None = Field(None, description="when that timer was set; the first night if left out")
    moved_at_clock_changes: bool = Field(
        False,  # noqa: FBT003 - a default
        strict=False,
        description="that timer is set again after each clock change",
        examples=[True],
    )
    drift_s_per_day: float = Field(
        0.0,
        ge=-MOST_DRIFT_S_PER_DAY,
        le=MOST_DRIFT_S_PER_DAY,
        strict=False,
        description="seconds that it gains in a day",
        examples=[12.5],
    )
    zone: OneZone = None


class YearSvgParams(RequestModel):
    """Which year is to be drawn, and how."""

    kind: Literal["past", "future"] = Field("future", description="what ran, or what will")
    from_date: DateField | None = Field(
        None,
        alias="from",
        description="the first of 365 nights; if left out, tonight is the first to come, or the last gone",
    )
    zone: OneZone = None
    width: int = Field(
        USUAL_PX,
        ge=NARROWEST_PX,
        le=WIDEST_PX,
        strict=False,
        description="width in pixels; below 620 it is laid out for a phone",
        examples=[USUAL_PX],
    )


@router.get(
    "/v1/year",
    summary="The year ahead: hours, energy, cost, lamp life",
    response_model=YearResponse,
    responses=problems_of("not-a-program"),
)
def get_year(request: Request, context: Context, params: Annotated[YearParams, Query()]) -> Response:
    """Forecast 365 nights, by month and zone, and what other plans and a mechanical timer would change.

    A difference is the other plan minus the present one, so that a minus saves. A mechanical timer switches
    the mains of all transformers.
    """
    with context.years.planner_like(context.gateway.planner) as planner:
        tonight = planner.night_at(context.now().utc).date
        first = params.from_date or max(tonight, params.set_on or tonight)
        query = YearQuery(
            first=first,
            off=tuple(params.off),
            programs=tuple(params.program),
            timer=_timer(params, params.set_on or first),
            zones=() if params.zone is None else (planner.site.zone(params.zone).id,),
        )
        if query.timer is not None and query.timer.set_on > first:
            words = f"the timer is set on {query.timer.set_on}, after the first night; give from, too"
            raise invalid(words, parameter="set_on")
        if is_head(request):
            return head_of("application/json")
        return json_response(year_response(forecast_year(planner, query)))


def _timer(params: YearParams, set_on: date) -> MechanicalTimer | None:
    """Make the mechanical timer that was described; None where there is none."""
    drift_s, moved = params.drift_s_per_day, params.moved_at_clock_changes
    if params.old_timer is None:
        if params.set_on or moved or drift_s:
            raise invalid("what describes a timer needs its pins; give old_timer, too", parameter="old_timer")
        return None
    pins = params.old_timer
    try:
        return MechanicalTimer(
            on=pins.on, off=pins.off, set_on=set_on, moved_at_clock_changes=moved, drift_s_per_day=drift_s
        )
    except ValueError as error:
        raise invalid(str(error), parameter="old_timer") from error


@router.get(
    "/v1/year.svg",
    summary="The year's picture",
    response_class=Response,
    responses=shown_as(SVG, "journal-unreadable"),
)
def get_year_svg(request: Request, context: Context, params: Annotated[YearSvgParams, Query()]) -> Response:
    """Draw 365 nights side by side, each from noon to noon, with the sky and what was or will be lit."""
    gateway, years, now_utc = context.gateway, context.years, context.now().utc
    with years.planner_like(gateway.planner) as planner:
        tonight = planner.night_at(now_utc).date
        zones = () if params.zone is None else (planner.site.zone(params.zone).id,)
        if is_head(request):
            return head_of(SVG, {"vary": "accept-encoding"})
        if params.kind == "future":
            year = forecast_year(planner, YearQuery(first=params.from_date or tonight, zones=zones))
            drawn = draw_future(year, width_px=params.width)
        else:
            first = params.from_date or tonight - _NIGHTS_TO_THE_LAST
            last = first + _NIGHTS_TO_THE_LAST
            history = SiteHistory(planner, gateway.journal.site_records())
            bounds = bounds_of(history, gateway.journal, now_utc)
            light = light_of_past(history, gateway.journal, first, last, bounds=bounds, zones=zones)
            drawn = write_svg(
                lay_out_past(light, now_utc=now_utc), english(planner.tz), width_px=params.width
            )
    return compressed(request, Response(drawn, media_type=SVG))
