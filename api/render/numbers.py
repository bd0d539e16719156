"""Numbers, of hours, energy and money above all: rounded for JSON, and written for people."""

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from typing import overload

from config.models.site import Site
from controller.calendar.intervals import MS_PER_HOUR
from controller.energy.tariff import round_money
from controller.energy.values import J_PER_KWH

NONE = "–"
# From here on hours are written to the tenth.
MANY_H = 1000


def currency_of(site: Site) -> str | None:
    """Give the currency in which energy is paid for; None where the site file names none."""
    return None if site.tariff is None else site.tariff.currency


@overload
def hours_of(lasts_ms: int) -> float: ...
@overload
def hours_of(lasts_ms: None) -> None: ...
def hours_of(lasts_ms: int | None) -> float | None:
    """Give milliseconds as hours, to the millionth, which is 4 ms."""
    return None if lasts_ms is None else round(lasts_ms / MS_PER_HOUR, 6)


def kwh_of(joules: Decimal) -> float:
    """Give joules as kilowatt-hours, to the thousandth of a watt-hour."""
    return round(float(joules / J_PER_KWH), 6) + 0.0  # no sign before a nought


def money_of(amount: Decimal | None, currency: str | None) -> int | float | None:
    """Round an amount to the currency's smallest unit; None where there is no price.

    It is a whole number where the currency has no smaller unit. Rounded rows need not add up to a rounded
    total; ``unrounded`` is for those who add up.
    """
    if amount is None or currency is None:
        return None
    value = round_money(amount, currency)
    return int(value) if value.as_tuple().exponent == 0 else float(value)


def unrounded(amount: Decimal | None) -> float | None:
    """Give an amount to the billionth."""
    return None if amount is None else round(float(amount), 9) + 0.0


def rounded(value: float | None, digits: int) -> float | None:
    """Round what is known."""
    return None if value is None else round(value, digits)


def hours(lasts_ms: int | None) -> str:
    """Write hours: to the hundredth, or to the tenth where there are many."""
    if lasts_ms is None:
        return NONE
    value = hours_of(lasts_ms)
    return f"{value:,.1f}" if value >= MANY_H else f"{value:.2f}"


def kwh(joules: Decimal | None, *, at_least: bool = False) -> str:
    """Write joules as kilowatt-hours."""
    return NONE if joules is None else f"{'≥ ' if at_least else ''}{kwh_of(joules):,.2f}"


def kwh_that_add_up(first: Decimal, others: Sequence[Decimal], total: Decimal) -> list[str]:
    """Write the parts of an amount of energy, in joules, so that what is written adds up.

    The first part and the total are written as ``kwh`` writes them; the others are cut off or rounded up by
    less than a hundredth until they make up the rest.

    Held by tests/api/render/test_numbers.py.
    """

    def as_written(joules: Decimal) -> int:
        return int(f"{kwh_of(joules):.2f}".replace(".", ""))

    exact = [part * 100 / J_PER_KWH for part in others]
    shown = [int(part) for part in exact]
    missing = as_written(total) - as_written(first) - sum(shown)
    for _ in range(abs(missing)):
        one = 1 if missing > 0 else -1
        farthest = max(range(len(exact)), key=lambda n: (exact[n] - shown[n]) * one)
        shown[farthest] += one
    return [kwh(first), *(f"{part / 100:,.2f}" for part in shown)]


def money(amount: Decimal | None, currency: str | None, *, at_least: bool = False) -> str:
    """Write an amount with the digits of its currency."""
    if amount is None or currency is None:
        return NONE
    return f"{'≥ ' if at_least else ''}{round_money(amount, currency):,}"


def signed(value: float | None) -> str:
    """Write a difference of hours or energy with its sign; what rounds to nothing has none."""
    if value is None:
        return NONE
    return f"{value:+,.2f}" if round(value, 2) else "0.00"


def signed_money(amount: Decimal | None, currency: str | None) -> str:
    """Write a difference of money with its sign and the digits of its currency."""
    if amount is None or currency is None:
        return NONE
    value = round_money(amount, currency)
    return f"{value:+,}" if value else f"{abs(value)}"


def share(part: float | None) -> str:
    """Write a part of one as a percentage."""
    return NONE if part is None else f"{part:.0%}"


def spell_duration(lasts: timedelta) -> str:
    """Say how long something lasts: ``20 s``, ``45 m``, ``3 h 05 m``, and from two days on ``22 days``."""
    seconds = round(lasts.total_seconds())
    if seconds < 60:  # noqa: PLR2004 - seconds in a minute
        return f"{seconds} s"
    if seconds >= 2 * 86_400:
        return f"{round(seconds / 86_400)} days"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02} m" if hours else f"{minutes} m"


def count(number: int, one: str, many: str = "") -> str:
    """Say how many: ``1 night``, ``3 nights``."""
    return f"{number} {one if number == 1 else many or one + 's'}"
