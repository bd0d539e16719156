"""What is printed, on a screen: the report of a season and the site sheet, with a way back to the page."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.page.answer import words_for
from api.page.page_route import LongPageRoute
from api.web.context import Context
from api.web.routes.hours import answer_with_report
from api.web.routes.wiring import answer_with_sheet

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)


@router.get("/report/{season}")
def get_report_in_frame(
    request: Request, context: Context, season: Annotated[str, Path(max_length=40)]
) -> Response:
    """Show the report of a season, or of any other period."""
    return _of_language(request, answer_with_report(request, context, season, words_for(request)))


@router.get("/sheet")
def get_sheet_in_frame(request: Request, context: Context) -> Response:
    """Show the site sheet."""
    return _of_language(request, answer_with_sheet(request, context, None, words_for(request)))


@router.get("/sheet/{transformer_id}")
def get_sheet_of_one_in_frame(
    request: Request, context: Context, transformer_id: Annotated[str, Path()]
) -> Response:
    """Show the site sheet of one transformer."""
    return _of_language(request, answer_with_sheet(request, context, transformer_id, words_for(request)))


def _of_language(request: Request, response: Response) -> Response:
    """Say on what the answer depends."""
    response.headers["vary"] = "accept-encoding, accept-language, cookie"
    response.headers["content-language"] = words_for(request).language
    return response
