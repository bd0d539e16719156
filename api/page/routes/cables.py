"""The screen of cables and lamps, what was measured there, and proposals that are tried and written."""

import re
from pathlib import Path as FilePath
from typing import Annotated, cast

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import ValidationError

from api.page.answer import go, show, words_for
from api.page.cables.last_change import CableChange
from api.page.cables.proposals import FileChange, compare_files, try_proposal
from api.page.cables.screen import show_cables
from api.page.forms import OwnForm
from api.page.page_route import LongPageRoute
from api.render.wiring.proposal_json import proposals_response
from api.web.conditions import tag_of_model
from api.web.context import Context, RequestContext
from api.web.permission import Caller
from api.web.problems.types import ProblemError, invalid
from api.web.schemas.measured import MeasuredRequest, measured_response
from config.errors import SiteFileError, UnknownFixtureError
from config.file.cable_editor import write_changes
from config.file.editor import restore_text, write_measured
from config.file.loader import BYTE_ORDER_MARK, LoadedSite
from config.models.site import Site
from config.phrase import Phrase
from controller.inspection.report import WiringReport, report_site

router = APIRouter(route_class=LongPageRoute, include_in_schema=False)

Number = Annotated[int, Path()]


class _ChangedMeanwhile(Exception):  # noqa: N818 - not an error, but something to tell a person
    """The wiring is not what this client tried a proposal for."""


@router.get("/cables")
def get_cables(request: Request, context: Context) -> Response:
    """Show every transformer, its cables as a tree, and the volts at each lamp."""
    return _screen(request, context)


@router.post("/cables")
def post_undo(request: Request, context: Context, client: Caller, form: OwnForm) -> Response:
    """Take the last proposal that was written back out, while the file is as that one left it."""
    words, change = words_for(request), _last_change(request)
    late = words.gettext("Nothing was undone: the site file was changed since. This is how it is now.")
    if change is None or change.id != form["change"]:
        return _screen(request, context, status=412, mistake=late)
    try:
        context.write_site(
            lambda path: restore_text(path, change.before, expected=change.after),
            f"the last proposal for the cables of {change.transformer} was taken back",
            by=client.name,
        )
    except SiteFileError:
        return _screen(request, context, status=412, mistake=late)
    request.app.state.cable_change = change.undone(by=client.name, at=context.now())
    return go("/cables#changed")


@router.get("/cables/proposals/{number}")
def get_proposal(
    request: Request, context: Context, number: Number, transformer: Annotated[str, Query()] = ""
) -> Response:
    """Show what a proposal changes, with the volts of every lamp before and after."""
    return _try(request, context, transformer, number)


@router.post("/cables/proposals/{number}")
def post_proposal(
    request: Request, context: Context, client: Caller, number: Number, form: OwnForm
) -> Response:
    """Write a proposal into the site file, if the wiring still is what it was tried for."""
    words, transformer = words_for(request), form["transformer"]
    before, taken = "", list[tuple[Site, WiringReport]]()

    def require(site: Site) -> None:
        report = _find_report(site, transformer, number)
        if report is None or tag_of_model(proposals_response(report)) != form["tag"]:
            raise _ChangedMeanwhile
        taken.append((site, report))

    def write(path: FilePath) -> LoadedSite:
        nonlocal before
        [(site, report)] = taken
        before = _text(path)
        return write_changes(path, site, report.proposals[number - 1].changes)

    try:
        note = f"proposal {number} for the cables of {transformer} was written"
        context.write_site(write, note, by=client.name, require=require)
    except _ChangedMeanwhile:
        late = words.gettext(
            "Nothing was written: the wiring was changed meanwhile. This is how it is now, and what would"
            " mend it."
        )
        return _screen(request, context, status=412, mistake=late)
    except SiteFileError as error:
        return _try(request, context, transformer, number, refused=error)
    [(_, report)] = taken
    request.app.state.cable_change = CableChange(
        transformer=transformer,
        proposal=report.proposals[number - 1],
        taken_back=False,
        by=client.name,
        at=context.now(),
        before=before,
        after=_text(cast("FilePath", context.gateway.site_path)),
    )
    return go("/cables#changed")


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


def _try(
    request: Request,
    context: Context,
    transformer: str,
    number: int,
    *,
    refused: SiteFileError | None = None,
) -> Response:
    words, site = words_for(request), context.gateway.site
    report = _find_report(site, transformer, number)
    if report is None:
        gone = words.gettext("There is no such proposal any more: the wiring was changed. This is how it is.")
        return _screen(request, context, status=404, mistake=gone)
    path, lines, wrong = context.gateway.site_path, tuple[FileChange, ...](), refused
    if path is not None:  # a demonstration has none
        try:
            lines = compare_files(_text(path), site, report.proposals[number - 1], path.name)
        except SiteFileError as error:
            wrong = wrong or error
    return show(
        request,
        "cables_proposal.html",
        status=422 if refused else 200,
        words=words,
        trial=try_proposal(report, number, site, words),
        tag=tag_of_model(proposals_response(report)),
        lines=lines,
        wrong=None if wrong is None else str(wrong),
    )


def _find_report(site: Site, transformer: str, number: int) -> WiringReport | None:
    """Report on a transformer that has a proposal of this number; None where there is none."""
    for each in report_site(site):
        if each.wiring.transformer.id == transformer and 1 <= number <= len(each.proposals):
            return each
    return None


def _last_change(request: Request) -> CableChange | None:
    """Give the last proposal that was written, while the file still is as it left it."""
    context: RequestContext = request.app.state.context
    change: CableChange | None = getattr(request.app.state, "cable_change", None)
    path = context.gateway.site_path
    return change if change and path and path.exists() and _text(path) == change.after else None


def _text(path: FilePath) -> str:
    """Read the text of the site file with its line ends, and without a byte order mark."""
    return path.read_bytes().decode().removeprefix(BYTE_ORDER_MARK)


def _screen(
    request: Request, context: RequestContext, *, status: int = 200, mistake: str = "", at: str = ""
) -> Response:
    words, change = words_for(request), _last_change(request)
    return show(
        request,
        "cables.html",
        status=status,
        words=words,
        cables=show_cables(context.gateway.site, words),
        change=change.show(context.now(), words) if change else None,
        mistake=mistake,
        at=at,
    )
