"""The route of the metrics for monitoring."""

from fastapi import APIRouter, Request, Response

from api.web.context import Context, RequestContext, ShortRoute, prefers
from config.errors import JournalError
from controller.records.past import ZoneSum

# How long a request waits for another that reads the journal: of a disk that hangs only one waits.
JOURNAL_WAIT_S = 2.0
_OPENMETRICS = "application/openmetrics-text"
_TEXT = {"schema": {"type": "string"}}

router = APIRouter(tags=["metrics"], route_class=ShortRoute)


@router.get(
    "/metrics",
    summary="Metrics for monitoring",
    response_class=Response,
    responses={200: {"description": "the metrics", "content": {"text/plain": _TEXT, _OPENMETRICS: _TEXT}}},
)
def get_metrics(request: Request, context: Context) -> Response:
    """Give what can be counted and measured, in the text format 0.0.4, or as OpenMetrics where Accept asks.

    What the journal adds up is left out while it cannot be read.
    """
    from api.render.feeds.metrics import MetricsInput, write_metrics  # noqa: PLC0415 - at the first request

    gateway, now = context.gateway, context.now()
    status = gateway.status
    found = MetricsInput(
        version=request.app.version,
        site=gateway.site,
        status=status,
        round_age_s=max(0.0, now.boot_s - status.at.boot_s),
        sun_elevation_deg=gateway.planner.sun.elevation_deg(now.utc) if now.trusted else None,
        totals=_totals(context),
    )
    media_type = _OPENMETRICS if prefers(request, _OPENMETRICS, usual="text/plain") else "text/plain"
    content, full_type = write_metrics(found, media_type=media_type)
    return Response(content, media_type=full_type, headers={"vary": "Accept"})


def _totals(context: RequestContext) -> list[ZoneSum] | None:
    """Read the journal's account; None where it cannot be read, or does not answer."""
    if not context.journal_turn.acquire(timeout=JOURNAL_WAIT_S):
        return None
    try:
        return context.gateway.journal.totals()
    except JournalError:
        return None
    finally:
        context.journal_turn.release()
