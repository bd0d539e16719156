"""What if: another program, another hour, or the old timer, beside the programs of now."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.page.answer import show, words_for
from api.page.page_route import LongPageRoute
from api.page.what_if import MistakeError, Question, read_question, show_what_if
from api.web.context import Context
from controller.forecast.year import YearQuery

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)


@router.get("/what-if")
def get_what_if(request: Request, context: Context, asked: Annotated[Question, Query()]) -> Response:
    """Show a year by the programs of now, and by whatever else was filled in."""
    words = words_for(request)
    tonight = context.gateway.planner.night_at(context.now().utc).date
    mistake = None
    try:
        query = read_question(asked, tonight)
    except MistakeError as error:
        mistake, query = error, YearQuery(first=tonight)
    return show(
        request,
        "what_if.html",
        status=200 if mistake is None else 422,
        words=words,
        asked=asked,
        mistake=mistake,
        answer=show_what_if(context, query, words),
        tonight=tonight,
    )
