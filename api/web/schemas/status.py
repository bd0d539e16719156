"""The responses about the daemon as a whole: health, status, the index, the types of problems."""

from __future__ import annotations

from pydantic import Field

from api.render.model import Instant, ResponseModel
from api.web.schemas.zones import ZoneSummary


class HealthResponse(ResponseModel):
    """The control loop is running."""

    status: str = Field("ok", description="always “ok”; a control loop that is late is a problem document")
    last_round_s: float = Field(description="seconds since the keeper's last round")
    lit: int = Field(description="how many zones are lit")


class ClockResponse(ResponseModel):
    """What time it is, and whether that is trusted."""

    now: Instant
    trusted: bool = Field(description="whether programs are followed; if not, only overrides light a zone")
    because: str = Field(description="why it is trusted or not")
    since: Instant = Field(description="since when, by the clock as it is now")


class KeeperResponse(ResponseModel):
    """The keeper itself."""

    started_at: Instant
    last_round: Instant
    summary: str = Field(description="the state of every zone in one line")


class JournalResponse(ResponseModel):
    """The state of the journal; the lights do not depend on it."""

    waiting: int = Field(description="entries not written yet")
    lost: int = Field(description="entries dropped because too many were waiting")
    fault: str | None = Field(description="why it cannot be written now; null while it can")


class SiteFileResponse(ResponseModel):
    """The site file on disk."""

    refused: str | None = Field(description="why its last change was refused; null where it was accepted")


class TimeZoneResponse(ResponseModel):
    """The site's time zone, and the edition of the time zone data in use."""

    name: str = Field(examples=["America/New_York"])
    rules: str = Field(examples=["2026f, from the package tzdata"])


class StatusResponse(ResponseModel):
    """The state of everything."""

    site: str
    time_zone: TimeZoneResponse
    clock: ClockResponse
    keeper: KeeperResponse
    zones: list[ZoneSummary]
    journal: JournalResponse
    site_file: SiteFileResponse


class RouteResponse(ResponseModel):
    """One route of the API."""

    method: str
    path: str
    does: str


class IndexResponse(ResponseModel):
    """The routes of the API."""

    site: str
    routes: list[RouteResponse]


class ProblemTypeResponse(ResponseModel):
    """One type of problem: what it means, and what to do."""

    type: str
    title: str
    status: int
    remedy: str
