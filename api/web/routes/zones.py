"""Routes of the zones: the state of each and why, its program and override, what was measured."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from api.render.instants import quote
from api.render.nights_json import WhyResponse, why_by_site_file, why_response
from api.web.conditions import CONDITIONAL, TAGGED, If, tagged, tagged_response
from api.web.context import Context, RequestContext, ShortRoute, json_response
from api.web.permission import Caller
from api.web.problems.types import WRITING, ProblemError, invalid, problems_of
from api.web.schemas.measured import MeasuredRequest, MeasuredResponse, measured_response
from api.web.schemas.zones import (
    OverrideRequest,
    OverrideResponse,
    ProgramRequest,
    ProgramResponse,
    StandingOverrideResponse,
    WhyParams,
    ZoneResponse,
    ZonesResponse,
    override_response,
    program_response,
    standing_override,
    zone_response,
    zones_response,
)
from config.errors import UnknownFixtureError
from config.file.editor import write_measured, write_program
from config.models.site import SpecialNight
from controller.keeper.keeper import Keeper
from controller.records.entries import Override

ZoneId = Annotated[str, Path(description="id of the zone in the site file", examples=["jetty"])]

router = APIRouter(tags=["zones"], route_class=ShortRoute)


@router.get("/v1/zones", summary="All zones", response_model=ZonesResponse)
async def get_zones(context: Context) -> Response:
    """List every zone with its light, the decision in force, its override and its fault."""
    gateway = context.gateway
    return json_response(zones_response(gateway.site, gateway.status, context.now()))


@router.get("/v1/zones/{zone_id}", summary="One zone", response_model=ZoneResponse)
def get_zone(context: Context, zone_id: ZoneId) -> Response:
    """Show one zone: its wiring, load, light, decision, program, and its windows of tonight."""
    return json_response(describe_zone(context, zone_id))


def describe_zone(context: RequestContext, zone_id: str) -> ZoneResponse:
    """Describe one zone in full; every route that changes a zone responds with this."""
    now = context.now()
    with context.planner_lock:
        planner = context.gateway.planner
        zone = planner.site.zone(zone_id)
        tonight = planner.plan(zone_id, planner.night_at(now.utc))
    return zone_response(zone, context.zone_status(zone_id), now, tonight)


@router.get(
    "/v1/zones/{zone_id}/why",
    summary="Why a zone is lit or dark",
    response_model=WhyResponse,
    responses=problems_of("keeper-silent"),
)
def get_why(context: Context, zone_id: ZoneId, params: Annotated[WhyParams, Query()]) -> Response:
    """Say why a zone is lit or dark, and until when.

    Without `at`: the decision in force. With `at`: what the site file alone asks for at that instant, past or
    to come; overrides and faults of that time are in the switchings.
    """
    if params.at is not None:
        with context.planner_lock:
            return json_response(why_by_site_file(context.gateway.planner, zone_id, params.at))
    site = context.gateway.site
    site.zone(zone_id)
    status = context.zone_status(zone_id)
    if status is None:
        raise ProblemError("keeper-silent", f"the keeper has made no round with {zone_id} yet; try again")
    now_utc = context.now().utc
    return json_response(why_response(site.name, zone_id, now_utc, status.decision, basis="keeper"))


@router.get(
    "/v1/zones/{zone_id}/program",
    summary="A zone's program",
    response_model=ProgramResponse,
    responses=tagged(),
    dependencies=TAGGED,
)
async def get_program(request: Request, context: Context, zone_id: ZoneId) -> Response:
    """Show a zone's program as PUT takes it."""
    return tagged_response(request, program_response(context.gateway.site.zone(zone_id)))


@router.put(
    "/v1/zones/{zone_id}/program",
    summary="Change a zone's program",
    responses=problems_of("not-a-program", *CONDITIONAL, *WRITING),
)
def put_program(
    context: Context, client: Caller, conditions: If, zone_id: ZoneId, body: ProgramRequest
) -> ZoneResponse:
    """Write a zone's program into the site file, its comments kept, and follow it from now on."""
    special_nights = None
    if body.special_nights is not None:
        special_nights = [
            SpecialNight(nights=each.nights, program=tuple(each.program)) for each in body.special_nights
        ]
    context.gateway.site.zone(zone_id)
    context.write_site(
        lambda path: write_program(path, zone_id, body.program, special_nights),
        f"the program of {zone_id} was changed",
        by=client.name,
        require=lambda site: conditions.require(program_response(site.zone(zone_id))),
    )
    return describe_zone(context, zone_id)


@router.get(
    "/v1/zones/{zone_id}/measured",
    tags=["wiring"],
    summary="What was measured on site",
    response_model=MeasuredResponse,
    responses=tagged(),
    dependencies=TAGGED,
)
async def get_measured(request: Request, context: Context, zone_id: ZoneId) -> Response:
    """Show the measured watts and volts of a zone, as the site file has them and as PUT takes them."""
    return tagged_response(request, measured_response(context.gateway.site.zone(zone_id)))


@router.put(
    "/v1/zones/{zone_id}/measured",
    tags=["wiring"],
    summary="Note what was measured on site",
    responses=problems_of(*CONDITIONAL, *WRITING),
)
def put_measured(
    context: Context, client: Caller, conditions: If, zone_id: ZoneId, body: MeasuredRequest
) -> ZoneResponse:
    """Write measured watts and volts into the site file, with its comments kept.

    Measured watts count in the energy from then on, before anything that is calculated.
    """
    context.gateway.site.zone(zone_id)
    volts = {each.fixture: each.volts for each in body.fixtures}
    forget = body.watts is None and "watts" in body.model_fields_set
    try:
        context.write_site(
            lambda path: write_measured(path, zone_id, watts=body.watts, forget_watts=forget, volts=volts),
            f"what was measured in {zone_id} was noted",
            by=client.name,
            require=lambda site: conditions.require(measured_response(site.zone(zone_id))),
        )
    except UnknownFixtureError as error:
        number = list(volts).index(error.place)
        raise invalid(str(error), pointer=f"#/fixtures/{number}/fixture") from error
    return describe_zone(context, zone_id)


@router.get(
    "/v1/zones/{zone_id}/override",
    summary="A zone's override",
    response_model=StandingOverrideResponse,
    responses=tagged(problems_of("no-override")),
    dependencies=TAGGED,
)
async def get_override(request: Request, context: Context, zone_id: ZoneId) -> Response:
    """Show the override that is in force; 404 where there is none."""
    context.gateway.site.zone(zone_id)
    status, now = context.zone_status(zone_id), context.now()
    standing = None if status is None else standing_override(status.override, now)
    if standing is None:
        raise ProblemError("no-override", f"nobody asked for light or dark in {quote(zone_id)}")
    return tagged_response(request, standing)


@router.put(
    "/v1/zones/{zone_id}/override",
    summary="Switch a zone on or off for now",
    responses=problems_of("override-refused", *CONDITIONAL),
)
def put_override(
    context: Context, client: Caller, conditions: If, zone_id: ZoneId, body: OverrideRequest
) -> OverrideResponse:
    """Keep a zone lit or dark until an instant, for a time, or until the program's next change.

    An override ends by itself, at most 31 days from now, and survives a restart. Without an end it lasts
    24 h at most.
    """
    lasts_s = None if body.lasts is None else float(body.lasts.seconds)
    on = body.light == "on"

    def place(keeper: Keeper) -> Override:
        keeper.site.zone(zone_id)
        conditions.require(standing_override(keeper.overrides.get(zone_id), context.now()))
        return keeper.override(zone_id, on=on, ends_at_utc=body.until, lasts_s=lasts_s, by=client.name)

    try:
        override = context.call(place)
    except ValueError as error:
        raise ProblemError("override-refused", str(error)) from error
    return override_response(override, context.now())


@router.delete(
    "/v1/zones/{zone_id}/override",
    summary="Give a zone back to its program",
    status_code=204,
    response_class=Response,
    responses=problems_of(*CONDITIONAL),
)
def delete_override(context: Context, client: Caller, conditions: If, zone_id: ZoneId) -> None:
    """End an override before its time; no error where none was in force."""

    def lift(keeper: Keeper) -> None:
        keeper.site.zone(zone_id)
        conditions.require(standing_override(keeper.overrides.get(zone_id), context.now()))
        keeper.lift_override(zone_id, by=client.name)

    context.call(lift)
