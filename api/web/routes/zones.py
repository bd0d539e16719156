"""Routes of the zones: the state of each and why, its program, and its override."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response

from api.render.instants import instant_text
from api.render.nights_json import BY_KEEPER, decision_as_json, night_as_json, why_as_json
from api.web.context import SHORT, Context, RequestContext
from api.web.openapi import problems_of
from api.web.problems.types import ProblemError
from api.web.schemas import status as pictures
from api.web.schemas.requests import OverrideAsk, ProgramAsk, WhyAsk
from api.web.schemas.responses import OverrideAnswer, WhyAnswer, ZoneAnswer, ZonesAnswer
from config.file.editor import write_program
from config.models.site import SpecialNight

ZoneId = Annotated[str, Path(description="id of the zone, as the site file has it", examples=["jetty"])]

_CHANGE = ("invalid-request", "not-json", "not-json-type", "too-large", "cross-site", "keeper-silent")
# What a route answers with that writes the site file.
SITE_CHANGE = (
    *_CHANGE,
    "unknown-zone",
    "site-file-refused",
    "demonstration",
    "site-file-unwritable",
    "site-file-changed",
    "disk-full",
)

router = APIRouter(tags=["zones"])


@router.get("/v1/zones", summary="Every zone in short")
async def get_zones(context: Context) -> ZonesAnswer:
    """List every zone with its light, the decision in force, its override and its fault."""
    site, now = context.gateway.site, context.now()
    zones = [pictures.show_in_short(zone, context.zone_status(zone.id), now) for zone in site.zones]
    return ZonesAnswer(site=site.name, zones=zones)


@router.get(
    "/v1/zones/{zone_id}",
    summary="One zone in full",
    responses=problems_of("unknown-zone"),
    dependencies=[SHORT],
)
def get_zone(context: Context, zone_id: ZoneId) -> ZoneAnswer:
    """Show one zone: its wiring, load, light, decision, program, and its windows of tonight."""
    return zone_response(context, zone_id)


def zone_response(context: RequestContext, zone_id: str) -> ZoneAnswer:
    """Describe one zone in full.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    now = context.now()
    with context.planner_lock:
        planner = context.gateway.planner
        zone = planner.site.zone(zone_id)
        tonight = night_as_json(planner.plan(zone_id, planner.night_at(now.utc)))
    return pictures.show_zone(zone, context.zone_status(zone_id), now, tonight)


@router.get(
    "/v1/zones/{zone_id}/why",
    summary="Why a zone is lit or dark",
    response_model=WhyAnswer,
    responses=problems_of("unknown-zone", "invalid-request", "keeper-silent"),
    dependencies=[SHORT],
)
def get_why(context: Context, zone_id: ZoneId, query: Annotated[WhyAsk, Query()]) -> dict[str, Any]:
    """Say why a zone is lit or dark, and until when.

    Without `at`: the decision in force. With `at`: what the site file alone asks for at that instant,
    past or to come; what somebody wanted at the time and what went wrong is in the switchings.
    """
    if query.at is not None:
        with context.planner_lock:
            return why_as_json(context.gateway.planner, zone_id, query.at)
    site = context.gateway.site
    site.zone(zone_id)
    seen = context.zone_status(zone_id)
    if seen is None:
        raise ProblemError("keeper-silent", f"the keeper has made no round with {zone_id} yet; ask again")
    head = {"site": site.name, "zone": zone_id, "at": instant_text(context.now().utc)}
    return {**head, **decision_as_json(seen.decision), "basis": "keeper", "note": BY_KEEPER}


@router.put(
    "/v1/zones/{zone_id}/program",
    summary="Change a zone's program",
    responses=problems_of("not-a-program", *SITE_CHANGE),
    dependencies=[SHORT],
)
def put_program(context: Context, zone_id: ZoneId, body: ProgramAsk) -> ZoneAnswer:
    """Write a zone's program into the site file, with its comments kept, and follow it from now on."""
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
    return zone_response(context, zone_id)


@router.put(
    "/v1/zones/{zone_id}/override",
    summary="Light a zone, or put it out, for now",
    responses=problems_of("unknown-zone", "override-refused", *_CHANGE),
    dependencies=[SHORT],
)
def put_override(context: Context, zone_id: ZoneId, body: OverrideAsk) -> OverrideAnswer:
    """Have a zone lit or dark until an instant, for a time, or until the program's next change.

    An override ends by itself, and outlives a restart. One that names no end lasts 24 h at most.
    """
    lasts_s = None if body.lasts is None else float(body.lasts.seconds)
    on = body.light == "on"
    try:
        override = context.gateway.call(
            lambda keeper: keeper.override(zone_id, on=on, ends_at_utc=body.until, lasts_s=lasts_s)
        )
    except ValueError as error:
        raise ProblemError("override-refused", str(error)) from error
    return pictures.show_override(override, context.now())


@router.delete(
    "/v1/zones/{zone_id}/override",
    summary="Give a zone back to its program",
    status_code=204,
    response_class=Response,
    responses=problems_of("unknown-zone", "keeper-silent", "cross-site"),
    dependencies=[SHORT],
)
def delete_override(context: Context, zone_id: ZoneId) -> None:
    """End an override before its time; also well where none was in force."""
    context.gateway.call(lambda keeper: keeper.lift_override(zone_id))
