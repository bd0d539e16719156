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
from api.render.model import Instant, NightDate, ResponseModel
from api.render.numbers import currency_of, hours_of, kwh_of, money_of, unrounded
from controller.history.report import HoursStream

Hours = Annotated[float, BeforeValidator(hours_of)]
Kwh = Annotated[float, BeforeValidator(kwh_of)]
Text = Annotated[str, BeforeValidator(str)]
At = Annotated[Instant, BeforeValidator(instant_text)]
Night = Annotated[NightDate, BeforeValidator(date.isoformat)]


def _money(amount: Any, info: ValidationInfo) -> int | float | None:  # noqa: ANN401 - an amount, or None
    return money_of(amount, info.context)


Money = Annotated[int | float | None, BeforeValidator(_money)]
Unrounded = Annotated[float | None, BeforeValidator(unrounded)]
Rounded1 = Annotated[float, BeforeValidator(partial(round, ndigits=1))]
Rounded3 = Annotated[float, BeforeValidator(partial(round, ndigits=3))]
Rounded4 = Annotated[float, BeforeValidator(partial(round, ndigits=4))]
Rounded6 = Annotated[float, BeforeValidator(partial(round, ndigits=6))]


def _of(*path: str, about: str | None = None, **more: Any) -> Any:  # noqa: ANN401 - as pydantic's own Field
    """Describe a field that is read from another attribute."""
    return Field(validation_alias=AliasPath(*path), description=about, **more)


def _energy(part: str, about: str) -> Any:  # noqa: ANN401 - as pydantic's own Field
    return _of("energy", part, about=about)


class _Model(ResponseModel):
    model_config = ConfigDict(from_attributes=True, json_schema_serialization_defaults_required=True)


class MissedResponse(_Model):
    """Planned light that did not come, for one reason."""

    why: Text | None = _of("reason", about="the reason; null where nothing explains it")
    hours: Hours = _of("lasts_ms")
    nights: int | None = _of("on_nights", about="on how many nights; null over several zones")


class DarkGapResponse(_Model):
    """The longest unbroken stretch of planned light that did not come."""

    since: At = _of("starts_at_utc", serialization_alias="from")
    hours: Hours = _of("lasts_ms")
    why: Text | None = _of("reason", about="what explains most of it; null where nothing does")


class PriceResponse(_Model):
    """Energy at one price."""

    name: str = Field(description="what the bill calls it; empty for the price that usually holds")
    per_kwh: float
    meter_kwh: Kwh = _of("meter_j")
    cost: Money


class LoadResponse(_Model):
    """A load at which a zone was lit, as it was at the time."""

    watts: float | None = Field(description="null where it is not known")
    origin: str | None = Field(description="“measured”, “fixtures” or “rated”; null where it is not known")


def _loads(loads: Any) -> list[LoadResponse]:  # noqa: ANN401 - pairs of watts and origin
    return [LoadResponse(watts=watts, origin=origin or None) for watts, origin in loads]


class FiguresResponse(_Model):
    """What two periods are compared by, or by how much they differ."""

    lit_h: Hours = _of("lit_ms")
    missed_h: Hours = _of("missed_ms")
    lamps_kwh: Kwh = _of("lamps_j")
    meter_kwh: Kwh = _of("meter_j")
    cost: Money
    cost_unrounded: Unrounded = _of("cost")


class ComparisonResponse(_Model):
    """Another period beside this one; over several zones or periods the sum of those that can be compared."""

    period: str | None = _of("period", "name", default=None, about="the other period; null over several")
    first: Night | None = _of("period", "first", default=None, serialization_alias="from")
    last: Night | None = _of("period", "last", default=None, serialization_alias="to")
    other: FiguresResponse = Field(description="what was, or was expected, there")
    change: FiguresResponse | None = Field(
        description="this period less the other; null where the journal does not know all of the other"
    )
    at_least: bool = Field(description="whether energy and cost of the other are lower bounds")


class HourSumResponse(_Model):
    """What was lit, missed and used."""

    lit_h: Hours = _of("lit_ms", about="lit, in hours, to the millionth; the sum of the next three")
    by_program_h: Hours = _of("program_ms", about="of these, by the program or a special night")
    by_override_h: Hours = _of("override_ms", about="because somebody asked for it")
    unknown_h: Hours = _of("unknown_ms", about="for another reason, or none that is known")
    clock_not_trusted_h: Hours = _of("untrusted_ms", about="lit at a time that no trusted clock knows")
    daylight_h: Hours = _of("daylight_ms", about="lit before dusk or after dawn")
    starts: int = Field(description="how often it was switched on")
    planned_h: Hours = _of("planned_ms", about="what the program of the time asked for, up to now")
    missed_h: Hours = _of("missed_ms", about="of these, what was not lit")
    missed: list[MissedResponse] = Field(description="the same by reason")
    longest_dark_gap: DarkGapResponse | None = _of("longest_gap")
    lamps_kwh: Kwh = _of("lamps_j", about="energy at the lamps")
    cables_kwh: Kwh = _energy("cable_j", "lost in the cables, where these are known")
    transformer_lit_kwh: Kwh = _energy("transformer_lit_j", "lost in the transformer while lit")
    transformer_dark_kwh: Kwh = _energy("idle_j", "lost in the transformer with nothing lit")
    meter_kwh: Kwh = _of("meter_j", about="energy at the meter, the sum of the last four")
    cost: Money = Field(description="rounded to the currency's smallest unit; null without a tariff")
    cost_unrounded: Unrounded = _of("cost", about="the same, to add up")
    prices: list[PriceResponse] = _of("bands", about="the meter's energy by price, the dearest first")
    loads: Annotated[list[LoadResponse], BeforeValidator(_loads)] = Field(
        description="the loads at which it was lit, in their order"
    )
    without_load_h: Hours = _of("without_load_ms", about="lit with a load that is not known, counted as none")
    losses: Annotated[list[str], BeforeValidator(list)] = Field(
        description="where the transformer's losses come from"
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
    zone: str


class _PeriodKey(_Model):
    period: str = _of("period", "name", examples=["2027-winter"])
    first: Night = _of("period", "first", serialization_alias="from", about="its first night")
    last: Night = _of("period", "last", serialization_alias="to", about="its last night")
    is_over: bool = Field(description="whether it is over; if not, these are its figures so far")
    recorded: Literal["all", "part", "none"] = Field(
        description="how much of it, up to now, lies after the journal began"
    )
    zone: str


# The keys stand before the sums: pydantic takes the fields of the last base first.
class ZoneHoursResponse(HourSumResponse, _ZoneKey):
    """What one zone did in all the periods."""


class PeriodHoursResponse(HourSumResponse, _PeriodKey):
    """What one zone did in one period."""


class LampLifeResponse(_Model):
    """How far along the lamps of one fixture are."""

    zone: str = _of("lamps", "zone")
    fixture: int = _of("lamps", "number", about="its place in the site file, from 1")
    id: str | None = _of("lamps", "fixture", "id", about="its id in the site file; null where it has none")
    name: str = _of("lamps", "name")
    count: int = _of("lamps", "fixture", "count")
    lamp: str = _of("lamps", "fixture", "lamp", about="“led” or “filament”")
    rated_life_h: float | None = _of("lamps", "fixture", "rated_life_h")
    volts: float | None = _of("lamps", "volts", about="what the lamps get; null where no cable is known")
    life_h: Rounded1 | None = _of("lamps", "life_h", about="hours that they live at these volts")
    since: Night | None = Field(description="the first night that they served; null where not known")
    lit_h: Rounded3
    estimated_h: Rounded3 = Field(
        description="of these, before the journal was told of the zone, by today's program"
    )
    used: Rounded6 | None = Field(description="part of their life; 1 is spent")
    used_in_a_year: Rounded6 | None = Field(description="what the next 365 nights use")
    light: Rounded4 | None = Field(description="for LED, the part of their first light that they still give")
    replace_about: Night | None = Field(description="when their life ends by the plan to come")
    words: str


class RelayLifeResponse(_Model):
    """How far along one relay is."""

    zone: str
    since: Night | None = Field(description="the first night that it served; null where not known")
    cycles: int
    endurance_cycles: int
    used: Rounded6
    wears_out_about: Night | None


class TaskResponse(_Model):
    """Something that wants attention, and what to do."""

    zone: str | None = Field(description="null where it concerns the whole garden or a transformer")
    part: str | None = Field(
        description="what of the zone is to be replaced: “relay”, or lamps by their fixture's id or place"
    )
    what: str = _of("words", about="what to do, and what asks for it")
    by: Night | None = Field(description="when it is due; null for now")


class _HeadResponse(_Model):
    """What is known before any row."""

    site: str = _of("site", "name")
    time_zone: str = _of("site", "time_zone")
    currency: str | None = _of("site", "tariff", "currency", default=None)
    by: Text
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
    total: HourSumResponse
    lamps: list[LampLifeResponse] = _of("head", "wear", "lamps", default=[])
    relays: list[RelayLifeResponse] = _of("head", "wear", "relays", default=[])
    notes: list[str] = Field([], description="what limits these figures")


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
