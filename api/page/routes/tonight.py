"""The first screen: tonight, zone by zone, and on or off for now."""

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.page_route import PageRoute
from api.page.tonight import show_tonight
from api.render.instants import instant_text, quote, read_instant
from api.web.context import Context
from api.web.permission import Caller
from api.web.problems.types import ProblemError
from config.phrase import Phrase
from controller.calendar.night import clock_in_night, local, night_on
from controller.keeper.keeper import Keeper

router = APIRouter(route_class=PageRoute, include_in_schema=False)

ZoneId = Annotated[str, Path()]
# How long "for now" may last, as the form has it; nothing means until the program's next change.
HOURS = {"30m": 0.5, "1h": 1.0, "2h": 2.0, "4h": 4.0}
# How often a screen is drawn anew where nothing happens, so that "now" moves on.
MINUTE_MS, SOONEST_MS = 60_000, 1_000
MIDNIGHT, DAWN = "midnight", "dawn"


@router.get("/")
def get_tonight(request: Request, context: Context) -> Response:
    """Show what is lit, until when and why."""
    words, now_utc = words_for(request), context.now().utc
    return show(
        request,
        "tonight.html",
        words=words,
        tonight=show_tonight(context, words),
        now=f"{words.day(local(now_utc, words.tz).date())}, {words.clock(now_utc)}",
        seen=instant_text(now_utc),
        every_ms=max(SOONEST_MS, round(MINUTE_MS / context.pace)),
    )


@router.post("/zones/{zone_id}/light")
def post_light(context: Context, client: Caller, zone_id: ZoneId, form: OwnForm) -> Response:
    """Switch a zone on or off for now."""
    context.gateway.site.zone(zone_id)
    _switch(context, [zone_id], form, by=client.name)
    return go(f"/#{zone_id}")


@router.post("/zones/{zone_id}/undo")
def post_undo(context: Context, client: Caller, zone_id: ZoneId, _form: OwnForm) -> Response:
    """Give a zone back to its program."""
    context.call(lambda keeper: keeper.lift_override(zone_id, by=client.name))
    return go(f"/#{zone_id}")


@router.post("/light")
def post_all(context: Context, client: Caller, form: OwnForm) -> Response:
    """Switch everything on or off for now, or give everything back to its program."""
    zones = [zone.id for zone in context.gateway.site.zones if zone.out_of_service is None]
    if form["light"] == "program":

        def lift(keeper: Keeper) -> None:
            for zone_id in zones:
                keeper.lift_override(zone_id, by=client.name)

        context.call(lift)
    else:
        _switch(context, zones, form, by=client.name)
    return go("/")


@router.post("/clock")
def post_clock(context: Context, client: Caller, form: OwnForm) -> Response:
    """Vouch for the clock."""
    if context.gateway.site_path is None:
        raise ProblemError("demonstration", Phrase("this is a demonstration, whose clock is its own"))
    try:
        seen_utc = read_instant(form["seen"])
        context.call(lambda keeper: keeper.confirm_clock(seen_utc, by=client.name))
    except ValueError as error:
        raise ProblemError("confirmation-refused", str(error)) from error
    return go("/")


def _switch(context: Context, zones: list[str], form: OwnForm, *, by: str) -> None:
    if form["light"] not in ("on", "off"):
        words = Phrase("light: must be “on” or “off”, not {value}", value=quote(form["light"]))
        raise ProblemError("invalid-request", words)
    on, lasts = form["light"] == "on", form.get("for", "")
    lasts_s = HOURS[lasts] * 3600 if lasts in HOURS else None
    ends_at_utc = _ends_at(context, lasts) if lasts in (MIDNIGHT, DAWN) else None
    if lasts and lasts_s is None and ends_at_utc is None:
        words = Phrase("{value} is no length of time here; load the page again", value=quote(lasts))
        raise ProblemError("invalid-request", words)

    def place(keeper: Keeper) -> None:
        for zone_id in zones:
            keeper.override(zone_id, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s, by=by)

    try:
        context.call(place)
    except ValueError as error:
        raise ProblemError("override-refused", str(error)) from error


def _ends_at(context: Context, name: str) -> datetime:
    """Give the next midnight, or the next dawn."""
    now_utc = context.now().utc
    with context.planner_lock:
        planner = context.gateway.planner
        night = planner.night_at(now_utc)
        for _ in range(2):
            at_utc = (
                clock_in_night(night, 0, 0, planner.tz)
                if name == MIDNIGHT
                else planner.sun.dawn(night, planner.site.dusk_angle_deg) or night.ends_at_utc
            )
            if at_utc > now_utc:
                return at_utc
            night = night_on(night.date + timedelta(days=1), planner.tz)
    words = Phrase("there is no dawn within a day; choose a number of hours")
    raise ProblemError("override-refused", words)
