"""Routes about the daemon as a whole: the index, health, status, and the types of problems."""

import json
from typing import Annotated, Literal

from fastapi import APIRouter, FastAPI, Path, Request, Response
from fastapi.routing import APIRoute
from pydantic import Field

from api.render.instants import quote
from api.render.model import ResponseModel, SiteName
from api.web.conditions import TAGGED, tagged, tagged_content
from api.web.context import Context, RequestContext, ShortRoute, json_response
from api.web.problems.types import PROBLEM_TYPES, ProblemError, problems_of
from api.web.schemas.status import StatusResponse, access_response, status_response

# A round is due at least every 30 s; after two and a half missed ones the control loop is stuck.
LATE_S = 90.0
ProblemName = Annotated[str, Path(description="the last part of a problem's type", examples=["unknown-zone"])]

router = APIRouter(tags=["status"], route_class=ShortRoute)


class HealthResponse(ResponseModel):
    """The control loop is running."""

    status: Literal["ok"] = Field(
        "ok", description="always “ok”; a control loop that is late is a problem document"
    )
    last_round_s: float = Field(description="seconds since the keeper's last round", examples=[4.2])
    lit: int = Field(description="how many zones are lit", examples=[2])


class RouteResponse(ResponseModel):
    """One route of the API."""

    method: str = Field(description="method of the request", examples=["GET"])
    path: str = Field(description="path, with names in braces", examples=["/v1/zones/{zone_id}"])
    does: str = Field(description="what it does", examples=["One zone"])


class IndexResponse(ResponseModel):
    """The routes of the API."""

    site: SiteName
    routes: list[RouteResponse] = Field(description="every route")


class ProblemTypeResponse(ResponseModel):
    """One type of problem: what it means, and what to do."""

    type: str = Field(
        description="the type, as problem documents have it", examples=["/problems/unknown-zone"]
    )
    title: str = Field(description="what is wrong, the same every time", examples=["Unknown zone"])
    status: int = Field(description="status of the response", examples=[404])
    remedy: str = Field(description="what to do", examples=["GET /v1/zones lists the zones."])


@router.get("/v1", summary="The routes of this API", response_model=IndexResponse)
async def get_index(request: Request, context: Context) -> Response:
    """List every route with what it does."""
    routes = [
        RouteResponse(method=method, path=route.path, does=route.summary or "")
        for route in request.app.routes
        if isinstance(route, APIRoute) and route.include_in_schema
        for method in sorted(route.methods or ())
    ]
    return json_response(IndexResponse(site=context.gateway.site.name, routes=routes))


@router.get(
    "/openapi.json",
    summary="The OpenAPI 3.1 description",
    response_class=Response,
    responses=tagged(
        {
            200: {
                "description": "the description",
                "content": {"application/json": {"schema": {"type": "object"}}},
            }
        }
    ),
    dependencies=TAGGED,
)
def get_openapi(request: Request) -> Response:
    """Describe every route with its parameters, bodies, answers and problems."""
    app: FastAPI = request.app
    return tagged_content(request, json.dumps(app.openapi()).encode(), media_type="application/json")


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


class StatusCache:
    """The answer to “how is everything”, made at most ten times a second however often it is asked.

    A program that asks all the time costs no more than one that asks now and then.
    """

    def __init__(self, context: RequestContext) -> None:
        self._context = context
        self._made_of: tuple[object, ...] = ()
        self._kept: tuple[object, ...] = ()
        self._body = b""

    def body(self) -> bytes:
        """Give the document as it is now, or was within the last tenth of a second."""
        context, gateway, now = self._context, self._context.gateway, self._context.now()
        status, site, network = gateway.status, gateway.site, context.network()
        access = access_response(context.access, now)
        made_of = (id(status), id(site), id(network), access, int(now.boot_s * 10))
        if made_of != self._made_of:
            response = status_response(site, status, now, tz=gateway.tz, access=access, network=network)
            self._body = response.model_dump_json().encode()
            # Kept, so that nothing else gets the place in memory by which it is known.
            self._made_of, self._kept = made_of, (status, site, network)
        return self._body


@router.get("/v1/status", summary="The state of everything", response_model=StatusResponse)
async def get_status(request: Request) -> Response:
    """Show the clock, the keeper, every zone, the journal, the site file, the relays, and who is let in.

    It is worked out at most ten times a second.
    """
    return Response(request.app.state.status.body(), media_type="application/json")


@router.get("/problems/{name}", summary="What a type of problem means", responses=problems_of("not-found"))
async def get_problem_type(name: ProblemName) -> ProblemTypeResponse:
    """Explain the ``type`` of a problem document."""
    found = PROBLEM_TYPES.get(name)
    if found is None:
        raise ProblemError("not-found", f"there is no problem type {quote(name)}")
    return ProblemTypeResponse(
        type=f"/problems/{name}", title=found.title, status=found.status, remedy=found.remedy
    )
