"""The set-up of a new garden, where there is no site file yet: one form, and what comes after it."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.background import BackgroundTask

from api.page.answer import go, show
from api.page.forms import OwnForm
from api.page.garden.first_run import (
    MOST_ZONES,
    FirstRun,
    SetUp,
    header_pins,
    make_site_text,
    pin_choices,
    read_set_up,
    sure_of,
)
from api.page.page_route import PageRoute
from api.render.words import N_
from config.errors import RelayError, SiteFileError
from config.file.new_site import create_site
from controller.relays import Wire

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/")
def get_set_up(request: Request) -> Response:
    """Ask for everything that a garden needs."""
    first: FirstRun = request.app.state.first_run
    return _show(request, read_set_up({}, first))


@router.post("/")
def post_set_up(request: Request, form: OwnForm) -> Response:
    """Take the form: another line, a relay to try, or all of it, which is then written."""
    first: FirstRun = request.app.state.first_run
    asked = read_set_up(form, first)
    what = form.get("do", "finish")
    if what == "more":
        asked.add_row()
        return _show(request, asked)
    if what.startswith("blink-"):
        _blink(first, asked, what.removeprefix("blink-"))
        return _show(request, asked)
    try:
        text = make_site_text(asked, form, first.site_path)
        if not text:
            return _show(request, asked, status=422)
        create_site(first.site_path, text)
    except SiteFileError as error:
        asked.problems = error.problems
        return _show(request, asked, status=422)
    response = show(request, "first_run_done.html", name=asked.name)
    response.background = BackgroundTask(first.finish)
    return response


@router.get("/{_anything:path}")
def get_elsewhere(_anything: str) -> Response:
    """Lead everywhere else to the set-up, until there is something to see."""
    return go("/")


def _blink(first: FirstRun, asked: SetUp, number: str) -> None:
    row = next((each for each in asked.rows if str(each.number) == number), None)
    if row is None:
        return
    if asked.board == "simulated":
        asked.said = N_("Simulated relays do not blink. If relays are wired to the pins, say so above.")
        return
    try:
        first.trial.blink(asked.board, Wire(pin=row.pin, active_high=asked.active_high))
    except RelayError as error:
        asked.said, asked.fault = N_("That relay cannot be switched."), str(error)
        return
    asked.said = N_("It was closed for two seconds. If another relay clicked, or none, choose another pin.")


def _show(request: Request, asked: SetUp, *, status: int = 200) -> Response:
    return show(
        request,
        "first_run.html",
        status=status,
        asked=asked,
        sure=sure_of(asked) if asked.warnings else "",
        pins=header_pins(),
        choices=pin_choices(),
        can_grow=len(asked.rows) < MOST_ZONES,
    )
