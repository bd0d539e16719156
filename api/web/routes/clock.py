"""Routes of the clock: what it says and whether it is trusted, and a person's word for it."""

from datetime import datetime

from fastapi import APIRouter, Request, Response
from pydantic import Field

from api.render.clock_json import ClockReport, ConfirmationResponse, clock_report, confirmation_response
from api.web.conditions import CONDITIONAL, TAGGED, If, tagged, tagged_response
from api.web.context import Context, RequestContext, ShortRoute, json_response
from api.web.permission import Caller
from api.web.problems.types import ProblemError, problems_of
from api.web.schemas.fields import InstantField, RequestModel
from api.web.schemas.zones import by_present_clock
from controller.clock.trust import CONFIRMED
from controller.keeper.keeper import Keeper

router = APIRouter(tags=["clock"], route_class=ShortRoute)


class ConfirmationRequest(RequestModel):
    """A person's word for the clock."""

    time: InstantField = Field(description="the time that the person sees, on a phone or a watch (RFC 3339)")


@router.get("/v1/clock", summary="What the clock says, and whether it is trusted", response_model=ClockReport)
async def get_clock(context: Context) -> Response:
    """Show the board's clock, why it is or is not trusted, and what to do about it."""
    gateway, now = context.gateway, context.now()
    report = clock_report(
        gateway.site,
        gateway.tz,
        now,
        since_utc=by_present_clock(gateway.status.trust_since, now),
        confirmed_utc=_confirmed_utc(context),
        basis="keeper",
    )
    return json_response(report)


@router.get(
    "/v1/clock/confirmation",
    summary="Whether a person vouches for the clock",
    response_model=ConfirmationResponse,
    responses=tagged(),
    dependencies=TAGGED,
)
async def get_confirmation(request: Request, context: Context) -> Response:
    """Show when a person confirmed the clock, if that is why it is trusted."""
    return tagged_response(request, _confirmation(context))


@router.put(
    "/v1/clock/confirmation",
    summary="Vouch for the clock",
    response_model=ConfirmationResponse,
    responses=problems_of("confirmation-refused", "demonstration", *CONDITIONAL),
)
def put_confirmation(context: Context, client: Caller, conditions: If, body: ConfirmationRequest) -> Response:
    """Have the clock trusted because a person says that it is right.

    That holds until the board starts again, or something other than the network sets the clock. It is refused
    where the time that the person sees is more than a minute off the board's.
    """
    if context.gateway.site_path is None:
        raise ProblemError("demonstration", "this is a demonstration, whose clock is its own")

    def confirm(keeper: Keeper) -> None:
        conditions.require(_confirmation(context))
        keeper.confirm_clock(body.time, by=client.name)

    try:
        context.call(confirm)
    except ValueError as error:
        raise ProblemError("confirmation-refused", str(error)) from error
    return json_response(_confirmation(context))


def _confirmation(context: RequestContext) -> ConfirmationResponse:
    return confirmation_response(context.now(), _confirmed_utc(context))


def _confirmed_utc(context: RequestContext) -> datetime | None:
    """Give when a person confirmed the clock; None where that is not why it is trusted."""
    status = context.gateway.status
    return by_present_clock(status.trust_since, context.now()) if status.at.trust == CONFIRMED else None
