"""Figures of the account: hours, energy and money, rounded for JSON and written for people."""

from __future__ import annotations

from decimal import Decimal

from config.models.site import Site
from controller.calendar.intervals import MS_PER_HOUR
from controller.energy.tariff import round_money
from controller.energy.values import J_PER_KWH

NONE = "–"


def currency_of(site: Site) -> str | None:
    """Give the currency in which energy is paid for; None where the site file names none."""
    return None if site.tariff is None else site.tariff.currency


def hours_of(lasts_ms: int) -> float:
    """Give milliseconds as hours."""
    return round(lasts_ms / MS_PER_HOUR, 6)


def kwh_of(joules: Decimal) -> float:
    """Give joules as kilowatt-hours."""
    return round(float(joules / J_PER_KWH), 6)


def money_of(amount: Decimal | None, currency: str | None) -> float | None:
    """Round an amount to the coin; None where there is no price."""
    return None if amount is None or currency is None else float(round_money(amount, currency))


def hours(value: float | None) -> str:
    """Write hours: to the hundredth, or to the tenth where there are many."""
    if value is None:
        return NONE
    return f"{value:,.1f}" if value >= 1000 else f"{value:.2f}"  # noqa: PLR2004 - four digits before the point


def kwh(value: float | None, *, at_least: bool = False) -> str:
    """Write kilowatt-hours."""
    return NONE if value is None else f"{'≥ ' if at_least else ''}{value:,.2f}"


def money(value: float | None, *, at_least: bool = False) -> str:
    """Write an amount in the site's currency."""
    return NONE if value is None else f"{'≥ ' if at_least else ''}{value:,.2f}"


def share(part: float | None) -> str:
    """Write a part of one as a percentage."""
    return NONE if part is None else f"{part:.0%}"
