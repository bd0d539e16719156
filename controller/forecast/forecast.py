"""The nights to come: what a plan will light, in hours, energy, money and relay cycles, month by month.

The plan is asked for as a function, so that the present program, another one in its place and an old
mechanical timer are all worked out alike and can be laid side by side. The arithmetic is that of the past:
windows become draws on a transformer and go through the same meter as the runs of the journal.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Protocol
from zoneinfo import ZoneInfo

from config.models.tariff import Tariff
from controller.calendar.intervals import MS_PER_HOUR, Interval, ms_of, overlap, total_ms
from controller.calendar.night import Night, nights
from controller.calendar.periods import Each, Period, split, stretch_of_nights
from controller.energy.metering import measure
from controller.energy.tariff import PriceStep, price_steps
from controller.energy.values import Draw, Energy, Load, Losses, RelaySide
from controller.sun.sun import Sun, dark_intervals

NIGHTS_AHEAD = 365


class WindowLike(Protocol):
    """A stretch of light that somebody plans."""

    @property
    def on_utc(self) -> datetime:
        """When it begins."""

    @property
    def off_utc(self) -> datetime:
        """When it ends, not included."""


PlanOf = Callable[[str, Night], Iterable[WindowLike]]
"""What a zone, by its id, will do in a night: windows apart and inside the night."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastZone:
    """A zone as the forecast needs it: its id, its transformer's id and what it draws."""

    zone: str
    transformer: str
    load: Load


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastInput:
    """A site as the forecast needs it.

    Attributes:
        zones: at least one.
        transformers: the losses of every transformer that a zone names.
        tariff: what energy costs; None for no money.
        sky: the sun over the site.
        dusk_angle_deg: degrees below the horizon at dusk, positive downwards.
        tz: time zone of the site.
    """

    zones: tuple[ForecastZone, ...]
    transformers: tuple[Losses, ...]
    tariff: Tariff | None
    sky: Sun
    dusk_angle_deg: float
    tz: ZoneInfo

    def __post_init__(self) -> None:
        """Refuse a zone without a transformer: its energy would be lost in silence."""
        known = {losses.transformer for losses in self.transformers}
        for zone in self.zones:
            if zone.transformer not in known:
                raise ValueError(f"zone “{zone.zone}” hangs on a transformer not given, “{zone.transformer}”")


@dataclass(frozen=True, kw_only=True, slots=True)
class MonthAhead:
    """What one zone will do in the nights of one month; times in milliseconds.

    Attributes:
        zone: its id.
        month: the nights, a whole month or the part of one at either end.
        lit_ms: lit in all.
        daylight_ms: of these, with the sun above the angle of dusk.
        starts: how often it is switched on.
        energy: what it takes, and what that costs.
    """

    zone: str
    month: Period
    lit_ms: int
    daylight_ms: int
    starts: int
    energy: Energy

    @property
    def lit_h(self) -> float:
        """Hours lit, for showing."""
        return self.lit_ms / MS_PER_HOUR


@dataclass(frozen=True, kw_only=True, slots=True)
class Forecast:
    """What all zones will do over the nights ahead.

    Attributes:
        period: the nights.
        months: one row for each zone and month, zone by zone, in order.
        lit: for each zone its windows, night by night.
        starts: for each zone how often it is switched on, night by night.
    """

    period: Period
    months: tuple[MonthAhead, ...]
    lit: Mapping[str, tuple[tuple[Interval, ...], ...]]
    starts: Mapping[str, tuple[int, ...]]

    def energy(self, zone: str | None = None) -> Energy:
        """Sum the energy of one zone, or of all."""
        return sum((row.energy for row in self.months if zone in (None, row.zone)), Energy())

    def lit_ms_by_night(self, zone: str) -> tuple[int, ...]:
        """Give the milliseconds of light of one zone, night by night."""
        return tuple(total_ms(night) for night in self.lit[zone])

    def lit_ms(self, zone: str | None = None) -> int:
        """Sum the light of one zone, or of all."""
        return sum(row.lit_ms for row in self.months if zone in (None, row.zone))

    def daylight_ms(self, zone: str | None = None) -> int:
        """Sum the light in daylight of one zone, or of all."""
        return sum(row.daylight_ms for row in self.months if zone in (None, row.zone))


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastDifference:
    """What another plan would change for one zone: other minus present; negative saves."""

    zone: str
    lit_ms: int
    daylight_ms: int
    meter_kwh: Decimal
    cost: Decimal | None


def look_ahead(
    garden: ForecastInput, first_night: date, plan: PlanOf, *, count: int = NIGHTS_AHEAD
) -> Forecast:
    """Work out the nights to come.

    Args:
        garden: zones, transformers, tariff, sky.
        first_night: date of the first night.
        plan: what each zone will do; see ``PlanOf``.
        count: how many nights, at least one.

    Raises:
        ValueError: no night at all, or a window that reaches out of its night.

    Held by tests/controller/forecast/test_forecast.py against season.csv and a count minute by minute.
    """
    if count < 1:
        raise ValueError(f"a look ahead takes at least one night, not {count}")
    last_night = first_night + timedelta(days=count - 1)
    whole = stretch_of_nights(first_night, last_night, garden.tz)
    months = split(whole, Each.MONTH, garden.tz, latitude_deg=garden.sky.latitude_deg)
    ahead = tuple(nights(first_night, last_night, garden.tz))
    dark = dark_intervals(garden.sky, ahead, garden.dusk_angle_deg)
    lit = {each.zone: tuple(_windows(plan, each.zone, night) for night in ahead) for each in garden.zones}
    starts = {zone: _starts(windows) for zone, windows in lit.items()}
    prices = None
    if garden.tariff is not None:
        prices = price_steps(garden.tariff, whole.starts_at_utc, whole.ends_at_utc, garden.tz)
    rows: dict[str, list[MonthAhead]] = defaultdict(list)
    for month in months:
        those = slice((month.first - first_night).days, (month.last - first_night).days + 1)
        windows = {zone: [each for night in lit[zone][those] for each in night] for zone in lit}
        energies = _meter(garden, month, windows, prices)
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
        period=whole,
        months=tuple(row for each in garden.zones for row in rows[each.zone]),
        lit=lit,
        starts=starts,
    )


def with_mains_switching(garden: ForecastInput) -> ForecastInput:
    """Give the same garden with its transformers switched on the mains side, as an old timer does."""
    transformers = tuple(replace(losses, side=RelaySide.MAINS) for losses in garden.transformers)
    return replace(garden, transformers=transformers)


def compare(present: Forecast, other: Forecast) -> tuple[ForecastDifference, ...]:
    """Lay another plan beside the present one, zone by zone.

    Raises:
        ValueError: the two are not about the same nights or the same zones.
    """
    if present.period != other.period or present.lit.keys() != other.lit.keys():
        raise ValueError("only plans for the same zones and the same nights can be compared")
    changes = []
    for zone in present.lit:
        now, then = present.energy(zone), other.energy(zone)
        changes.append(
            ForecastDifference(
                zone=zone,
                lit_ms=other.lit_ms(zone) - present.lit_ms(zone),
                daylight_ms=other.daylight_ms(zone) - present.daylight_ms(zone),
                meter_kwh=then.meter_kwh - now.meter_kwh,
                cost=None if then.cost is None or now.cost is None else then.cost - now.cost,
            )
        )
    return tuple(changes)


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


def _meter(
    garden: ForecastInput,
    month: Period,
    windows: Mapping[str, Sequence[Interval]],
    prices: Sequence[PriceStep] | None,
) -> dict[str, Energy]:
    """Send a month's windows through the meter, transformer by transformer."""
    starts_ms, ends_ms = month.interval
    energies: dict[str, Energy] = {}
    if prices is not None:
        prices = [step for step in prices if step.starts_ms < ends_ms and step.ends_ms > starts_ms]
    for losses in garden.transformers:
        zones = [each for each in garden.zones if each.transformer == losses.transformer]
        draws = [
            Draw(zone=each.zone, starts_ms=on_ms, ends_ms=off_ms, load=each.load)
            for each in zones
            for on_ms, off_ms in windows[each.zone]
        ]
        rated = {each.zone: each.load.total_w for each in zones}
        energies |= measure(losses, rated, draws, starts_ms=starts_ms, ends_ms=ends_ms, steps=prices)
    return energies
