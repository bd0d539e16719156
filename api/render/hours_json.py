"""The account of the past as JSON: the models that document it, made from the report.

Hours and energy are rounded to the millionth; money, worked out in exact decimals, to the currency's smallest
unit, each figure by itself.
"""

from __future__ import annotations

from typing import Any

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, NightDate, ResponseModel
from api.render.numbers import (
    currency_of,
    hour_notes,
    hours_of,
    kwh_of,
    money_of,
    rounded,
    unrounded,
)
from controller.energy.values import J_PER_KWH, BandEnergy
from controller.history.report import HourRow, HoursReport
from controller.history.totals import HourSum
from controller.lamps.life import LampLife, RelayLife
from controller.records.entries import Cause

_MILLIONTHS = "in hours, to the millionth"


class MissedResponse(ResponseModel):
    """Planned light that did not come, for one reason."""

    why: str | None = Field(description="the reason; null where nothing explains it", examples=["power lost"])
    hours: float


class DarkGapResponse(ResponseModel):
    """The longest unbroken stretch of planned light that did not come."""

    since: Instant = Field(serialization_alias="from")
    hours: float
    why: str | None = Field(description="what explains most of it; null where nothing does")


class PriceResponse(ResponseModel):
    """Energy at one price."""

    name: str = Field(description="what the bill calls it; empty for the price that usually holds")
    per_kwh: float
    meter_kwh: float
    cost: float | None


class LoadResponse(ResponseModel):
    """A load at which a zone was lit, as it was at the time."""

    watts: float | None = Field(description="null where it is not known")
    origin: str | None = Field(description="“measured”, “fixtures” or “rated”; null where it is not known")


class HourSumResponse(ResponseModel):
    """What was lit, missed and used; null where only the totals of a whole life are known."""

    lit_h: float = Field(description=f"lit, {_MILLIONTHS}; the sum of the next three")
    by_program_h: float | None = Field(description="of these, by the program or a special night")
    by_override_h: float | None = Field(description="because somebody asked for it")
    unknown_h: float | None = Field(description="for another reason, or none that is known")
    clock_not_trusted_h: float | None = Field(description="lit while the clock was not trusted")
    daylight_h: float | None = Field(description="lit before dusk or after dawn")
    starts: int = Field(description="how often it was switched on")
    planned_h: float | None = Field(description="what the program of the time asked for, up to now")
    missed_h: float | None = Field(description="of these, what was not lit")
    missed: list[MissedResponse] = Field(description="the same by reason")
    longest_dark_gap: DarkGapResponse | None
    lamps_kwh: float = Field(description="energy at the lamps")
    cables_kwh: float | None = Field(description="lost in the cables, where these are known")
    transformer_lit_kwh: float | None = Field(description="lost in the transformer while lit")
    transformer_dark_kwh: float | None = Field(description="lost in the transformer with nothing lit")
    meter_kwh: float | None = Field(description="energy at the meter, the sum of the last four")
    cost: float | None = Field(description="rounded to the currency's smallest unit; null without a tariff")
    cost_unrounded: float | None = Field(description="the same, to add up")
    prices: list[PriceResponse] = Field(description="the meter's energy by price, the dearest first")
    loads: list[LoadResponse] = Field(description="the loads at which it was lit, in their order")
    without_load_h: float = Field(description="lit with a load that is not known, counted as none")
    losses: list[str] = Field(description="where the transformer's losses come from")
    at_least: bool = Field(description="whether energy and cost are lower bounds")


class LampLifeResponse(ResponseModel):
    """How far along the lamps of one fixture are."""

    zone: str
    fixture: int = Field(description="its place in the site file, from 1")
    name: str
    count: int
    lamp: str = Field(description="“led” or “filament”")
    rated_life_h: float | None
    volts: float | None = Field(description="what the lamps get; null where no cable is known")
    life_h: float | None = Field(description="hours that they live at these volts")
    since: NightDate | None = Field(description="the first night that they served; null where not known")
    lit_h: float
    estimated_h: float = Field(description="of these, before the journal began, by today's program")
    used: float | None = Field(description="part of their life; 1 is spent")
    used_in_a_year: float | None = Field(description="what the next 365 nights use")
    light: float | None = Field(description="for LED, the part of their first light that they still give")
    replace_about: NightDate | None = Field(description="when their life ends by the plan to come")
    words: str


class RelayLifeResponse(ResponseModel):
    """How far along one relay is."""

    zone: str
    cycles: int
    endurance_cycles: int
    used: float
    wears_out_about: NightDate | None


class _ZoneKey(ResponseModel):
    zone: str


class _PeriodKey(ResponseModel):
    period: str = Field(examples=["2027-winter"])
    first: NightDate = Field(serialization_alias="from", description="its first night")
    last: NightDate = Field(serialization_alias="to", description="its last night")
    zone: str


# The keys stand before the sums: pydantic takes the fields of the last base first.
class ZoneHoursResponse(HourSumResponse, _ZoneKey):
    """What one zone did in all the periods."""


class PeriodHoursResponse(HourSumResponse, _PeriodKey):
    """What one zone did in one period."""


class HoursResponse(ResponseModel):
    """The account of the past."""

    site: str
    time_zone: str
    currency: str | None
    by: str
    first: NightDate = Field(serialization_alias="from", description="the first night")
    last: NightDate = Field(serialization_alias="to", description="the last night")
    journal_since: Instant | None = Field(description="when the journal began; null while it is empty")
    as_of: Instant = Field(description="now; what is planned for later is not missed yet")
    hours: list[PeriodHoursResponse] = Field(description="period by period, and in each zone by zone")
    totals: list[ZoneHoursResponse] = Field(description="zone by zone over all periods")
    total: HourSumResponse
    lamps: list[LampLifeResponse]
    relays: list[RelayLifeResponse]
    notes: list[str] = Field(description="what limits these figures")


def to_response(report: HoursReport) -> HoursResponse:
    """Make the JSON document of a report."""
    site, bounds, wear = report.site, report.bounds, report.wear
    currency = currency_of(site)
    return HoursResponse(
        site=site.name,
        time_zone=site.time_zone,
        currency=currency,
        by=str(report.by),
        first=report.first.isoformat(),
        last=report.last.isoformat(),
        journal_since=None if bounds.is_empty else instant_text(bounds.began_utc),
        as_of=instant_text(bounds.now_utc),
        hours=[_row(row, currency) for row in report.rows],
        totals=[ZoneHoursResponse(zone=zone, **_sum(each, currency)) for zone, each in report.totals.items()],
        total=HourSumResponse(**_sum(report.total, currency)),
        lamps=[] if wear is None else [_lamps(lamps) for lamps in wear.lamps],
        relays=[] if wear is None else [_relay(relay) for relay in wear.relays],
        notes=hour_notes(is_lifetime=report.is_lifetime, at_least=report.total.at_least),
    )


def _row(row: HourRow, currency: str | None) -> PeriodHoursResponse:
    """Show what one zone did in one period."""
    first, last = row.period.first.isoformat(), row.period.last.isoformat()
    key = {"period": row.period.name, "first": first, "last": last, "zone": row.zone}
    return PeriodHoursResponse(**key, **_sum(row.hours, currency))


def _sum(hours: HourSum, currency: str | None) -> dict[str, Any]:
    """Give the fields of a sum."""
    gap, energy = hours.longest_gap, hours.energy
    return {
        "lit_h": hours_of(hours.lit_ms),
        "by_program_h": hours_of(hours.program_ms),
        "by_override_h": hours_of(hours.override_ms),
        "unknown_h": hours_of(hours.unknown_ms),
        "clock_not_trusted_h": hours_of(hours.untrusted_ms),
        "daylight_h": hours_of(hours.daylight_ms),
        "starts": hours.starts,
        "planned_h": hours_of(hours.planned_ms),
        "missed_h": hours_of(hours.missed_ms),
        "missed": [
            MissedResponse(why=_reason(part.reason), hours=hours_of(part.lasts_ms)) for part in hours.missed
        ],
        "longest_dark_gap": None
        if gap is None
        else DarkGapResponse(
            since=instant_text(gap.starts_at_utc), hours=hours_of(gap.lasts_ms), why=_reason(gap.reason)
        ),
        "lamps_kwh": kwh_of(hours.lamps_j),
        "cables_kwh": None if energy is None else kwh_of(energy.cable_j),
        "transformer_lit_kwh": None if energy is None else kwh_of(energy.load_loss_j + energy.no_load_j),
        "transformer_dark_kwh": None if energy is None else kwh_of(energy.idle_j),
        "meter_kwh": None if energy is None else kwh_of(energy.meter_j),
        "cost": money_of(hours.cost, currency),
        "cost_unrounded": unrounded(hours.cost),
        "prices": [_price(band, currency) for band in (energy.bands if energy else ()) if band.meter_j],
        "loads": [LoadResponse(watts=watts, origin=origin or None) for watts, origin in hours.loads],
        "without_load_h": hours_of(hours.without_load_ms),
        "losses": list(hours.losses),
        "at_least": hours.at_least,
    }


def _price(band: BandEnergy, currency: str | None) -> PriceResponse:
    """Show the energy at one price."""
    return PriceResponse(
        name=band.name,
        per_kwh=float(band.per_kwh),
        meter_kwh=kwh_of(band.meter_j),
        cost=money_of(band.meter_j * band.per_kwh / J_PER_KWH, currency),
    )


def _lamps(life: LampLife) -> LampLifeResponse:
    """Show how far along the lamps of one fixture are."""
    lamps, fixture = life.lamps, life.lamps.fixture
    return LampLifeResponse(
        zone=lamps.zone,
        fixture=lamps.number,
        name=lamps.name,
        count=fixture.count,
        lamp=fixture.lamp,
        rated_life_h=fixture.rated_life_h,
        volts=lamps.volts,
        life_h=rounded(lamps.life_h, 1),
        since=None if life.since is None else life.since.isoformat(),
        lit_h=round(life.lit_h, 3),
        estimated_h=round(life.estimated_h, 3),
        used=rounded(life.used, 6),
        used_in_a_year=rounded(life.used_in_a_year, 6),
        light=rounded(life.light, 4),
        replace_about=None if life.replace_about is None else life.replace_about.isoformat(),
        words=life.words,
    )


def _relay(life: RelayLife) -> RelayLifeResponse:
    """Show how far along one relay is."""
    return RelayLifeResponse(
        zone=life.zone,
        cycles=life.cycles,
        endurance_cycles=life.endurance_cycles,
        used=round(life.used, 6),
        wears_out_about=None if life.wears_out_about is None else life.wears_out_about.isoformat(),
    )


def _reason(reason: Cause | None) -> str | None:
    """Name a reason; None where nothing explains it."""
    return None if reason is None else str(reason)
