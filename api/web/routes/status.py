"""Routes about the daemon as a whole: the index, health, status, and the types of problems."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.routing import APIRoute
from pydantic import Field

from api.render.clock_json import ClockResponse, clock_response
from api.render.instants import instant_text, quote
from api.render.model import Instant, ResponseModel
from api.web.context import Context, ShortRoute, json_response
from api.web.problems.types import PROBLEM_TYPES, ProblemError, problems_of
from api.web.schemas.zones import ZoneSummary, by_present_clock, zone_summary
from controller.clock.tzdata import tz_data_version
from controller.relays import SIMULATED

# A round is due at least every 30 s; after two and a half missed ones the control loop is stuck.
LATE_S = 90.0
ProblemName = Annotated[str, Path(description="the last part of a problem's type", examples=["unknown-zone"])]

router = APIRouter(tags=["status"], route_class=ShortRoute)


class HealthResponse(ResponseModel):
    """The control loop is running."""

    status: str = Field("ok", description="always “ok”; a control loop that is late is a problem document")
    last_round_s: float = Field(description="seconds since the keeper's last round")
    lit: int = Field(description="how many zones are lit")


class KeeperResponse(ResponseModel):
    """The keeper itself."""

    started_at: Instant
    last_round: Instant
    summary: str = Field(description="the state of every zone in one line")


class JournalResponse(ResponseModel):
    """The state of the journal; the lights do not depend on it."""

    waiting: int = Field(description="entries not written yet")
    lost: int = Field(description="entries dropped because too many were waiting")
    fault: str | None = Field(description="why it cannot be written now; null while it can")


class SiteFileResponse(ResponseModel):
    """The site file on disk."""

    summary: str = Field(
        description="the same in words", examples=["in use", "changed at 14:53, not read yet"]
    )
    changed_at: Instant | None = Field(
        description="when a change was noticed that is not read yet; null where there is none"
    )
    refused: str | None = Field(description="why its last change was refused; null where it was accepted")


class RelaysResponse(ResponseModel):
    """The relays of the board."""

    simulated: bool = Field(description="whether they are simulated: nothing is switched")
    summary: str = Field(description="the same in words", examples=[SIMULATED])


class TimeZoneResponse(ResponseModel):
    """The site's time zone, and the edition of the time zone data in use."""

    name: str = Field(examples=["America/New_York"])
    rules: str = Field(examples=["2026f, from the package tzdata"])


class StatusResponse(ResponseModel):
    """The state of everything."""

    site: str
    time_zone: TimeZoneResponse
    clock: ClockResponse
    keeper: KeeperResponse
    zones: list[ZoneSummary]
    journal: JournalResponse
    site_file: SiteFileResponse
    relays: RelaysResponse


class RouteResponse(ResponseModel):
    """One route of the API."""

    method: str
    path: str
    does: str


class IndexResponse(ResponseModel):
    """The routes of the API."""

    site: str
    routes: list[RouteResponse]


class ProblemTypeResponse(ResponseModel):
    """One type of problem: what it means, and what to do."""

    type: str
    title: str
    status: int
    remedy: str


@router.get("/", summary="The routes of this API", response_model=IndexResponse)
async def get_index(request: Request, context: Context) -> Response:
    """List every route with what it does."""
    routes = [
        RouteResponse(method=method, path=route.path, does=route.summary or "")
        for route in request.app.routes
        if isinstance(route, APIRoute) and route.include_in_schema
        for method in sorted(route.methods or ())
    ]
    routes.append(RouteResponse(method="GET", path="/openapi.json", does="The OpenAPI 3.1 description"))
    return json_response(IndexResponse(site=context.gateway.site.name, routes=routes))


@router.get(
    "/health",
    summary="Whether the control loop is running",
    response_model=HealthResponse,
    responses=problems_of("keeper-late"),
)
async def get_health(context: Context) -> Response:
    """Answer 200 while the keeper's last round is younger than 90 s, by a clock that nobody sets."""
    status = context.gateway.status
    age_s = max(0.0, context.boot_s() - status.at.boot_s)
    if age_s >= LATE_S:
        words = f"the keeper's last round was {age_s:.0f} s ago; one is due at least every 30 s"
        raise ProblemError("keeper-late", words, last_round_s=round(age_s, 1))
    lit = sum(zone.lit for zone in status.zones)
    return json_response(HealthResponse(last_round_s=round(age_s, 1), lit=lit))


@router.get("/v1/status", summary="The state of everything", response_model=StatusResponse)
def get_status(context: Context) -> Response:
    """Show the clock, the keeper, every zone, the journal, the site file and the relays."""
    site, status, now = context.gateway.site, context.gateway.status, context.now()
    changed_at = status.site_changed_at
    found = StatusResponse(
        site=site.name,
        time_zone=TimeZoneResponse(name=site.time_zone, rules=tz_data_version(site.time_zone)),
        clock=clock_response(now, by_present_clock(status.trust_since, now)),
        keeper=KeeperResponse(
            started_at=instant_text(by_present_clock(status.started_at, now)),
            last_round=instant_text(status.at.utc),
            summary=status.words,
        ),
        zones=[zone_summary(zone, context.zone_status(zone.id), now) for zone in site.zones],
        journal=JournalResponse(waiting=status.waiting, lost=status.lost, fault=status.journal_fault),
        site_file=SiteFileResponse(
            summary=status.site_file,
            changed_at=changed_at and instant_text(by_present_clock(changed_at, now)),
            refused=status.refused,
        ),
        relays=RelaysResponse(
            simulated=status.simulated, summary=SIMULATED if status.simulated else "the pins of the board"
        ),
    )
    return json_response(found)


@router.get("/problems/{name}", summary="What a type of problem means", responses=problems_of("not-found"))
async def get_problem_type(name: ProblemName) -> ProblemTypeResponse:
    """Explain the ``type`` of a problem document."""
    found = PROBLEM_TYPES.get(name)
    if found is None:
        raise ProblemError("not-found", f"there is no problem type {quote(name)}")
    return ProblemTypeResponse(
        type=f"/problems/{name}", title=found.title, status=found.status, remedy=found.remedy
    )
