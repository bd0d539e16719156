"""The requests and responses about zones: state, program, override."""

from datetime import datetime, timedelta
from typing import Annotated, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from api.render.instants import coming_text, instant_text
from api.render.model import Instant, Origin, ResponseModel, SiteName, ZoneId
from api.render.nights_json import DecisionResponse, NightResponse, decision_response, night_response
from api.web.schemas.fields import InstantField, LengthField, NightsField, RequestModel, SpanField
from config.models.site import MOST_SPANS, MOST_SPECIAL_NIGHTS, Site, Zone
from controller.clock.trust import STEP_TOLERANCE_S
from controller.keeper.state import KeeperStatus, RelayFault, ZoneStatus
from controller.planning.decision import seconds_left
from controller.planning.plan import NightPlan
from controller.records.entries import Override
from controller.records.reading import Reading

SpanText = Annotated[str, Field(examples=["dusk to midnight"])]


class SpecialNightRequest(RequestModel):
    """Nights that differ, and what the zone does then."""

    nights: NightsField = Field(
        description="weekdays such as “Fri, Sat”, a date such as “2027-12-31”, or a part of every year "
        "such as “12-20 to 01-06”"
    )
    program: list[SpanField] = Field(
        max_length=MOST_SPANS, description="spans; an empty list means dark", examples=[["dusk to 01:30"]]
    )


class ProgramRequest(RequestModel):
    """What a zone does from now on."""

    program: list[SpanField] = Field(
        max_length=MOST_SPANS, description="spans for every night; an empty list means dark"
    )
    special_nights: list[SpecialNightRequest] | None = Field(
        None,
        max_length=MOST_SPECIAL_NIGHTS,
        description="nights that differ, the last that matches decides; if left out, the file's stay",
    )


class OverrideRequest(RequestModel):
    """Light or dark for now: until an instant, for a time, or until the program's next change."""

    # What ``_one_end`` checks, in the words of JSON Schema.
    model_config = ConfigDict(
        json_schema_extra={
            "not": {
                "required": ["until", "for"],
                "properties": {"until": {"type": "string"}, "for": {"type": "string"}},
            }
        }
    )

    light: Literal["on", "off"] = Field(description="lit or dark")
    until: InstantField | None = Field(
        None, description="the instant at which it ends (RFC 3339), at most 31 days away"
    )
    lasts: LengthField | None = Field(None, alias="for", description="or how long it lasts")

    @model_validator(mode="after")
    def _one_end(self) -> Self:
        if self.until is not None and self.lasts is not None:
            raise ValueError("give “until” or “for”, not both")
        return self


class WhyParams(RequestModel):
    """The instant that is asked about."""

    at: InstantField | None = Field(None, description="the instant (RFC 3339); now if left out")


class FaultResponse(ResponseModel):
    """A relay that does not switch as it should."""

    because: str = Field(
        description="what is wrong", examples=["pin 17: the line does not answer; check the wiring"]
    )
    since: Instant = Field(description="when it was first found")
    tries: int = Field(description="failed tries so far; the keeper keeps trying", examples=[3])


class StandingOverrideResponse(ResponseModel):
    """A person's “on” or “off” for now, as it stays while nobody changes it."""

    light: Literal["on", "off"] = Field(description="what was asked for", examples=["on"])
    until: Instant | None = Field(description="when it ends; null while the clock is not trusted")
    placed_at: Instant = Field(description="when it was asked for, by the clock as it is now")
    by: str = Field(description="who asked", examples=["kitchen phone"])


class OverrideResponse(StandingOverrideResponse):
    """A person's “on” or “off” for now, with what is left of it."""

    lasts_s: float | None = Field(
        description="seconds left; null where that is not known yet", examples=[5400.0]
    )


class ZoneSummary(ResponseModel):
    """One zone in the overview."""

    id: ZoneId
    name: str = Field(description="what the zone is called", examples=["Jetty and steps"])
    lit: bool = Field(description="what was last read back from the relay")
    decision: DecisionResponse | None = Field(
        description="null until the keeper's first round with this zone"
    )
    override: OverrideResponse | None = Field(
        description="a person's “on” or “off” for now; null where there is none"
    )
    fault: FaultResponse | None = Field(description="what is wrong with its relay; null where all is well")


class ZonesResponse(ResponseModel):
    """Every zone of the site, in the order of the site file."""

    site: SiteName
    zones: list[ZoneSummary] = Field(description="in the order of the site file")


class RatedLoadResponse(ResponseModel):
    """The load of a zone, and where the number comes from."""

    watts: float | None = Field(
        description="all lamps of the zone together, in watts; null where not known", examples=[27.0]
    )
    origin: Origin | None = Field(
        description="where that number comes from; null where not known", examples=["fixtures"]
    )


class SpecialNightResponse(ResponseModel):
    """Nights that differ; no span at all means dark."""

    nights: str = Field(description="which nights", examples=["Fri, Sat"])
    program: list[SpanText] = Field(description="spans; an empty list means dark")


class ProgramResponse(ResponseModel):
    """What a zone does, as it can be changed."""

    program: list[SpanText] = Field(description="spans for every night; an empty list means dark")
    special_nights: list[SpecialNightResponse] = Field(
        description="nights that differ; the last that matches decides"
    )


class ZoneResponse(ZoneSummary, ProgramResponse):
    """One zone in full."""

    transformer: str | None = Field(
        description="id of its transformer; null where the site file names none", examples=["boathouse"]
    )
    pin: int = Field(description="BCM number of the header pin", examples=[17])
    rated_load: RatedLoadResponse = Field(description="its rated load")
    lit_since: Instant | None = Field(description="by the clock as it is now; null while it is dark")
    out_of_service: str | None = Field(
        description="why it is never lit; null where it is in service", examples=["the post was felled"]
    )
    tonight: NightResponse = Field(description="by the site file alone")


def zone_summary(zone: Zone, status: ZoneStatus | None, now: Reading) -> ZoneSummary:
    """Describe one zone in the overview; ``status`` is None until the keeper's first round with it."""
    override, fault = (None, None) if status is None else (status.override, status.fault)
    return ZoneSummary(
        id=zone.id,
        name=zone.name,
        lit=status is not None and status.lit,
        decision=None if status is None else decision_response(status.decision),
        override=None if override is None else override_response(override, now),
        fault=None if fault is None else _fault_response(fault, now),
    )


def zone_summaries(site: Site, status: KeeperStatus, now: Reading) -> list[ZoneSummary]:
    """Describe every zone in the overview, in the order of the site file."""
    known = {each.zone: each for each in status.zones}
    return [zone_summary(zone, known.get(zone.id), now) for zone in site.zones]


def zones_response(site: Site, status: KeeperStatus, now: Reading) -> ZonesResponse:
    """Describe every zone of a site."""
    return ZonesResponse(site=site.name, zones=zone_summaries(site, status, now))


def zone_response(zone: Zone, status: ZoneStatus | None, now: Reading, tonight: NightPlan) -> ZoneResponse:
    """Describe one zone in full."""
    load, lit_since = zone.rated_load, None if status is None else status.lit_since
    return ZoneResponse(
        **dict(zone_summary(zone, status, now)),
        transformer=zone.transformer,
        pin=zone.pin,
        rated_load=RatedLoadResponse(watts=load.watts, origin=load.origin or None),
        lit_since=None if lit_since is None else instant_text(by_present_clock(lit_since, now)),
        out_of_service=zone.out_of_service,
        **dict(program_response(zone)),
        tonight=night_response(tonight),
    )


def program_response(zone: Zone) -> ProgramResponse:
    """Describe what a zone does."""
    return ProgramResponse(
        program=[str(span) for span in zone.program],
        special_nights=[
            SpecialNightResponse(nights=str(each.nights), program=[str(span) for span in each.program])
            for each in zone.special_nights
        ],
    )


def override_response(override: Override, now: Reading) -> OverrideResponse:
    """Describe an override."""
    left_s = seconds_left(override, now)
    return OverrideResponse(
        **dict(_standing(override, now)), lasts_s=None if left_s is None else max(0.0, round(left_s, 1))
    )


def standing_override(override: Override | None, now: Reading) -> StandingOverrideResponse | None:
    """Describe an override that is in force, by what does not change with the time; None where none is."""
    if override is None or ((left_s := seconds_left(override, now)) is not None and left_s <= 0):
        return None
    return _standing(override, now)


def _standing(override: Override, now: Reading) -> StandingOverrideResponse:
    placed_utc, until_utc = by_present_clock(override.placed_at, now), override.ends_at_utc
    if until_utc is None and override.lasts_s is not None and now.trusted:
        until_utc = placed_utc + timedelta(seconds=override.lasts_s)
    return StandingOverrideResponse(
        light="on" if override.on else "off",
        until=None if until_utc is None else coming_text(until_utc),
        placed_at=instant_text(placed_utc),
        by=override.by,
    )


def by_present_clock(then: Reading, now: Reading) -> datetime:
    """Give the instant of an earlier reading, by the clock as it is now.

    A board that woke up in 1970 and learned the time later was not started in 1970. Within a boot the time
    that passed is known from the boot-time clock, which nobody sets.
    """
    if then.boot_id != now.boot_id:
        return then.utc
    reckoned_utc = now.utc - timedelta(seconds=now.boot_s - then.boot_s)
    stepped_s = abs((reckoned_utc - then.utc).total_seconds())
    return reckoned_utc if stepped_s > STEP_TOLERANCE_S else then.utc


def _fault_response(fault: RelayFault, now: Reading) -> FaultResponse:
    since = instant_text(by_present_clock(fault.since, now))
    return FaultResponse(because=fault.words, since=since, tries=fault.tries)
