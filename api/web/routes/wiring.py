"""Routes of the wiring: load and volts, the sheet to print, and where lights go."""

from pathlib import Path as FilePath
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from api.render.wiring.as_json import placement_response, to_response, transformer_response
from api.render.wiring.model import PlacementResponse, TransformerWiringResponse, WiringResponse
from api.render.wiring.proposal_json import proposals_response
from api.render.wiring.proposal_model import ProposalsResponse
from api.render.wiring.site_sheet import make_sheet
from api.render.words import Words
from api.web.conditions import CONDITIONAL, TAGGED, If, tagged, tagged_response
from api.web.context import Context, LongRoute, RequestContext, json_response
from api.web.headers import WholePage, answer_with_page, whole_page
from api.web.permission import Caller
from api.web.problems.types import WRITING, ProblemError, invalid, problems_of, shown_as
from api.web.schemas.fields import RequestModel
from api.web.streaming import head_of, is_head
from config.errors import WiringError
from config.file.cable_editor import write_changes
from config.file.loader import LoadedSite
from config.models.site import Site
from controller.design.brightness import SURROUNDINGS_LX, Wanted
from controller.design.path_lights import PathSide
from controller.design.placement import Target, place_object
from controller.inspection.proposals import Proposal
from controller.inspection.report import WiringReport, report_site
from controller.planning.planner import Planner

TransformerId = Annotated[
    str, Path(description="id of the transformer, as the site file has it", examples=["boathouse"])
]

HTML = "text/html; charset=utf-8"

router = APIRouter(tags=["wiring"], route_class=LongRoute)


class WiringParams(RequestModel):
    """The transformer that is asked about."""

    transformer: str | None = Field(
        None, description="id of one transformer; every one if left out", examples=["boathouse"]
    )


def _figure(description: str, example: float) -> Any:  # noqa: ANN401 (as the field function is typed)
    return Field(None, gt=0, strict=False, description=description, examples=[example])


class ProposalRequest(RequestModel):
    """The proposal that is to be written."""

    number: int = Field(ge=1, description="its number in the list, from 1", examples=[1])


class PlacingParams(RequestModel):
    """The object that is to be lit."""

    kind: Literal["tree", "shrub", "tall thing", "wall", "path"] = Field(description="what it is")
    height: str | None = Field(None, description="its height; a path has none", examples=["7 ft", "2 m"])
    spread: str | None = Field(
        None,
        description="its width; the length of a shrub bed, a wall or a path; a tree may do without",
        examples=["5 ft"],
    )
    width: str | None = Field(None, description="of a path; 4 ft where it is not given", examples=["1 m"])
    lux: float | None = _figure("lx to aim at", 15)
    candela: float | None = _figure("cd of one light in the middle of its beam, to compute its lux", 500)
    surroundings: float | None = _figure(
        f"lx of what is around it; {SURROUNDINGS_LX:g} where it is not given", 5
    )
    out: str | None = Field(
        None, description="how far out there is room, where that is not free", examples=["1 ft"]
    )
    spacing: str | None = Field(None, description="from light to light of a path", examples=["6 ft"])
    side: Literal["alternating", "one"] | None = Field(
        None, description="of the lights of a path; by its width where it is not given"
    )


@router.get(
    "/v1/wiring",
    summary="Load of each transformer, volts at each light",
    response_model=WiringResponse,
    responses=problems_of("unknown-transformer"),
)
def get_wiring(request: Request, context: Context, params: Annotated[WiringParams, Query()]) -> Response:
    """Give each transformer's load and cables, the volts of every light, and how to fix what is wrong."""
    _require_transformer(context.gateway.site, params.transformer)
    if is_head(request):
        return head_of("application/json")
    return json_response(to_response(*_reports(context.gateway.site, params.transformer)))


@router.get(
    "/v1/wiring/{transformer_id}/proposals",
    summary="What would mend the wiring of one transformer",
    response_model=ProposalsResponse,
    responses=tagged(problems_of("unknown-transformer")),
    dependencies=TAGGED,
)
def get_proposals(request: Request, context: Context, transformer_id: TransformerId) -> Response:
    """Give changes that mend the errors, each with its cost and with what every light then gets."""
    site = context.gateway.site
    _require_transformer(site, transformer_id)
    return tagged_response(request, _proposals_of(site, transformer_id))


@router.post(
    "/v1/wiring/{transformer_id}/proposals",
    summary="Write a proposal into the site file",
    response_model=TransformerWiringResponse,
    responses=problems_of("unknown-transformer", "unknown-proposal", *CONDITIONAL, *WRITING),
)
def post_proposal(
    context: Context,
    client: Caller,
    conditions: If,
    transformer_id: TransformerId,
    body: ProposalRequest,
) -> Response:
    """Change the cables in the site file as a proposal says, its comments kept, and show the wiring then.

    `If-Match` takes the ETag of the list of proposals: they change with every change of the site.
    """
    _require_transformer(context.gateway.site, transformer_id)
    number, taken = body.number, list[tuple[Site, Proposal]]()

    def take(site: Site) -> None:
        _require_transformer(site, transformer_id)
        conditions.require(_proposals_of(site, transformer_id))
        [report] = _reports(site, transformer_id)[1]
        if number > len(report.proposals):
            words = (
                f"transformer “{transformer_id}” has {len(report.proposals)} proposals, none of them {number}"
            )
            raise ProblemError("unknown-proposal", words)
        taken.append((site, report.proposals[number - 1]))

    def write(path: FilePath) -> LoadedSite:
        site, proposal = taken[-1]
        return write_changes(path, site, proposal.changes)

    note = f"proposal {number} for the cables of {transformer_id} was written"
    context.write_site(write, note, by=client.name, require=take)
    [report] = _reports(context.gateway.site, transformer_id)[1]
    return json_response(transformer_response(report))


@router.get(
    "/v1/sheet",
    summary="The site sheet of the wiring, to print",
    response_class=Response,
    responses=shown_as("text/html", "unknown-transformer"),
)
def get_sheet(request: Request, context: Context) -> Response:
    """Give a page that prints on A4 and Letter: drawing, load, readings, what to buy and to check."""
    return answer_with_sheet(request, context, None)


@router.get(
    "/v1/sheet/{transformer_id}",
    summary="The site sheet of one transformer",
    response_class=Response,
    responses=shown_as("text/html", "unknown-transformer"),
)
def get_sheet_of_one(request: Request, context: Context, transformer_id: TransformerId) -> Response:
    """Give the same page for one transformer alone."""
    return answer_with_sheet(request, context, transformer_id)


@router.get("/v1/placing", summary="How many lights for an object, where, and how bright")
def get_placing(params: Annotated[PlacingParams, Query()]) -> PlacementResponse:
    """Say how many lights, how far out, aimed how, how bright; what is common practice is marked as that."""
    what = Target(params.kind)
    first, second = (params.spread, params.width) if what is Target.PATH else (params.height, params.spread)
    for name, of_path in {
        "height": False,
        "out": False,
        "width": True,
        "spacing": True,
        "side": True,
    }.items():
        if getattr(params, name) is not None and of_path is not (what is Target.PATH):
            raise invalid(f"{name}: is {'for a path only' if of_path else 'not for a path'}", parameter=name)
    if first is None:
        missing = "spread" if what is Target.PATH else "height"
        words = f"{missing}: is missing; give a length such as “7 ft” or “2 m”"
        raise invalid(words, parameter=missing)
    try:
        wanted = Wanted(
            lux=params.lux,
            candela=params.candela,
            surroundings_lx=params.surroundings or SURROUNDINGS_LX,
        )
        side = None if params.side is None else PathSide(params.side)
        placed = place_object(what, first, second, wanted, out=params.out, spacing=params.spacing, side=side)
        return placement_response(placed)
    except WiringError as error:
        raise invalid(str(error)) from error


def answer_with_sheet(
    request: Request, context: RequestContext, transformer: str | None, words: Words | None = None
) -> Response:
    """Answer with the site sheet of one transformer, or of all.

    ``words`` are those of a browser that shows it on the page; without any it is in English, and alone.
    """
    site = context.gateway.site
    _require_transformer(site, transformer)
    if is_head(request):
        return head_of(HTML, {"vary": "accept-encoding"})
    today = context.now().utc.astimezone(ZoneInfo(site.time_zone)).date()

    def work(planner: Planner) -> WholePage:
        return whole_page(make_sheet(*_reports(planner.site, transformer), today, words=words))

    page = context.years.keep(("sheet", transformer, today, words), context.gateway.planner, work)
    return answer_with_page(request, page)


def _require_transformer(site: Site, transformer: str | None) -> None:
    known = [each.id for each in site.transformers]
    if transformer is not None and transformer not in known:
        has = f"this site has {', '.join(known)}" if known else "this site has none"
        words = f"no transformer is called “{transformer}”; {has}"
        raise ProblemError("unknown-transformer", words, transformers=known)


def _proposals_of(site: Site, transformer: str) -> ProposalsResponse:
    [report] = _reports(site, transformer)[1]
    return proposals_response(report)


def _reports(site: Site, transformer: str | None) -> tuple[Site, tuple[WiringReport, ...]]:
    reports = report_site(site)
    return site, tuple(each for each in reports if transformer in (None, each.wiring.transformer.id))
