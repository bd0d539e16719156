"""The clock as JSON: what it says, whether it is trusted, and why."""

from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel, SiteName, TimeZoneName
from config.models.site import Site
from controller.calendar.night import local
from controller.records.reading import Reading


class ClockResponse(ResponseModel):
    """What time it is, and whether that is trusted."""

    now: Instant = Field(description="what the clock says")
    trusted: bool = Field(description="whether programs are followed; if not, only overrides light a zone")
    because: str = Field(
        description="why it is trusted or not, and what to do", examples=["synchronised by the network"]
    )
    since: Instant | None = Field(
        description="since when, by the clock as it is now; null where no daemon runs"
    )


class ClockReport(ClockResponse):
    """The same, with what a person needs to vouch for it."""

    site: SiteName
    time_zone: TimeZoneName
    local: str = Field(
        description="the time in the site's time zone, with its UTC offset",
        examples=["2027-06-21T21:30:00-04:00"],
    )
    believe: Literal["synchronised", "always"] = Field(
        description="what the site file says of when to trust it"
    )
    confirmed_at: Instant | None = Field(
        description="when a person confirmed the time, by the clock as it is now; null where that is not why "
        "it is trusted"
    )
    basis: Literal["keeper", "this machine"] = Field(
        description="who looked: “keeper”, or “this machine” where no daemon runs"
    )


class ConfirmationResponse(ResponseModel):
    """Whether a person vouches for the clock."""

    confirmed_at: Instant | None = Field(
        description="when a person confirmed the time, by the clock as it is now; null where that is not why "
        "it is trusted"
    )
    trusted: bool = Field(description="whether programs are followed")
    because: str = Field(
        description="why it is trusted or not, and what to do", examples=["confirmed by a person"]
    )


def clock_response(now: Reading, since_utc: datetime | None) -> ClockResponse:
    """Describe the clock in a few words."""
    since = None if since_utc is None else instant_text(since_utc)
    return ClockResponse(now=instant_text(now.utc), trusted=now.trusted, because=now.trust, since=since)


def clock_report(
    site: Site,
    tz: ZoneInfo,
    now: Reading,
    *,
    since_utc: datetime | None,
    confirmed_utc: datetime | None,
    basis: Literal["keeper", "this machine"],
) -> ClockReport:
    """Describe the clock in full."""
    return ClockReport(
        **dict(clock_response(now, since_utc)),
        site=site.name,
        time_zone=site.time_zone,
        local=local(now.utc, tz).isoformat(timespec="seconds"),
        believe=site.clock.believe,
        confirmed_at=None if confirmed_utc is None else instant_text(confirmed_utc),
        basis=basis,
    )


def confirmation_response(now: Reading, confirmed_utc: datetime | None) -> ConfirmationResponse:
    """Describe a person's confirmation of the clock."""
    confirmed_at = None if confirmed_utc is None else instant_text(confirmed_utc)
    return ConfirmationResponse(confirmed_at=confirmed_at, trusted=now.trusted, because=now.trust)
