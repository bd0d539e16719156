"""What a kilowatt-hour costs at any instant, in exact decimals; rounded only to be shown.

Weekdays, dates and clock times of a tariff are those of the civil calendar at the site, not of the night: the
price at 01:30 on a Saturday is Saturday's. Public holidays are not known here; a band can name their dates.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from config.currencies import minor_digits
from config.models.tariff import Tariff
from controller.calendar.intervals import ms_of
from controller.calendar.night import utc_of_local

_MIDNIGHT = time(0, 0)


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

    Returns:
        Steps that cover the stretch without gap or overlap; neighbours differ in price or name.
        Held by tests/controller/energy/test_tariff.py.
    """
    starts_ms, ends_ms = ms_of(starts_at_utc), ms_of(ends_at_utc)
    if starts_ms >= ends_ms:
        return []
    if tariff.is_flat:
        return [PriceStep(starts_ms=starts_ms, ends_ms=ends_ms, per_kwh=tariff.per_kwh, name="")]
    edges = _edges(tariff, starts_at_utc.astimezone(tz).date(), ends_at_utc.astimezone(tz).date(), tz)
    steps: list[PriceStep] = []
    until_ms = ends_ms
    # Backwards: where a gap in the clock makes a later edge fall before an earlier one, the later wins.
    for at_ms, per_kwh, name in reversed(edges):
        from_ms = max(at_ms, starts_ms)
        if from_ms >= until_ms:
            continue
        if steps and (steps[-1].per_kwh, steps[-1].name) == (per_kwh, name):
            until_ms = steps.pop().ends_ms
        steps.append(PriceStep(starts_ms=from_ms, ends_ms=until_ms, per_kwh=per_kwh, name=name))
        until_ms = from_ms
    steps.reverse()
    return steps


def round_money(amount: Decimal, currency: str) -> Decimal:
    """Round an amount to the currency's smallest unit by ISO 4217, half away from zero.

    Only for showing: sums are made of unrounded amounts. Rounding halves up is common practice, no source.
    """
    # Adding nothing takes the sign off a nought.
    return amount.quantize(Decimal(1).scaleb(-minor_digits(currency)), rounding=ROUND_HALF_UP) + 0


def _edges(tariff: Tariff, first: date, last: date, tz: ZoneInfo) -> list[tuple[int, Decimal, str]]:
    """List where prices may change, in the order of the clock, from a day before the first date on."""
    edges: list[tuple[int, Decimal, str]] = []
    # From the day before: where 23:30 is skipped, its edge falls after midnight.
    day = first - timedelta(days=1)
    while day <= last:
        prices = tariff.on(day)
        clocks = {clock for band in prices.bands for clock in (band.begins, band.ends)}
        for at in sorted({_MIDNIGHT} | clocks):
            instant = utc_of_local(datetime.combine(day, at), tz)
            edges.append((ms_of(instant), *prices.price(day, at)))
        day += timedelta(days=1)
    return edges
