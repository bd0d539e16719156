"""The nights to come: what a plan will light, in hours, energy, money and relay cycles, month by month.

The plan is a function, so that the present program, another one in its place and a mechanical timer are all
worked out alike and can be compared. The arithmetic is that of the past: windows become draws on a
transformer and are metered as the runs of the journal are.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from config.models.tariff import Tariff
from controller.calendar.intervals import Interval, ms_of, overlap, total_ms
from controller.calendar.night import Night, nights
from controller.calendar.periods import Each, Period, split, stretch_of_nights
from controller.energy.metering import measure_zones
from controller.energy.tariff import price_steps
from controller.energy.values import Draw, Energy, Load, Losses, losses_of, watts
from controller.planning.plan import PlanContext, Window
from controller.planning.planner import Planner
from controller.sun.sun import dark_intervals
from controller.wiring.losses import cable_losses

NIGHTS_AHEAD = 365

PlanOf = Callable[[str, Night], Iterable[Window]]
"""What a zone, by its id, will do in a night: windows apart and inside the night."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastZone:
    """A zone as the forecast needs it: its id, its transformer and what it draws."""

    zone: str
    losses: Losses
    load: Load


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastInput:
    """A site as the forecast needs it."""

    zones: tuple[ForecastZone, ...]
    tariff: Tariff | None
    place: PlanContext


def forecast_input(planner: Planner) -> ForecastInput:
    """Give a site as the forecast needs it, with the watts lost in its cables, where known."""
    site, cable_w = planner.site, cable_losses(planner.site).cable_w
    zones = tuple(
        ForecastZone(
            zone=zone.id,
            losses=losses_of(site, zone),
            load=Load(lamps_w=watts(zone.rated_load.watts), cable_w=cable_w.get(zone.id, Decimal(0))),
        )
        for zone in site.zones
    )
    return ForecastInput(zones=zones, tariff=site.tariff, place=planner.place)


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastSum:
    """What zones will do over some nights.

    Attributes:
        daylight_ms: of ``lit_ms``, with the sun above the angle of dusk.
        starts: how often they are switched on.
    """

    lit_ms: int
    daylight_ms: int
    starts: int
    energy: Energy


@dataclass(frozen=True, kw_only=True, slots=True)
class MonthAhead(ForecastSum):
    """What one zone will do in the nights of one month, or the part of one at either end."""

    zone: str
    month: Period


def add_up(rows: Iterable[ForecastSum]) -> ForecastSum:
    """Add up months and zones."""
    rows = list(rows)
    return ForecastSum(
        lit_ms=sum(row.lit_ms for row in rows),
        daylight_ms=sum(row.daylight_ms for row in rows),
        starts=sum(row.starts for row in rows),
        energy=sum((row.energy for row in rows), Energy()),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Forecast:
    """What all zones will do over the nights ahead by one plan.

    Attributes:
        name: of the plan, for a person.
        months: one row for each zone and month, zone by zone, in order.
        lit: for each zone its windows, night by night.
        starts: for each zone how often it is switched on, night by night.
    """

    name: str
    period: Period
    months: tuple[MonthAhead, ...]
    lit: Mapping[str, tuple[tuple[Interval, ...], ...]]
    starts: Mapping[str, tuple[int, ...]]

    def total(self, *zones: str) -> ForecastSum:
        """Add up some zones; all where none is named."""
        return add_up(row for row in self.months if not zones or row.zone in zones)

    def lit_ms_by_night(self, zone: str) -> tuple[int, ...]:
        """Give the milliseconds of light of one zone, night by night."""
        return tuple(total_ms(night) for night in self.lit[zone])


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastDifference:
    """What another plan would change: other minus present; negative saves."""

    lit_ms: int
    daylight_ms: int
    meter_j: Decimal
    cost: Decimal | None


def look_ahead(
    inputs: ForecastInput, first_night: date, plan: PlanOf, *, count: int = NIGHTS_AHEAD, name: str = ""
) -> Forecast:
    """Work out the nights to come.

    Raises:
        ValueError: no night at all, or a window that reaches out of its night.

    Held by tests/controller/forecast/test_forecast.py against season.csv and a count minute by minute.
    """
    if count < 1:
        raise ValueError(f"a forecast takes at least one night, not {count}")
    last_night = first_night + timedelta(days=count - 1)
    sun, tz = inputs.place.sun, inputs.place.tz
    whole = stretch_of_nights(first_night, last_night, tz)
    ahead = tuple(nights(first_night, last_night, tz))
    dark = dark_intervals(sun, ahead, inputs.place.dusk_angle_deg)
    lit = {each.zone: tuple(_windows(plan, each.zone, night) for night in ahead) for each in inputs.zones}
    starts = {zone: _starts(windows) for zone, windows in lit.items()}
    prices = None
    if inputs.tariff is not None:
        prices = price_steps(inputs.tariff, whole.starts_at_utc, whole.ends_at_utc, tz)
    losses = {each.zone: each.losses for each in inputs.zones}
    rated = {each.zone: each.load.total_w for each in inputs.zones}
    rows: dict[str, list[MonthAhead]] = defaultdict(list)
    for month in split(whole, Each.MONTH, tz, latitude_deg=sun.latitude_deg):
        those = slice((month.first - first_night).days, (month.last - first_night).days + 1)
        windows = {zone: [each for night in lit[zone][those] for each in night] for zone in lit}
        draws = [
            Draw(zone=each.zone, starts_ms=on_ms, ends_ms=off_ms, load=each.load)
            for each in inputs.zones
            for on_ms, off_ms in windows[each.zone]
        ]
        energies = measure_zones(losses, rated, draws, month.interval, prices)
        for zone, intervals in windows.items():
            lit_ms = total_ms(intervals)
            rows[zone].append(
                MonthAhead(
                    zone=zone,
                    month=month,
                    lit_ms=lit_ms,
                    daylight_ms=lit_ms - total_ms(overlap(intervals, dark)),
                    starts=sum(starts[zone][those]),
                    energy=energies[zone],
                )
            )
    return Forecast(
        name=name,
        period=whole,
        months=tuple(row for each in inputs.zones for row in rows[each.zone]),
        lit=lit,
        starts=starts,
    )


def with_mains_switching(inputs: ForecastInput) -> ForecastInput:
    """Give the same site with its transformers switched on the mains side, as a mechanical timer does."""
    zones = [replace(zone, losses=replace(zone.losses, mains_side=True)) for zone in inputs.zones]
    return replace(inputs, zones=tuple(zones))


def compare(present: Forecast, other: Forecast, *zones: str) -> ForecastDifference:
    """Compare another plan with the present one, over some zones; all where none is named.

    Raises:
        ValueError: the two are not about the same nights or the same zones.
    """
    if present.period != other.period or present.lit.keys() != other.lit.keys():
        raise ValueError("only plans for the same zones and the same nights can be compared")
    now, then = present.total(*zones), other.total(*zones)
    cost, other_cost = now.energy.cost, then.energy.cost
    return ForecastDifference(
        lit_ms=then.lit_ms - now.lit_ms,
        daylight_ms=then.daylight_ms - now.daylight_ms,
        meter_j=then.energy.meter_j - now.energy.meter_j,
        cost=None if cost is None or other_cost is None else other_cost - cost,
    )


def _windows(plan: PlanOf, zone: str, night: Night) -> tuple[Interval, ...]:
    """Ask the plan for one night; refuse what would be counted with another night's month."""
    windows = tuple((ms_of(window.on_utc), ms_of(window.off_utc)) for window in plan(zone, night))
    if windows and (windows[0][0] < ms_of(night.starts_at_utc) or windows[-1][1] > ms_of(night.ends_at_utc)):
        raise ValueError(f"a window of “{zone}” reaches out of the night of {night.date}")
    return windows


def _starts(windows: Sequence[Sequence[Interval]]) -> tuple[int, ...]:
    """Count switchings on, night by night; light that goes on across noon is not switched."""
    counts = []
    lit_until_ms = 0
    for night in windows:
        goes_on = bool(night) and night[0][0] == lit_until_ms
        counts.append(len(night) - goes_on)
        if night:
            lit_until_ms = night[-1][1]
    return tuple(counts)
