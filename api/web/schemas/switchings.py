"""One change of a relay, as the routes that tell of it show it."""

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel, ZoneId
from controller.records.entries import Cause, Switching


class SwitchingResponse(ResponseModel):
    """One change of one relay."""

    at: Instant = Field(description="when it was switched, by the clock of that time")
    zone: ZoneId
    on: bool = Field(description="whether it was switched on; if not, off")
    cause: Cause = Field(description="what decided, in a word")
    because: str = Field(description="the reason in words", examples=["dusk to midnight, every night"])
    trusted: bool = Field(description="whether the clock was trusted then")
    load_w: float | None = Field(
        description="rated load at that time in watts; null where not known", examples=[27.0]
    )
    load_from: str | None = Field(
        description="where that number came from; null where not known", examples=["fixtures"]
    )


def switching_response(switching: Switching) -> SwitchingResponse:
    """Describe one change of one relay."""
    return SwitchingResponse(
        at=instant_text(switching.at.utc),
        zone=switching.zone,
        on=switching.on,
        cause=switching.cause,
        because=switching.words,
        trusted=switching.at.trusted,
        load_w=switching.load_w,
        load_from=switching.load_from or None,
    )
