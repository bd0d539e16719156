"""The screen of cables and lamps, and what was measured there."""

import re
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from pydantic import ValidationError

from api.page.answer import go, show, words_for
from api.page.cables import show_cables
from api.page.forms import OwnForm
from api.page.page_route import LongPageRoute
from api.web.conditions import tag_of_model
from api.web.context import Context, RequestContext
from api.web.permission import Caller
from api.web.problems.types import ProblemError, invalid
from api.web.schemas.measured import MeasuredRequest, measured_response
from config.errors import UnknownFixtureError
from config.file.editor import write_measured
from config.models.site import Site
from config.phrase import Phrase

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)


@router.get("/cables")
def get_cables(request: Request, context: Context) -> Response:
    """Show every transformer, its cables as a tree, and the volts at each lamp."""
    return _screen(request, context)


@router.post("/cables/{zone_id}")
def post_measured(
    request: Request, context: Context, client: Caller, zone_id: Annotated[str, Path()], form: OwnForm
) -> Response:
    """Note the volts that were measured at a fixture, or the watts of a zone."""
    words = words_for(request)
    site = context.gateway.site
    zone = site.zone(zone_id)
    try:
        measured = _read(form)
    except (ValueError, ValidationError):
        mistake = words.gettext("“%(text)s” is not a number. Write 11.6, or 11.9; 11.6 for several lamps.")
        text = form.get("volts", form.get("watts", ""))
        return _screen(request, context, status=422, mistake=mistake % {"text": text}, at=form.get("at", ""))
    if tag_of_model(measured_response(zone)) != form["tag"]:
        now = words.gettext("Somebody noted something here meanwhile: look at it, and write yours again.")
        return _screen(request, context, status=412, mistake=now, at=form.get("at", ""))

    def require(site: Site) -> None:
        if tag_of_model(measured_response(site.zone(zone_id))) != form["tag"]:
            raise ProblemError(
                "changed-meanwhile", Phrase("somebody noted something here meanwhile; look at it first")
            )

    try:
        context.write_site(
            lambda path: write_measured(
                path,
                zone_id,
                watts=measured.watts,
                forget_watts="watts" in measured.model_fields_set and measured.watts is None,
                volts={each.fixture: each.volts for each in measured.fixtures},
            ),
            f"what was measured in {zone_id} was noted",
            by=client.name,
            require=require,
        )
    except UnknownFixtureError as error:
        raise invalid(str(error)) from error
    return go(f"/cables#{form.get('at', '')}")


def _read(form: OwnForm) -> MeasuredRequest:
    """Read what was written into a form; nothing takes out what is in the file."""
    if "watts" in form:
        text = form["watts"].strip().replace(",", ".")
        return MeasuredRequest(watts=float(text) if text else None)
    numbers = [float(each.replace(",", ".")) for each in re.split(r"[;\s]+", form["volts"].strip()) if each]
    fixture = {"fixture": int(form["fixture"]), "volts": numbers or None}
    return MeasuredRequest.model_validate({"fixtures": [fixture]})


def _screen(
    request: Request, context: RequestContext, *, status: int = 200, mistake: str = "", at: str = ""
) -> Response:
    words = words_for(request)
    return show(
        request,
        "cables.html",
        status=status,
        words=words,
        cables=show_cables(context.gateway.site, words),
        mistake=mistake,
        at=at,
    )
