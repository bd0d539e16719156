"""The requests about nights, and the requests and responses about switchings."""

from __future__ import annotations

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel
from api.web.schemas.fields import DateField, EdgeField, OneZone, RequestModel
from controller.records.entries import Switching

MOST_SWITCHINGS = 1000
USUAL_SWITCHINGS = 100


class NightsParams(RequestModel):
    """Which nights, and of which zone."""

    from_date: DateField | None = Field(
        None, alias="from", description="the first night; tonight if left out"
    )
    to_date: DateField | None = Field(
        None, alias="to", description="the last night; six nights after the first if left out"
    )
    zone: OneZone = None


class SwitchingsParams(RequestModel):
    """Which switchings."""

    from_edge: EdgeField | None = Field(
        None,
        alias="from",
        description="an instant, or a night's date; a week before the end, or now, if left out",
    )
    to_edge: EdgeField | None = Field(
        None, alias="to", description="an instant, or the date of the last night; no end if left out"
    )
    zone: OneZone = None
    limit: int = Field(
        USUAL_SWITCHINGS, ge=1, le=MOST_SWITCHINGS, strict=False, description="maximum number of them"
    )
    cursor: str | None = Field(
        None,
        pattern=r"^[0-9]{1,14}\.[0-9]{1,4}$",
        description="where an earlier response ended; its “next” has it",
    )


class SwitchingResponse(ResponseModel):
    """One change of one relay."""

    at: Instant
    zone: str
    on: bool
    cause: str
    because: str
    trusted: bool = Field(description="whether the clock was trusted then")
    load_w: float | None = Field(description="rated load at that time in watts; null where not known")
    load_from: str | None = Field(description="where that number came from")


class SwitchingsResponse(ResponseModel):
    """Changes of relays, the newest first."""

    site: str
    switchings: list[SwitchingResponse]
    next: str | None = Field(description="address of the older ones; null where there are none")


def switching_response(switching: Switching) -> SwitchingResponse:
    """Describe one change of one relay."""
    return SwitchingResponse(
        at=instant_text(switching.at.utc),
        zone=switching.zone,
        on=switching.on,
        cause=str(switching.cause),
        because=switching.words,
        trusted=switching.at.trusted,
        load_w=switching.load_w,
        load_from=switching.load_from or None,
    )
