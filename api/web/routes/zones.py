"""Routes of the zones: the state of each and why, its program, and its override."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from api.render.nights_json import WhyResponse, why_by_site_file, why_response
from api.web.context import SHORT, Context, RequestContext
from api.web.openapi import problems_of
from api.web.problems.types import ProblemError
from api.web.schemas.zones import (
    OverrideRequest,
    OverrideResponse,
    ProgramRequest,
    WhyParams,
    ZoneResponse,
    ZonesResponse,
    override_response,
    zone_response,
    zone_summary,
)
from config.file.editor import write_program
from config.models.site import SpecialNight

ZoneId = Annotated[str, Path(description="id of the zone in the site file", examples=["jetty"])]

# The problems of every route that writes the site file.
SITE_CHANGE = (
    "site-file-refused",
    "demonstration",
    "site-file-unwritable",
    "site-file-changed",
    "disk-full",
)

router = APIRouter(tags=["zones"])


@router.get("/v1/zones", summary="All zones")
async def get_zones(context: Context) -> ZonesResponse:
    """List every zone with its light, the decision in force, its override and its fault."""
    site, now = context.gateway.site, context.now()
    zones = [zone_summary(zone, context.zone_status(zone.id), now) for zone in site.zones]
    return ZonesResponse(site=site.name, zones=zones)


@router.get("/v1/zones/{zone_id}", summary="One zone", dependencies=[SHORT])
def get_zone(context: Context, zone_id: ZoneId) -> ZoneResponse:
    """Show one zone: its wiring, load, light, decision, program, and its windows of tonight."""
    return describe_zone(context, zone_id)


def describe_zone(context: RequestContext, zone_id: str) -> ZoneResponse:
    """Describe one zone in full; every route that changes a zone responds with this.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    now = context.now()
    with context.planner_lock:
        planner = context.gateway.planner
        zone = planner.site.zone(zone_id)
        tonight = planner.plan(zone_id, planner.night_at(now.utc))
    return zone_response(zone, context.zone_status(zone_id), now, tonight)


@router.get(
    "/v1/zones/{zone_id}/why",
    summary="Why a zone is lit or dark",
    responses=problems_of("keeper-silent"),
    dependencies=[SHORT],
)
def get_why(context: Context, zone_id: ZoneId, params: Annotated[WhyParams, Query()]) -> WhyResponse:
    """Say why a zone is lit or dark, and until when.

    Without `at`: the decision in force. With `at`: what the site file alone asks for at that instant, past or
    to come; overrides and faults of that time are in the switchings.
    """
    if params.at is not None:
        with context.planner_lock:
            return why_by_site_file(context.gateway.planner, zone_id, params.at)
    site = context.gateway.site
    site.zone(zone_id)
    status = context.zone_status(zone_id)
    if status is None:
        raise ProblemError("keeper-silent", f"the keeper has made no round with {zone_id} yet; try again")
    return why_response(site.name, zone_id, context.now().utc, status.decision, basis="keeper")


@router.put(
    "/v1/zones/{zone_id}/program",
    summary="Change a zone's program",
    responses=problems_of("not-a-program", *SITE_CHANGE),
    dependencies=[SHORT],
)
def put_program(context: Context, zone_id: ZoneId, body: ProgramRequest) -> ZoneResponse:
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
    )
    return describe_zone(context, zone_id)


@router.put(
    "/v1/zones/{zone_id}/override",
    summary="Switch a zone on or off for now",
    responses=problems_of("override-refused"),
    dependencies=[SHORT],
)
def put_override(context: Context, zone_id: ZoneId, body: OverrideRequest) -> OverrideResponse:
    """Keep a zone lit or dark until an instant, for a time, or until the program's next change.

    An override ends by itself, and survives a restart. One without an end lasts 24 h at most.
    """
    lasts_s = None if body.lasts is None else float(body.lasts.seconds)
    on = body.light == "on"
    try:
        override = context.gateway.call(
            lambda keeper: keeper.override(zone_id, on=on, ends_at_utc=body.until, lasts_s=lasts_s)
        )
    except ValueError as error:
        raise ProblemError("override-refused", str(error)) from error
    return override_response(override, context.now())


@router.delete(
    "/v1/zones/{zone_id}/override",
    summary="Give a zone back to its program",
    status_code=204,
    response_class=Response,
    dependencies=[SHORT],
)
def delete_override(context: Context, zone_id: ZoneId) -> None:
    """End an override before its time; no error where none was in force."""
    context.gateway.call(lambda keeper: keeper.lift_override(zone_id))
