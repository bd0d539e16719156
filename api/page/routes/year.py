"""The year in a picture, and the nights of a month one by one."""

from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from api.page.answer import go, show, words_for
from api.page.nights import show_nights
from api.page.page_route import LongPageRoute
from api.page.year import (
    change_words,
    index_of,
    months_of,
    show_year,
    strip_words,
    tonight_of,
    year_sentence,
)
from api.render.instants import read_date
from api.web.context import Context, RequestContext
from api.web.problems.types import ProblemError
from config.errors import PeriodError
from controller.calendar.periods import LAST_YEAR
from controller.history.query import read_period

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)

_YEAR_LETTERS, _MONTH_LETTERS = len("2027"), len("2027-06")
_ONE_DAY = timedelta(days=1)


@router.get("/year")
def get_year(request: Request, context: Context, night: Annotated[str, Query()] = "") -> Response:
    """Show this year, or that of a night, which is then read."""
    read = _read_night(night) if night else None
    return _show_year(request, context, (read or tonight_of(context)).year, read)


@router.get("/year/{which}")
def get_year_or_month(request: Request, context: Context, which: Annotated[str, Path()]) -> Response:
    """Show another year, or the nights of a month."""
    try:
        period = read_period(which, context.gateway.planner)
    except PeriodError as error:
        raise ProblemError("not-found", str(error)) from error
    if len(which) == _YEAR_LETTERS:
        return _show_year(request, context, period.first.year, None)
    if len(which) != _MONTH_LETTERS:
        return go(f"/year?night={period.first}")
    words = words_for(request)
    return show(
        request,
        "nights.html",
        words=words,
        month=period.first,
        nights=show_nights(context, period.first, period.last, words),
        before=period.first - _ONE_DAY,
        after=period.last + _ONE_DAY,
        tonight=tonight_of(context),
    )


def _show_year(request: Request, context: RequestContext, year: int, night: date | None) -> Response:
    words, view = words_for(request), show_year(context, year)
    read = show_nights(context, night, night, words) if night is not None else []
    return show(
        request,
        "year.html",
        words=words,
        year=view,
        sentence=year_sentence(view, words),
        strips=[(each, strip_words(each, words)) for each in view.strips],
        months=months_of(view, words),
        changes=change_words(view.changes, words),
        read=read[0] if read else None,
        read_at=index_of(view, night),
        tonight=tonight_of(context),
        last_year=LAST_YEAR,
    )


def _read_night(text: str) -> date:
    try:
        return read_date(text)
    except ValueError as error:
        raise ProblemError("invalid-request", str(error)) from error
