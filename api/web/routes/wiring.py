"""Routes of the wiring: load and volts, the sheet to print, what was measured, and where lights go."""

from __future__ import annotations

from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Response

from api.render.site_sheet import make_sheet
from api.render.wiring_json import PlacementResponse, WiringResponse, placement_response, to_response
from api.web.context import LONG, SELF_CONTAINED, SHORT, Context, RequestContext
from api.web.openapi import problems_of, shown_as
from api.web.problems.types import ProblemError, invalid
from api.web.routes.zones import SITE_CHANGE, ZoneId, describe_zone
from api.web.schemas.wiring import MeasuredRequest, PlacingParams, WiringParams
from api.web.schemas.zones import ZoneResponse
from config.errors import UnknownFixtureError, WiringError
from config.file.editor import write_measured
from config.models.site import Site
from controller.design.placement import Target, place_object
from controller.inspection.report import WiringReport, report_site

TransformerId = Annotated[
    str, Path(description="id of the transformer, as the site file has it", examples=["boathouse"])
]

router = APIRouter(tags=["wiring"])


@router.get(
    "/v1/wiring",
    summary="Load of each transformer, volts at each light",
    responses=problems_of("unknown-transformer"),
    dependencies=[LONG],
)
def get_wiring(context: Context, params: Annotated[WiringParams, Query()]) -> WiringResponse:
    """Give each transformer's load and cables, the volts of every light, and how to fix what is wrong."""
    return to_response(*_reports(context, params.transformer))


@router.get(
    "/v1/sheet",
    summary="The site sheet of the wiring, to print",
    response_class=Response,
    responses=shown_as("text/html", "unknown-transformer"),
    dependencies=[LONG],
)
def get_sheet(context: Context) -> Response:
    """Give a page that prints on A4 and Letter: drawing, load, readings, what to buy and to check."""
    return _sheet(context, None)


@router.get(
    "/v1/sheet/{transformer_id}",
    summary="The site sheet of one transformer",
    response_class=Response,
    responses=shown_as("text/html", "unknown-transformer"),
    dependencies=[LONG],
)
def get_sheet_of_one(context: Context, transformer_id: TransformerId) -> Response:
    """Give the same page for one transformer alone."""
    return _sheet(context, transformer_id)


@router.get(
    "/v1/placing",
    summary="How many lights for an object, and where",
    dependencies=[SHORT],
)
def get_placing(params: Annotated[PlacingParams, Query()]) -> PlacementResponse:
    """Say how many lights, how far out, how tilted; what is common practice is marked as that."""
    what = Target(params.kind)
    first, second = (params.spread, params.height) if what is Target.PATH else (params.height, params.spread)
    if first is None:
        missing = "spread" if what is Target.PATH else "height"
        words = f"{missing}: is missing; give a length such as “7 ft” or “2 m”"
        raise invalid(words, parameter=missing)
    try:
        return placement_response(place_object(what, first, second, params.candela))
    except WiringError as error:
        raise invalid(str(error)) from error


@router.put(
    "/v1/zones/{zone_id}/measured",
    tags=["zones"],
    summary="Note what was measured on site",
    responses=problems_of(*SITE_CHANGE),
    dependencies=[SHORT],
)
def put_measured(context: Context, zone_id: ZoneId, body: MeasuredRequest) -> ZoneResponse:
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
        )
    except UnknownFixtureError as error:
        number = list(volts).index(error.place)
        raise invalid(str(error), pointer=f"#/fixtures/{number}/fixture") from error
    return describe_zone(context, zone_id)


def _sheet(context: RequestContext, transformer: str | None) -> Response:
    site, reports = _reports(context, transformer)
    today = context.now().utc.astimezone(ZoneInfo(site.time_zone)).date()
    page = make_sheet(site, reports, today)
    return Response(page, media_type="text/html; charset=utf-8", headers=SELF_CONTAINED)


def _reports(context: RequestContext, transformer: str | None) -> tuple[Site, tuple[WiringReport, ...]]:
    site = context.gateway.site
    reports = report_site(site)
    if transformer is None:
        return site, reports
    found = tuple(each for each in reports if each.wiring.transformer.id == transformer)
    if not found:
        known = [each.wiring.transformer.id for each in reports]
        has = f"this site has {', '.join(known)}" if known else "this site has none"
        words = f"no transformer is called “{transformer}”; {has}"
        raise ProblemError("unknown-transformer", words, transformers=known)
    return site, found
