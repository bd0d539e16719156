"""The account of the past as JSON: models that document it and are filled from the report's own values.

Each field says from which attribute it is read, unless that has the same name. Hours and energy are rounded
to the millionth; money, worked out in exact decimals, to the currency's smallest unit, each figure by itself.
"""

from collections.abc import Generator
from datetime import date
from functools import partial
from typing import Annotated, Any, Literal

from pydantic import AliasPath, BeforeValidator, ConfigDict, Field, ValidationInfo

from api.render.document import Dump, dump_compact, write_document
from api.render.instants import instant_text
from api.render.limits import hour_notes
from api.render.model import (
    AS_COST,
    Currency,
    FixturePlace,
    Instant,
    NightDate,
    Notes,
    Origin,
    ResponseModel,
    SiteName,
    TimeZoneName,
    ZoneId,
)
from api.render.numbers import currency_of, hours_of, kwh_of, money_of, unrounded
from controller.history.report import HoursStream

# Where a field has no example of its own, that of its type is shown.
Hours = Annotated[float, BeforeValidator(hours_of), Field(examples=[93.412778])]
Kwh = Annotated[float, BeforeValidator(kwh_of), Field(examples=[2.522145])]
Text = Annotated[str, BeforeValidator(str)]
At = Annotated[Instant, BeforeValidator(instant_text)]
Night = Annotated[NightDate, BeforeValidator(date.isoformat)]


def _money(amount: Any, info: ValidationInfo) -> int | float | None:  # noqa: ANN401 - an amount, or None
    return money_of(amount, info.context)


Money = Annotated[int | float | None, BeforeValidator(_money), Field(examples=[0.73])]
Unrounded = Annotated[float | None, BeforeValidator(unrounded), Field(examples=[0.731422])]
Rounded1 = Annotated[float, BeforeValidator(partial(round, ndigits=1)), Field(examples=[25000.0])]
Rounded3 = Annotated[float, BeforeValidator(partial(round, ndigits=3)), Field(examples=[1737.072])]
Rounded4 = Annotated[float, BeforeValidator(partial(round, ndigits=4)), Field(examples=[0.9624])]
Rounded6 = Annotated[float, BeforeValidator(partial(round, ndigits=6)), Field(examples=[0.069483])]


def _of(*path: str, about: str | None = None, **more: Any) -> Any:  # noqa: ANN401 - as pydantic's own Field
    """Describe a field that is read from another attribute; its type describes it where this does not."""
    if about is not None:
        more["description"] = about
    return Field(validation_alias=AliasPath(*path), **more)


def _energy(part: str, about: str) -> Any:  # noqa: ANN401 - as pydantic's own Field
    return _of("energy", part, about=about)


class _Model(ResponseModel):
    model_config = ConfigDict(from_attributes=True, json_schema_serialization_defaults_required=True)


class MissedResponse(_Model):
    """Planned light that did not come, for one reason."""

    why: Text | None = _of(
        "reason", about="the reason; null where nothing explains it", examples=["power lost"]
    )
    hours: Hours = _of("lasts_ms", about="how much was missed, in hours", examples=[2.5])
    nights: int | None = _of("on_nights", about="on how many nights; null over several zones", examples=[1])


class DarkGapResponse(_Model):
    """The longest unbroken stretch of planned light that did not come."""

    since: At = _of("starts_at_utc", serialization_alias="from", about="when it began")
    hours: Hours = _of("lasts_ms", about="how much planned light it took, in hours", examples=[2.5])
    why: Text | None = _of(
        "reason", about="what explains most of it; null where nothing does", examples=["power lost"]
    )


class PriceResponse(_Model):
    """Energy at one price."""

    name: str = Field(
        description="what the bill calls it; empty for the price that usually holds", examples=["peak"]
    )
    per_kwh: float = Field(description="price of a kWh, in the tariff's currency", examples=[0.29])
    meter_kwh: Kwh = _of("meter_j", about="energy at the meter at this price, in kWh")
    cost: Money = Field(description="what that costs, rounded to the currency's smallest unit")


class LoadResponse(_Model):
    """A load at which a zone was lit, as it was at the time."""

    watts: float | None = Field(
        description="all lamps of the zone together, in watts; null where not known", examples=[27.0]
    )
    origin: Origin | None = Field(
        description="where that number comes from; null where not known", examples=["fixtures"]
    )


def _loads(loads: Any) -> list[LoadResponse]:  # noqa: ANN401 - pairs of watts and origin
    return [LoadResponse(watts=watts, origin=origin or None) for watts, origin in loads]


class FiguresResponse(_Model):
    """What two periods are compared by, or by how much they differ."""

    lit_h: Hours = _of("lit_ms", about="lit, in hours")
    missed_h: Hours = _of("missed_ms", about="planned and not lit, in hours", examples=[2.5])
    lamps_kwh: Kwh = _of("lamps_j", about="energy at the lamps, in kWh")
    meter_kwh: Kwh = _of("meter_j", about="energy at the meter, in kWh")
    cost: Money = Field(description=f"what that costs, {AS_COST}")
    cost_unrounded: Unrounded = _of("cost", about="the same, to add up")


class ComparisonResponse(_Model):
    """Another period beside this one; over several zones or periods the sum of those that can be compared."""

    period: str | None = _of(
        "period", "name", default=None, about="the other period; null over several", examples=["2026-winter"]
    )
    first: Night | None = _of(
        "period", "first", default=None, serialization_alias="from", about="its first night"
    )
    last: Night | None = _of("period", "last", default=None, serialization_alias="to", about="its last night")
    other: FiguresResponse = Field(description="what was, or was expected, there")
    change: FiguresResponse | None = Field(
        description="this period less the other; null where the journal does not know all of the other"
    )
    at_least: bool = Field(description="whether energy and cost of the other are lower bounds")


class HourSumResponse(_Model):
    """What was lit, missed and used."""

    lit_h: Hours = _of("lit_ms", about="lit, in hours, to the millionth; the sum of the next three")
    by_program_h: Hours = _of("program_ms", about="of these, by the program or a special night, in hours")
    by_override_h: Hours = _of("override_ms", about="because somebody asked for it, in hours", examples=[1.5])
    unknown_h: Hours = _of(
        "unknown_ms", about="for another reason, or none that is known, in hours", examples=[0.0]
    )
    clock_not_trusted_h: Hours = _of(
        "untrusted_ms", about="lit at a time that no trusted clock knows, in hours", examples=[0.0]
    )
    daylight_h: Hours = _of("daylight_ms", about="lit before dusk or after dawn, in hours", examples=[0.25])
    starts: int = Field(description="how often it was switched on", examples=[31])
    planned_h: Hours = _of("planned_ms", about="what the program of the time asked for, up to now, in hours")
    missed_h: Hours = _of("missed_ms", about="of these, what was not lit, in hours", examples=[2.5])
    missed: list[MissedResponse] = Field(description="the same by reason")
    longest_dark_gap: DarkGapResponse | None = _of(
        "longest_gap",
        about="the longest stretch of planned light that did not come; null where none was missed",
    )
    lamps_kwh: Kwh = _of("lamps_j", about="energy at the lamps, in kWh")
    cables_kwh: Kwh = _energy("cable_j", "lost in the cables, where these are known, in kWh")
    transformer_lit_kwh: Kwh = _energy("transformer_lit_j", "lost in the transformer while lit, in kWh")
    transformer_dark_kwh: Kwh = _energy("idle_j", "lost in the transformer with nothing lit, in kWh")
    meter_kwh: Kwh = _of("meter_j", about="energy at the meter, in kWh: the sum of the last four")
    cost: Money = Field(description=f"what that costs, {AS_COST}")
    cost_unrounded: Unrounded = _of("cost", about="the same, to add up")
    prices: list[PriceResponse] = _of("bands", about="the meter's energy by price, the dearest first")
    loads: Annotated[list[LoadResponse], BeforeValidator(_loads)] = Field(
        description="the loads at which it was lit, in their order"
    )
    without_load_h: Hours = _of(
        "without_load_ms",
        about="lit with a load that is not known, counted as none, in hours",
        examples=[0.0],
    )
    losses: Annotated[list[str], BeforeValidator(list)] = Field(
        description="where the transformer's losses come from", examples=[["data sheet"]]
    )
    at_least: bool = Field(description="whether energy and cost are lower bounds")
    assumed: bool = Field(
        description="whether the transformer and the cables are assumed: the journal was not told of them yet"
    )
    year_earlier: ComparisonResponse | None = Field(
        description="the same period a year earlier, up to the same time of the year; null where that was "
        "not asked for, or the journal knows nothing of it"
    )
    forecast: ComparisonResponse | None = Field(
        description="what the present program, loads and transformers would have used, up to now; null where "
        "that was not asked for, or the journal had not begun"
    )


class _ZoneKey(_Model):
    zone: ZoneId


class _PeriodKey(_Model):
    period: str = _of("period", "name", about="what it is called", examples=["2027-winter"])
    first: Night = _of("period", "first", serialization_alias="from", about="its first night")
    last: Night = _of("period", "last", serialization_alias="to", about="its last night")
    is_over: bool = Field(description="whether it is over; if not, these are its figures so far")
    recorded: Literal["all", "part", "none"] = Field(
        description="how much of it, up to now, lies after the journal began"
    )
    zone: ZoneId


# The keys stand before the sums: pydantic takes the fields of the last base first.
class ZoneHoursResponse(HourSumResponse, _ZoneKey):
    """What one zone did in all the periods."""


class PeriodHoursResponse(HourSumResponse, _PeriodKey):
    """What one zone did in one period."""


class LampLifeResponse(_Model):
    """How far along the lamps of one fixture are."""

    zone: ZoneId = _of("lamps", "zone")
    fixture: FixturePlace = _of("lamps", "number")
    id: str | None = _of(
        "lamps", "fixture", "id", about="its id in the site file; null where it has none", examples=["steps"]
    )
    name: str = _of("lamps", "name", about="its name, or its kind", examples=["path"])
    count: int = _of("lamps", "fixture", "count", about="how many lamps", examples=[6])
    lamp: Literal["led", "filament"] = _of("lamps", "fixture", "lamp", about="what gives the light")
    rated_life_h: float | None = _of(
        "lamps",
        "fixture",
        "rated_life_h",
        about="rated life in hours; null where the site file has none",
        examples=[25000.0],
    )
    volts: float | None = _of(
        "lamps", "volts", about="volts that the lamps get; null where no cable is known", examples=[11.62]
    )
    life_h: Rounded1 | None = _of(
        "lamps", "life_h", about="hours that they live at these volts; null where no rated life is known"
    )
    since: Night | None = Field(description="the first night that they served; null where not known")
    lit_h: Rounded3 = Field(description="how long they were lit, in hours")
    estimated_h: Rounded3 = Field(
        description="of these, before the journal knew the zone, by the program that it had first, in hours",
        examples=[0.0],
    )
    used: Rounded6 | None = Field(description="part of their life; 1 is spent; null where that is not known")
    used_in_a_year: Rounded6 | None = Field(
        description="part of their life that the next 365 nights use; null where that is not known"
    )
    light: Rounded4 | None = Field(
        description="for LED, the part of their first light that they still give; null where not known"
    )
    replace_about: Night | None = Field(
        description="when their life ends by the plan to come; null where not known"
    )
    words: str = Field(description="the same in words", examples=["7 % of rated life used"])


class RelayLifeResponse(_Model):
    """How far along one relay is."""

    zone: ZoneId
    since: Night | None = Field(description="the first night that it served; null where not known")
    cycles: int = Field(description="how often it was switched on", examples=[731])
    endurance_cycles: int = Field(
        description="how often it can be, with its load, by its data sheet", examples=[100_000]
    )
    used: Rounded6 = Field(description="part of that", examples=[0.00731])
    wears_out_about: Night | None = Field(
        description="when that is over by the plan to come; null where that is not in sight"
    )


class TaskResponse(_Model):
    """Something that wants attention, and what to do."""

    zone: str | None = Field(
        description="id of the zone; null where it concerns the whole garden or a transformer",
        examples=["jetty"],
    )
    part: str | None = Field(
        description="what of the zone is to be replaced: “relay”, or lamps by their fixture's id or place; "
        "null for other work",
        examples=["steps"],
    )
    what: str = _of(
        "words",
        about="what to do, and what asks for it",
        examples=["replace the lamps of jetty, path: 96 % of their life is used"],
    )
    by: Night | None = Field(description="when it is due; null for now")


class _HeadResponse(_Model):
    """What is known before any row."""

    site: SiteName = _of("site", "name")
    time_zone: TimeZoneName = _of("site", "time_zone")
    currency: Currency = _of("site", "tariff", "currency", default=None)
    by: Annotated[Literal["night", "month", "season", "year", "whole"], BeforeValidator(str)] = Field(
        description="what a row is about"
    )
    first: Night = Field(serialization_alias="from", description="the first night")
    last: Night = Field(serialization_alias="to", description="the last night")
    journal_since: At | None = _of("began_utc", about="when the journal began; null while it is empty")
    as_of: At = _of(
        "bounds",
        "now_utc",
        about="now, or the end of the record; what is planned for later is not missed yet",
    )
    record_ended: bool = _of(
        "bounds", "record_ended", about="whether no Leerie wrote this journal any more before now"
    )
    attention: list[TaskResponse] = Field(
        description="what wants attention now: lamps and relays near their end, light that was missed in the "
        "last 14 nights, loads and losses that are not known"
    )


class _RowsResponse(_Model):
    hours: list[PeriodHoursResponse] = Field(description="period by period, and in each zone by zone")


class _TailResponse(_Model):
    """What is known after the last row."""

    totals: list[ZoneHoursResponse] = Field(description="zone by zone over all periods")
    total: HourSumResponse = Field(description="all zones over all periods")
    lamps: list[LampLifeResponse] = _of(
        "head", "wear", "lamps", default=[], about="the lamps of each fixture"
    )
    relays: list[RelayLifeResponse] = _of(
        "head", "wear", "relays", default=[], about="the relay of each zone"
    )
    notes: Notes = Field([])


# The fields of the last base come first.
class HoursResponse(_TailResponse, _RowsResponse, _HeadResponse):
    """The account of the past."""


def write_hours_json(stream: HoursStream, dump: Dump = dump_compact) -> Generator[str, None, None]:
    """Write the JSON document of an account, piece by piece as its rows come."""
    currency = currency_of(stream.head.site)
    validate = partial(PeriodHoursResponse.model_validate, context=currency)
    rows = (map(validate, batch) for batch in stream.batches())

    def tail() -> _TailResponse:
        response = _TailResponse.model_validate(stream, context=currency)
        return response.model_copy(update={"notes": hour_notes(stream.head.site, stream.totals)})

    head = _HeadResponse.model_validate(stream.head, context=currency)
    return write_document(head, "hours", rows, tail, dump)
