"""What the web server answers about the past and about lamps, as models: each field, and what it means."""

from __future__ import annotations

from pydantic import Field

from api.web.schemas.responses import Answer, Instant, NightDate

_MILLIONTHS = "in hours, to the millionth"


class MissedAnswer(Answer):
    """Planned light that did not come, for one reason."""

    why: str | None = Field(description="the reason; null where nothing explains it", examples=["power lost"])
    hours: float


class DarkGapAnswer(Answer):
    """The longest unbroken stretch of planned light that did not come."""

    since: Instant = Field(alias="from")
    hours: float
    why: str | None = Field(description="what explains most of it; null where nothing does")


class PriceAnswer(Answer):
    """Energy at one price."""

    name: str = Field(description="what the bill calls it; empty for the price that usually holds")
    per_kwh: float
    meter_kwh: float
    cost: float | None


class LoadThenAnswer(Answer):
    """A load at which a zone was lit, as it was at the time."""

    watts: float | None = Field(description="null where nobody said")
    origin: str | None = Field(description="“measured”, “fixtures” or “rated”; null where nobody said")


class HourSumAnswer(Answer):
    """What was lit, missed and taken; null where only the sums of a whole life are known."""

    lit_h: float = Field(description=f"lit in all, {_MILLIONTHS}; the sum of the next three")
    by_program_h: float | None = Field(description="of these, by the program or a special night")
    by_override_h: float | None = Field(description="because somebody asked for it")
    unknown_h: float | None = Field(description="for another reason, or none that is known")
    clock_not_trusted_h: float | None = Field(description="lit while the clock was not to be believed")
    daylight_h: float | None = Field(description="lit with the sun above the angle of dusk")
    starts: int = Field(description="how often it was switched on")
    planned_h: float | None = Field(description="what the program of the time asked for, up to now")
    missed_h: float | None = Field(description="of these, what was not lit")
    missed: list[MissedAnswer] = Field(description="the same by reason")
    longest_dark_gap: DarkGapAnswer | None
    lamps_kwh: float = Field(description="energy at the lamps")
    cables_kwh: float | None = Field(description="lost in the cables, where these are known")
    transformer_lit_kwh: float | None = Field(description="lost in the transformer while lit")
    transformer_dark_kwh: float | None = Field(description="lost in the transformer with nothing lit")
    meter_kwh: float | None = Field(description="energy at the meter, the sum of the last four")
    cost: float | None = Field(description="rounded to the coin; null without a tariff")
    cost_unrounded: float | None = Field(description="the same, to add up")
    prices: list[PriceAnswer] = Field(description="the meter's energy by price, the dearest first")
    loads: list[LoadThenAnswer] = Field(description="the loads at which it was lit, in their order")
    without_load_h: float = Field(description="lit with a load that nobody knows, counted as none")
    losses: list[str] = Field(description="where the transformer's losses come from")
    at_least: bool = Field(description="whether energy and cost are lower bounds")


class PeriodHoursAnswer(HourSumAnswer):
    """What one zone did in one period."""

    period: str = Field(examples=["2027-winter"])
    first: NightDate = Field(alias="from", description="its first night")
    last: NightDate = Field(alias="to", description="its last night")
    zone: str


class ZoneHoursAnswer(HourSumAnswer):
    """What one zone did in all the periods."""

    zone: str


class LampLifeAnswer(Answer):
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
    estimated_h: float = Field(description="of these, before the journal began, by the plan of today")
    used: float | None = Field(description="part of their life; 1 is spent")
    used_in_a_year: float | None = Field(description="what the next 365 nights use")
    light: float | None = Field(description="for LED, the part of their first light that they still give")
    replace_about: NightDate | None = Field(description="when their life ends by the plan to come")
    words: str


class RelayLifeAnswer(Answer):
    """How far along one relay is."""

    zone: str
    cycles: int
    endurance_cycles: int
    used: float
    wears_out_about: NightDate | None


class HoursAnswer(Answer):
    """The account of the past."""

    site: str
    time_zone: str
    currency: str | None
    by: str
    first: NightDate = Field(alias="from", description="the first night")
    last: NightDate = Field(alias="to", description="the last night")
    journal_since: Instant | None = Field(description="when the journal began; null while it is empty")
    as_of: Instant = Field(description="now; what is planned for later is not missed yet")
    hours: list[PeriodHoursAnswer] = Field(description="period by period, and in each zone by zone")
    totals: list[ZoneHoursAnswer] = Field(description="zone by zone over all periods")
    total: HourSumAnswer
    lamps: list[LampLifeAnswer]
    relays: list[RelayLifeAnswer]
    notes: list[str] = Field(description="what limits these figures")


class ReplacementAnswer(Answer):
    """Lamps that were replaced."""

    zone: str
    fixture: int = Field(description="the fixture's place in the site file, from 1")
    on: NightDate = Field(description="the day; the new lamps serve from that night on")
    note: str
    at: Instant = Field(description="when this was taken down")


class ReplacementsAnswer(Answer):
    """Lamps that were replaced, in the order of their days."""

    site: str
    replacements: list[ReplacementAnswer]
