"""One change of a relay, as the routes that tell of it show it."""

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel
from controller.records.entries import Switching


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
