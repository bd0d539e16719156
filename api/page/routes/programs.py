"""The screens of the programs: all in words, and one to change."""

from fastapi import APIRouter, Request, Response

from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.page_route import PageRoute
from api.page.programs.last_change import ChangedMeanwhile, last_change, program_of
from api.page.programs.overview import change_prose, show_overview
from api.web.context import Context
from api.web.permission import Caller
from config.file.editor import write_programs
from config.models.site import Site
from controller.calendar.night import local

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/programs")
def get_programs(request: Request, context: Context) -> Response:
    """Show every zone with its program in words, and the last change."""
    return _show_all(request, context)


@router.post("/programs")
def post_undo(request: Request, context: Context, client: Caller, form: OwnForm) -> Response:
    """Take the last change back, if it still is the one that the form shows."""
    change, site = last_change(context), context.gateway.site
    if change is None or change.id != form["change"]:
        return _show_all(request, context, is_late=True)
    before, zones = change.before, ", ".join(change.before)

    def require(now: Site) -> None:
        if any(program_of(now, zone) != program_of(site, zone) for zone in before):
            raise ChangedMeanwhile

    try:
        context.write_site(
            lambda path: write_programs(path, before),
            f"the last change of the program of {zones} was undone",
            by=client.name,
            require=require,
        )
    except ChangedMeanwhile:
        return _show_all(request, context, is_late=True)
    return go("/programs")


def _show_all(request: Request, context: Context, *, is_late: bool = False) -> Response:
    words, now = words_for(request), context.now()
    change = last_change(context)
    return show(
        request,
        "programs.html",
        status=412 if is_late else 200,
        words=words,
        overview=show_overview(context, words),
        change=None if change is None else change_prose(change, context.gateway.site, now, words),
        is_late=is_late,
        now=f"{words.day(local(now.utc, words.tz).date())}, {words.clock(now.utc)}",
    )
