"""What it cost: a month's, a season's or a year's hours, energy and money."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.page.account import show_account
from api.page.answer import show, words_for
from api.page.page_route import LongPageRoute
from api.web.context import Context
from api.web.problems.types import ProblemError
from config.errors import PeriodError

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)


@router.get("/cost")
def get_cost(
    request: Request, context: Context, period: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    """Show what a period came to; this month where none is named."""
    words = words_for(request)
    try:
        account = show_account(context, period, words)
    except PeriodError as error:
        raise ProblemError("invalid-request", str(error)) from error
    tonight = context.gateway.planner.night_at(context.now().utc).date
    return show(
        request,
        "account.html",
        words=words,
        account=account,
        asked=period or f"{tonight:%Y-%m}",
        tonight=tonight,
    )
