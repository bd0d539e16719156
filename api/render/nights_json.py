"""Plans as JSON, for the API and the command line: the nights of a period, a decision, and why."""

from collections.abc import Generator, Iterable
from datetime import UTC, date, datetime
from typing import Literal

from pydantic import Field

from api.render.document import Dump, dump_compact, in_batches, write_document
from api.render.instants import coming_text, instant_text
from api.render.model import Instant, NightDate, ResponseModel, SiteName, ZoneId
from controller.calendar.night import nights
from controller.planning.decision import Decision, decide
from controller.planning.plan import NightPlan
from controller.planning.planner import Planner
from controller.records.entries import Cause
from controller.records.reading import Reading

NIGHTS_AT_ONCE = 20
_BASES = {
    "site file": "by the site file alone: overrides, the state of the clock and relay faults of that time "
    "are not part of it",
    "keeper": "what the keeper decided in its last round",
}


class WindowResponse(ResponseModel):
    """A time when a zone is lit: from ``on`` up to, not including, ``off``."""

    on: Instant = Field(description="when it begins")
    off: Instant = Field(description="when it is over")
    span: str = Field(description="the span, or the spans, that it comes from", examples=["dusk to midnight"])


class NightResponse(ResponseModel):
    """What one zone does in one night."""

    night: NightDate = Field(description="the date on which the night begins, at noon")
    zone: ZoneId
    windows: list[WindowResponse] = Field(description="when it is lit; empty for a dark night")
    because: str = Field(
        description="“every night”, the special night, or what made it dark", examples=["every night"]
    )


class _NightsHeadResponse(ResponseModel):
    site: SiteName


class NightsResponse(_NightsHeadResponse):
    """Night after night, and in each the zones in their order."""

    nights: list[NightResponse] = Field(description="in the order of their dates")


class DecisionResponse(ResponseModel):
    """What a zone must be, because of what, and until when."""

    on: bool = Field(description="whether it is to be lit")
    cause: Cause = Field(description="what decided, in a word")
    because: str = Field(description="the reason in words", examples=["dusk to midnight, every night"])
    until: Instant | None = Field(description="when this ends; null where that is not known")


class WhyResponse(ResponseModel):
    """Lit or dark at an instant, because of what, until when."""

    site: SiteName
    zone: ZoneId
    at: Instant = Field(description="the instant that this is about")
    on: bool = Field(description="whether it is, or was, to be lit")
    cause: Cause = Field(description="what decided, in a word")
    because: str = Field(description="the reason in words", examples=["dusk to midnight, every night"])
    until: Instant | None = Field(description="when this ends; null where that is not known")
    basis: Literal["keeper", "site file"] = Field(
        description="“keeper” for what is in force; “site file” for any other instant"
    )
    note: str = Field(description="what that means", examples=["what the keeper decided in its last round"])


def write_nights_json(
    planner: Planner,
    from_date: date,
    to_date: date,
    zone_ids: Iterable[str] | None = None,
    dump: Dump = dump_compact,
) -> Generator[str, None, None]:
    """Describe what zones do, night by night, the last one included; every zone where ``zone_ids`` is None.

    Returns:
        The pieces of a JSON document: see ``write_document``.

    Raises:
        UnknownZoneError: no zone has one of the ids.
    """
    site = planner.site
    zones = (
        [zone.id for zone in site.zones] if zone_ids is None else [site.zone(each).id for each in zone_ids]
    )
    batches = (
        (night_response(planner.plan(zone, night)) for night in some for zone in zones)
        for some in in_batches(nights(from_date, to_date, planner.tz), NIGHTS_AT_ONCE)
    )
    return write_document(_NightsHeadResponse(site=site.name), "nights", batches, dump=dump)


def night_response(plan: NightPlan) -> NightResponse:
    """Describe what one zone does in one night."""
    windows = [
        WindowResponse(on=instant_text(each.on_utc), off=instant_text(each.off_utc), span=each.span)
        for each in plan.windows
    ]
    return NightResponse(
        night=plan.night.date.isoformat(), zone=plan.zone, windows=windows, because=plan.because
    )


def decision_response(decision: Decision) -> DecisionResponse:
    """Describe a decision."""
    return DecisionResponse(
        on=decision.on,
        cause=decision.cause,
        because=decision.words,
        until=None if decision.until_utc is None else coming_text(decision.until_utc),
    )


def decide_by_site_file(planner: Planner, zone_id: str, at_utc: datetime) -> Decision:
    """Decide what a zone is at an instant, past or to come, without overrides and with a trusted clock.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    at_utc = at_utc.astimezone(UTC)
    reading = Reading(utc=at_utc, boot_s=0.0, boot_id="", trusted=True, trust="the instant was given")
    return decide(zone_id, reading, planner=planner)


def why_by_site_file(planner: Planner, zone_id: str, at_utc: datetime) -> WhyResponse:
    """Say whether a zone is lit at an instant, because of what and until when, by the site file alone.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    decision = decide_by_site_file(planner, zone_id, at_utc)
    return why_response(planner.site.name, zone_id, at_utc, decision, basis="site file")


def why_response(
    site: str, zone_id: str, at_utc: datetime, decision: Decision, *, basis: Literal["keeper", "site file"]
) -> WhyResponse:
    """Describe the decision for a zone at an instant."""
    fields = decision_response(decision).model_dump()
    at = instant_text(at_utc)
    return WhyResponse(site=site, zone=zone_id, at=at, **fields, basis=basis, note=_BASES[basis])
