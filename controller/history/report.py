"""Answers to "what was lit": chooses the periods, reads the journal, and tells the account."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from api.render.hours_json import hours_as_json, life_as_json, row_as_json
from api.render.numbers import currency_of
from config.errors import UnknownZoneError
from controller.calendar.periods import Period
from controller.forecast.forecast import Forecast, look_ahead
from controller.forecast.inputs import forecast_input
from controller.history.account import account_for_past
from controller.history.lamp_wear import Wear, account_for_wear
from controller.history.nights import Bounds, bounds_of
from controller.history.query import HoursQuery, choose_periods
from controller.history.source import JournalSource
from controller.planning.planner import Planner
from controller.wiring.losses import cable_losses


def report_hours(
    planner: Planner,
    journal: JournalSource,
    ask: HoursQuery,
    *,
    now_utc: datetime,
    year: Forecast | None = None,
) -> dict[str, Any]:
    """Tell what zones did.

    Args:
        planner: the site as it is now.
        journal: its journal.
        ask: what is asked.
        now_utc: now.
        year: the year to come by the present program, for lamps and relays; these are left out without it.

    Raises:
        JournalError: the journal cannot be read.
        PeriodError: no such period.
        UnknownZoneError: neither the site nor the journal knows one of the zones.
    """
    require_zones(planner, journal, ask)
    bounds = bounds_of(journal, now_utc)
    periods = _periods_of(planner, ask, bounds)
    wired = cable_losses(planner.site)
    wear = None
    if year is not None:
        wear = _of_zones(account_for_wear(planner, journal, year, volts=wired.volts), ask.zones)
    if ask.is_whole_life:
        return life_as_json(
            planner.site,
            ask,
            periods[0],
            journal.totals(),
            bounds=bounds,
            wear=wear,
        )
    accounts = account_for_past(
        planner, journal, periods, bounds=bounds, zones=ask.zones, cable_w=wired.cable_w
    )
    return hours_as_json(planner.site, ask, periods, accounts, bounds=bounds, wear=wear)


def iter_hour_rows(
    planner: Planner, journal: JournalSource, ask: HoursQuery, *, now_utc: datetime
) -> Iterator[dict[str, Any]]:
    """Tell what zones did, row by row, each as soon as it is worked out.

    Raises:
        As ``report_hours``, at the first row.
    """
    require_zones(planner, journal, ask)
    if ask.is_whole_life:
        yield from report_hours(planner, journal, ask, now_utc=now_utc)["hours"]
        return
    currency = currency_of(planner.site)
    bounds = bounds_of(journal, now_utc)
    periods = _periods_of(planner, ask, bounds)
    accounts = account_for_past(
        planner,
        journal,
        periods,
        bounds=bounds,
        zones=ask.zones,
        cable_w=cable_losses(planner.site).cable_w,
    )
    for account in accounts:
        yield row_as_json(account, currency)


def _periods_of(planner: Planner, ask: HoursQuery, bounds: Bounds) -> list[Period]:
    """Say which periods are meant, with the journal's beginning and now as the usual ends."""
    began = None if bounds.is_empty else planner.night_at(bounds.began_utc).date
    return choose_periods(ask, planner, tonight=planner.night_at(bounds.now_utc).date, began=began)


def year_to_come(planner: Planner, now_utc: datetime) -> Forecast:
    """Work out the year to come by the present program, tonight first."""
    tonight = planner.night_at(now_utc).date
    garden = forecast_input(planner, cable_losses(planner.site).cable_w)
    return look_ahead(garden, tonight, lambda zone, night: planner.plan(zone, night).windows)


def _of_zones(wear: Wear, zones: Sequence[str]) -> Wear:
    """Keep what concerns some zones; everything where none is named."""
    return Wear(
        lamps=tuple(each for each in wear.lamps if not zones or each.life.lamps.zone in zones),
        relays=tuple(each for each in wear.relays if not zones or each.zone in zones),
    )


def require_zones(planner: Planner, journal: JournalSource, ask: HoursQuery) -> None:
    """Refuse a zone that neither the site nor the journal has; one that is gone keeps its past."""
    for zone in ask.zones:
        try:
            planner.site.zone(zone)
        except UnknownZoneError:
            if not list(journal.switchings(zone=zone, limit=1)):
                raise
