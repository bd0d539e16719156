"""The state of everything, as the keeper published it after its last round."""

from pydantic import Field

from api.access.access import Access
from api.render.clock_json import ClockResponse, clock_response
from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel
from api.render.network_json import NetworkResponse
from api.web.schemas.zones import ZoneSummary, by_present_clock, zone_summaries
from config.models.site import Site
from controller.clock.tzdata import tz_data_version
from controller.keeper.state import KeeperStatus
from controller.records.reading import Reading
from controller.relays import SIMULATED


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

    summary: str = Field(
        description="the same in words", examples=["in use", "changed at 14:53, not read yet"]
    )
    changed_at: Instant | None = Field(
        description="when a change was noticed that is not read yet; null where there is none"
    )
    refused: str | None = Field(description="why its last change was refused; null where it was accepted")


class RelaysResponse(ResponseModel):
    """The relays of the board."""

    simulated: bool = Field(description="whether they are simulated: nothing is switched")
    summary: str = Field(description="the same in words", examples=[SIMULATED])


class TimeZoneResponse(ResponseModel):
    """The site's time zone, and the edition of the time zone data in use."""

    name: str = Field(examples=["America/New_York"])
    rules: str = Field(examples=["2026f, from the package tzdata"])


class AccessResponse(ResponseModel):
    """Who is let in from the home network."""

    devices: int = Field(description="tokens and sessions in force")
    failed_tries: int = Field(description="wrong codes, tokens and addresses since the start")
    fault: str | None = Field(description="why nobody can be let in, or must be anew; null where all is well")


class StatusResponse(ResponseModel):
    """The state of everything."""

    site: str
    time_zone: TimeZoneResponse
    clock: ClockResponse
    keeper: KeeperResponse
    zones: list[ZoneSummary]
    journal: JournalResponse
    site_file: SiteFileResponse
    relays: RelaysResponse
    network: NetworkResponse
    access: AccessResponse


def status_response(
    site: Site, status: KeeperStatus, now: Reading, *, access: Access, network: NetworkResponse
) -> StatusResponse:
    """Describe the state of everything; reads files to find the edition of the time zone data."""
    return StatusResponse(
        site=site.name,
        time_zone=TimeZoneResponse(name=site.time_zone, rules=tz_data_version(site.time_zone)),
        clock=clock_response(now, by_present_clock(status.trust_since, now)),
        keeper=KeeperResponse(
            started_at=instant_text(by_present_clock(status.started_at, now)),
            last_round=instant_text(status.at.utc),
            summary=status.words,
        ),
        zones=zone_summaries(site, status, now),
        journal=journal_response(status),
        site_file=site_file_response(status, now),
        relays=RelaysResponse(
            simulated=status.simulated, summary=SIMULATED if status.simulated else "the pins of the board"
        ),
        network=network,
        access=AccessResponse(
            devices=len(access.credentials(now)), failed_tries=access.tries.count, fault=access.fault
        ),
    )


def journal_response(status: KeeperStatus) -> JournalResponse:
    """Describe the state of the journal."""
    return JournalResponse(waiting=status.waiting, lost=status.lost, fault=status.journal_fault)


def site_file_response(status: KeeperStatus, now: Reading) -> SiteFileResponse:
    """Describe the site file on disk."""
    changed_at = status.site_changed_at
    return SiteFileResponse(
        summary=status.site_file,
        changed_at=changed_at and instant_text(by_present_clock(changed_at, now)),
        refused=status.refused,
    )
