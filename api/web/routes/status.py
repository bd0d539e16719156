"""Routes of the state of things: the index, health, status, and what each type of problem means."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.routing import APIRoute

from api.render.instants import quote
from api.web.context import SHORT, Context
from api.web.openapi import problems_of
from api.web.problems.types import PROBLEM_TYPES, ProblemError
from api.web.schemas import status as pictures
from api.web.schemas.responses import (
    HealthAnswer,
    IndexAnswer,
    ProblemKindAnswer,
    RouteAnswer,
    StatusAnswer,
    TimeZoneAnswer,
)
from controller.clock.tzdata import tz_data_version

# The keeper makes a round at least every 30 s; one that missed two of them and a half is stuck.
LATE_S = 90.0

ProblemName = Annotated[str, Path(description="the last part of a problem's type", examples=["unknown-zone"])]

router = APIRouter(tags=["status"])


@router.get("/", summary="What there is here")
async def get_index(request: Request, context: Context) -> IndexAnswer:
    """List what can be asked and done here."""
    routes = [
        RouteAnswer(method=method, path=route.path, does=route.summary or "")
        for route in request.app.routes
        if isinstance(route, APIRoute)
        for method in sorted(route.methods or ())
    ]
    described = RouteAnswer(method="GET", path="/openapi.json", does="All of this by OpenAPI 3.1")
    return IndexAnswer(site=context.gateway.site.name, routes=[*routes, described])


@router.get("/health", summary="Whether the keeper makes its rounds", responses=problems_of("keeper-late"))
async def get_health(context: Context) -> HealthAnswer:
    """Answer 200 while the keeper's last round is younger than 90 s, by a clock that nobody sets."""
    status = context.gateway.status
    age_s = max(0.0, context.boot_s() - status.at.boot_s)
    if age_s >= LATE_S:
        words = f"the keeper made its last round {age_s:.0f} s ago; one is due at least every 30 s"
        raise ProblemError("keeper-late", words, last_round_s=round(age_s, 1))
    return HealthAnswer(last_round_s=round(age_s, 1), lit=sum(zone.lit for zone in status.zones))


@router.get("/v1/status", summary="Everything at a glance", dependencies=[SHORT])
def get_status(context: Context) -> StatusAnswer:
    """Show the clock, the keeper, every zone in short, the journal and the site file."""
    site, status, now = context.gateway.site, context.gateway.status, context.now()
    return StatusAnswer(
        site=site.name,
        time_zone=TimeZoneAnswer(name=site.time_zone, rules=tz_data_version(site.time_zone)),
        clock=pictures.show_clock(status, now),
        keeper=pictures.show_keeper(status, now),
        zones=[pictures.show_in_short(zone, context.zone_status(zone.id), now) for zone in site.zones],
        journal=pictures.show_journal(status),
        site_file=pictures.show_site_file(status),
    )


@router.get("/problems/{name}", summary="What a type of problem means", responses=problems_of("not-found"))
async def get_problem_type(name: ProblemName) -> ProblemKindAnswer:
    """Explain the ``type`` of a problem document."""
    found = PROBLEM_TYPES.get(name)
    if found is None:
        raise ProblemError("not-found", f"there is no problem type {quote(name)}")
    return ProblemKindAnswer(
        type=f"/problems/{name}", title=found.title, status=found.status, remedy=found.remedy
    )
