"""What a kilowatt-hour costs at any instant, in exact decimals; rounded to the coin only at the end.

Weekdays, dates and clock times of a tariff are those of the civil calendar at the site, not of the night: the
price at 01:30 on a Saturday is Saturday's. Public holidays are not known here; a band can name their dates.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Protocol
from zoneinfo import ZoneInfo

from config.currencies import minor_digits
from controller.calendar.intervals import ms_of, utc_of
from controller.calendar.night import utc_of_local

_MIDNIGHT = time(0, 0)


class Days(Protocol):
    """Some days of the calendar: weekdays, one date or a yearly stretch."""

    def match(self, day: date, /) -> bool:
        """Say whether a date is among them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PriceBand:
    """A price that holds on some days between two clock times.

    Attributes:
        per_kwh: price of a kilowatt-hour, zero or more.
        begins: clock time at which it begins.
        ends: clock time at which it ends; 00:00 is the end of the day. Where it ends at or before it begins,
            it holds from midnight to ``ends`` and from ``begins`` to midnight of each of its days.
        days: on which days; every condition must hold, none means every day.
        name: what the bill calls it, such as "off-peak"; may be empty.
    """

    per_kwh: Decimal
    begins: time = _MIDNIGHT
    ends: time = _MIDNIGHT
    days: tuple[Days, ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse a price that is none."""
        _refuse_price(self.per_kwh)

    def holds(self, day: date, at: time) -> bool:
        """Say whether this band is in force at a clock time of a day."""
        if not all(days.match(day) for days in self.days):
            return False
        if self.begins < self.ends:
            return self.begins <= at < self.ends
        return at >= self.begins or at < self.ends


@dataclass(frozen=True, kw_only=True, slots=True)
class Prices:
    """The prices in force from a date on.

    Attributes:
        per_kwh: price wherever no band holds, zero or more.
        since: first day, from its first instant; None for "always".
        bands: prices that differ; the last one that holds decides, as with special nights.
    """

    per_kwh: Decimal
    since: date | None = None
    bands: tuple[PriceBand, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a price that is none."""
        _refuse_price(self.per_kwh)

    def price(self, day: date, at: time) -> tuple[Decimal, str]:
        """Give the price at a clock time of a day, and the name of its band."""
        for band in reversed(self.bands):
            if band.holds(day, at):
                return band.per_kwh, band.name
        return self.per_kwh, ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tariff:
    """What the meter's energy costs.

    Attributes:
        currency: ISO 4217 code, such as "USD".
        prices: in order of their first day; the first one also holds before its own.
    """

    currency: str
    prices: tuple[Prices, ...]

    def __post_init__(self) -> None:
        """Refuse a currency that is no code, and price changes out of order."""
        if not re.fullmatch(r"[A-Z]{3}", self.currency):
            raise ValueError(f"a currency is three capital letters such as USD, not “{self.currency}”")
        if not self.prices:
            raise ValueError("a tariff needs at least one price")
        days = [prices.since for prices in self.prices[1:]]
        if None in days or sorted(filter(None, days)) != days or len(set(days)) != len(days):
            raise ValueError("every later price needs the date from which it holds, in order")
        first = self.prices[0].since
        if first is not None and days and days[0] is not None and days[0] <= first:
            raise ValueError(f"the price since {days[0]} must come before the one since {first}")

    def on(self, day: date) -> Prices:
        """Give the prices in force on a day."""
        for prices in reversed(self.prices[1:]):
            if prices.since is not None and prices.since <= day:
                return prices
        return self.prices[0]


@dataclass(frozen=True, kw_only=True, slots=True)
class PriceStep:
    """One price over an interval, in milliseconds since 1970, half-open."""

    starts_ms: int
    ends_ms: int
    per_kwh: Decimal
    name: str


def price_steps(
    tariff: Tariff, starts_at_utc: datetime, ends_at_utc: datetime, tz: ZoneInfo
) -> list[PriceStep]:
    """Cut a stretch of time wherever the price changes.

    Clock times become instants by RFC 5545, section 3.3.5: a band that begins at 01:30 on the night on which
    01:30 occurs twice begins at the first, and is not left again when the clock is put back.

    Args:
        tariff: the prices.
        starts_at_utc: beginning of the stretch.
        ends_at_utc: its end, not included.
        tz: time zone of the site.

    Returns:
        Steps that cover the stretch without gap or overlap; neighbours differ in price or name.
        Held by tests/controller/energy/test_tariff.py.
    """
    starts_ms, ends_ms = ms_of(starts_at_utc), ms_of(ends_at_utc)
    if starts_ms >= ends_ms:
        return []
    if len(tariff.prices) == 1 and not tariff.prices[0].bands:
        only = tariff.prices[0].per_kwh
        return [PriceStep(starts_ms=starts_ms, ends_ms=ends_ms, per_kwh=only, name="")]
    edges = _edges(tariff, starts_at_utc.astimezone(tz).date(), ends_at_utc.astimezone(tz).date(), tz)
    steps: list[PriceStep] = []
    until_ms = ends_ms
    # Backwards: where a gap in the clock makes a later edge fall before an earlier one, the later wins.
    for at_ms, per_kwh, name in reversed(edges):
        from_ms = max(at_ms, starts_ms)
        if from_ms >= until_ms:
            continue
        if steps and (steps[-1].per_kwh, steps[-1].name) == (per_kwh, name):
            later = steps.pop()
            steps.append(PriceStep(starts_ms=from_ms, ends_ms=later.ends_ms, per_kwh=per_kwh, name=name))
        else:
            steps.append(PriceStep(starts_ms=from_ms, ends_ms=until_ms, per_kwh=per_kwh, name=name))
        until_ms = from_ms
    steps.reverse()
    return steps


def price_at(tariff: Tariff, at_utc: datetime, tz: ZoneInfo) -> Decimal:
    """Give the price of a kilowatt-hour at an instant."""
    at_ms = ms_of(at_utc)
    return price_steps(tariff, utc_of(at_ms), utc_of(at_ms + 1), tz)[0].per_kwh


def round_money(amount: Decimal, currency: str) -> Decimal:
    """Round an amount to the currency's smallest unit by ISO 4217, half away from zero.

    Only for showing: sums are made of unrounded amounts. Rounding halves up is common practice, no source.
    """
    return amount.quantize(Decimal(1).scaleb(-minor_digits(currency)), rounding=ROUND_HALF_UP)


def _edges(tariff: Tariff, first: date, last: date, tz: ZoneInfo) -> list[tuple[int, Decimal, str]]:
    """List where prices may change, in the order of the clock, from a day before the first date on."""
    edges: list[tuple[int, Decimal, str]] = []
    # From the day before: where 23:30 is skipped, its edge falls after midnight.
    day = first - timedelta(days=1)
    while day <= last:
        prices = tariff.on(day)
        for at in _clock_times(prices.bands):
            instant = utc_of_local(datetime.combine(day, at), tz)
            edges.append((ms_of(instant), *prices.price(day, at)))
        day += timedelta(days=1)
    return edges


def _clock_times(bands: Sequence[PriceBand]) -> list[time]:
    """List the clock times of a day at which some band begins or ends, midnight first."""
    return sorted({_MIDNIGHT, *(band.begins for band in bands), *(band.ends for band in bands)})


def _refuse_price(per_kwh: Decimal) -> None:
    """Refuse what is no price."""
    if not per_kwh.is_finite() or per_kwh < 0:
        raise ValueError(f"a price per kilowatt-hour is zero or more, not {per_kwh}")
