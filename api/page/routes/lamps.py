"""What wants attention now, and what was replaced."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from pydantic import ValidationError

from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.lamps import show_lamps
from api.page.page_route import LongPageRoute, PageRoute
from api.render.instants import quote
from api.web.context import Context
from api.web.permission import Caller
from api.web.problems.types import ProblemError
from api.web.routes.replacements import ReplacementRequest, record_replacement, take_back
from config.phrase import Phrase

router = APIRouter(route_class=PageRoute, include_in_schema=False)


def get_lamps(request: Request, context: Context) -> Response:
    """Show what wants attention, every lamp and relay, and what was replaced."""
    words = words_for(request)
    return show(request, "lamps.html", words=words, lamps=show_lamps(context, words))


router.routes.append(LongPageRoute("/lamps", get_lamps, methods=["GET"], include_in_schema=False))


@router.post("/lamps")
def post_lamps(context: Context, client: Caller, form: OwnForm) -> Response:
    """Record that lamps or a relay were replaced."""
    fields = {"zone": form["zone"], "part": form["part"], "note": form.get("note", "")}
    if form.get("on"):
        fields["on"] = form["on"]
    try:
        wanted = ReplacementRequest.model_validate(fields)
    except ValidationError as error:
        field = str(error.errors()[0]["loc"][0])
        raise ProblemError(
            "invalid-request",
            Phrase("{value} cannot be recorded; load the page again", value=quote(form.get(field, ""))),
        ) from error
    record_replacement(context, wanted, by=client.name)
    return go("/lamps#recorded")


@router.post("/lamps/{replacement_id}/undo")
def post_undo_lamps(
    context: Context, client: Caller, replacement_id: Annotated[str, Path()], _form: OwnForm
) -> Response:
    """Take a replacement back."""
    take_back(context, replacement_id, by=client.name)
    return go("/lamps#recorded")
