"""The state of everything, as the keeper published it after its last round."""

from functools import lru_cache
from zoneinfo import ZoneInfo

from pydantic import Field

from api.access.access import Access
from api.render.clock_json import ClockResponse, clock_response
from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel, SiteName, TimeZoneName
from api.render.network_json import NetworkResponse
from api.web.schemas.zones import ZoneSummary, by_present_clock, zone_summaries
from config.models.site import Site
from controller.clock.tzdata import tz_data_version
from controller.keeper.state import KeeperStatus
from controller.records.reading import Reading
from controller.relays import SIMULATED


class KeeperResponse(ResponseModel):
    """The keeper itself."""

    started_at: Instant = Field(description="when the daemon was started, by the clock as it is now")
    last_round: Instant = Field(description="when the relays were last compared with their decisions")
    summary: str = Field(
        description="the state of every zone in one line", examples=["lit: Jetty and steps, orchard"]
    )


class JournalResponse(ResponseModel):
    """The state of the journal; the lights do not depend on it."""

    waiting: int = Field(description="entries not written yet", examples=[0])
    lost: int = Field(description="entries dropped because too many were waiting", examples=[0])
    fault: str | None = Field(
        description="why it cannot be written now; null while it can",
        examples=["the disk is full; make room on it"],
    )


class SiteFileResponse(ResponseModel):
    """The site file on disk."""

    summary: str = Field(
        description="the same in words", examples=["in use", "changed at 14:53, not read yet"]
    )
    changed_at: Instant | None = Field(
        description="when a change was noticed that is not read yet; null where there is none"
    )
    refused: str | None = Field(
        description="why its last change was refused; null where it was accepted",
        examples=["site.toml:17: zone “jetty”, pin = 99: is not an allowed value"],
    )


class RelaysResponse(ResponseModel):
    """The relays of the board."""

    simulated: bool = Field(description="whether they are simulated: nothing is switched")
    summary: str = Field(description="the same in words", examples=[SIMULATED])


class TimeZoneResponse(ResponseModel):
    """The site's time zone, and the edition of the time zone data in use."""

    name: TimeZoneName
    rules: str = Field(
        description="edition of the time zone data, and where it comes from",
        examples=["2026f, from the package tzdata"],
    )


class AccessResponse(ResponseModel):
    """Who is let in from the home network."""

    devices: int = Field(description="tokens and sessions in force", examples=[2])
    failed_tries: int = Field(description="wrong codes, tokens and addresses since the start", examples=[0])
    fault: str | None = Field(
        description="why nobody can be let in, or must be anew; null where all is well",
        examples=["access.json was damaged and is set aside; pair your devices again"],
    )


class StatusResponse(ResponseModel):
    """The state of everything."""

    site: SiteName
    time_zone: TimeZoneResponse = Field(description="the site's time zone")
    clock: ClockResponse = Field(description="the board's clock")
    keeper: KeeperResponse = Field(description="the part that switches the relays")
    zones: list[ZoneSummary] = Field(description="every zone, in the order of the site file")
    journal: JournalResponse = Field(description="the record of what happened")
    site_file: SiteFileResponse = Field(description="the site file on disk")
    relays: RelaysResponse = Field(description="the relays of the board")
    network: NetworkResponse = Field(description="where the API is reached")
    access: AccessResponse = Field(description="who is let in from the home network")


def status_response(
    site: Site,
    status: KeeperStatus,
    now: Reading,
    *,
    tz: ZoneInfo,
    access: AccessResponse,
    network: NetworkResponse,
) -> StatusResponse:
    """Describe the state of everything; ``tz`` is the site's time zone by the data in use."""
    return StatusResponse(
        site=site.name,
        time_zone=TimeZoneResponse(name=site.time_zone, rules=_edition_of(tz)),
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
        access=access,
    )


def access_response(access: Access, now: Reading) -> AccessResponse:
    """Describe who is let in."""
    return AccessResponse(
        devices=len(access.credentials(now)), failed_tries=access.tries.count, fault=access.fault
    )


@lru_cache(maxsize=4)
def _edition_of(tz: ZoneInfo) -> str:
    """Name the edition of a zone's data; new data make another object of it."""
    return tz_data_version(tz.key)


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
