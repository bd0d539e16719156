"""The answer to "what was lit": chooses the periods, asks the journal, and puts the account together."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from config.errors import UnknownZoneError
from config.models.site import Site
from controller.calendar.periods import Each, Period
from controller.forecast.forecast import Forecast, forecast_input, look_ahead
from controller.history.account import PastLight, ZoneAccount, account_for_past, light_of_past
from controller.history.lamp_wear import Wear, account_for_wear
from controller.history.nights import Bounds, bounds_of
from controller.history.query import (
    MOST_NIGHTS_OVER_THE_WEB,
    HoursQuery,
    choose_periods,
    read_period,
)
from controller.history.source import JournalSource
from controller.history.totals import HourSum, add_up, lifetime_sum
from controller.planning.planner import Planner
from controller.records.totals import ZoneSum
from controller.wiring.losses import CableLosses, cable_losses

Key = TypeVar("Key", bound=Hashable)
_A_YEAR = timedelta(days=365)
_ONE_NIGHT = timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class HourRow:
    """What one zone did in one period."""

    period: Period
    zone: str
    hours: HourSum


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursReport:
    """What zones did over some nights.

    Attributes:
        site: the site as it is now.
        tz: its time zone.
        by: into what the nights are cut.
        first: date of the first night.
        last: date of the last night, included.
        bounds: of what the journal knows.
        rows: period by period, and in each zone by zone.
        totals: of each zone, by its id, over all periods.
        periods: of all zones, period by period.
        total: of all zones.
        wear: lamps and relays; None where nobody asked for them.
        is_lifetime: whether these are the totals that the journal keeps, with fewer figures.
    """

    site: Site
    tz: ZoneInfo
    by: Each
    first: date
    last: date
    bounds: Bounds
    rows: tuple[HourRow, ...]
    totals: Mapping[str, HourSum]
    periods: Mapping[Period, HourSum]
    total: HourSum
    wear: Wear | None
    is_lifetime: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonReport:
    """What a season's report on paper shows.

    Attributes:
        planner: the site as it is now.
        period: the season, or any other period.
        hours: the account, month by month.
        light: when zones were lit and missed over the 365 nights that end with the period.
        year_ends: the last night of the year to come.
        now_utc: now.
    """

    planner: Planner
    period: Period
    hours: HoursReport
    light: PastLight
    year_ends: date
    now_utc: datetime


def report_hours(
    planner: Planner,
    source: JournalSource,
    query: HoursQuery,
    *,
    now_utc: datetime,
    year: Forecast | None = None,
) -> HoursReport:
    """Report what zones did.

    Args:
        planner: the site as it is now.
        source: its journal.
        query: what is asked.
        now_utc: now.
        year: the year to come by the present program, for lamps and relays; without it they are left out.

    Raises:
        JournalError: the journal cannot be read.
        PeriodError: no such period.
        UnknownZoneError: neither the site nor the journal knows one of the zones.
    """
    bounds, periods, losses = _prepare(planner, source, query, now_utc)
    if query.is_whole_life:
        sums = _lifetime(planner, source, query)
        total = lifetime_sum(sums)
        totals, by_period = {each.zone: lifetime_sum([each]) for each in sums}, {periods[0]: total}
        rows = [HourRow(period=periods[0], zone=zone, hours=hours) for zone, hours in totals.items()]
    else:
        accounts = list(
            account_for_past(
                planner, source, periods, bounds=bounds, zones=query.zones, cable_w=losses.cable_w
            )
        )
        rows, total = [_row(account) for account in accounts], add_up(accounts)
        totals = _add_up_by(accounts, lambda account: account.hours.zone)
        by_period = _add_up_by(accounts, lambda account: account.hours.period)
    wear = None if year is None else account_for_wear(planner, source, year, volts=losses.volts)
    return HoursReport(
        site=planner.site,
        tz=planner.tz,
        by=query.by,
        first=periods[0].first,
        last=periods[-1].last,
        bounds=bounds,
        rows=tuple(rows),
        totals=totals,
        periods=by_period,
        total=total,
        wear=None if wear is None else _of_zones(wear, query.zones),
        is_lifetime=query.is_whole_life,
    )


def iter_hour_rows(
    planner: Planner, source: JournalSource, query: HoursQuery, *, now_utc: datetime
) -> Iterator[HourRow]:
    """Report what zones did, row by row, each as soon as it is worked out.

    Raises:
        As ``report_hours``, at the first row.
    """
    if query.is_whole_life:
        yield from report_hours(planner, source, query, now_utc=now_utc).rows
        return
    bounds, periods, losses = _prepare(planner, source, query, now_utc)
    zones, cable_w = query.zones, losses.cable_w
    for account in account_for_past(planner, source, periods, bounds=bounds, zones=zones, cable_w=cable_w):
        yield _row(account)


def report_season(
    planner: Planner, source: JournalSource, text: str, *, now_utc: datetime, year: Forecast
) -> SeasonReport:
    """Report a season.

    Args:
        planner: the site as it is now.
        source: its journal.
        text: a season by the year in which it begins, a month, a night, or two nights joined by "to".
        now_utc: now.
        year: the year to come by the present program, for the lamps.

    Raises:
        PeriodError: no such period.
        JournalError: the journal cannot be read.
    """
    period = read_period(text, planner)
    query = HoursQuery(by=Each.MONTH, period=text, most_nights=MOST_NIGHTS_OVER_THE_WEB)
    hours = report_hours(planner, source, query, now_utc=now_utc, year=year)
    first = period.last - _A_YEAR + _ONE_NIGHT
    return SeasonReport(
        planner=planner,
        period=period,
        hours=hours,
        light=light_of_past(planner, source, first, period.last, bounds=hours.bounds),
        year_ends=year.period.last,
        now_utc=now_utc,
    )


def year_to_come(planner: Planner, now_utc: datetime) -> Forecast:
    """Work out the year to come by the present program, tonight first."""
    tonight = planner.night_at(now_utc).date
    inputs = forecast_input(planner, cable_losses(planner.site).cable_w)
    return look_ahead(inputs, tonight, lambda zone, night: planner.plan(zone, night).windows)


def _prepare(
    planner: Planner, source: JournalSource, query: HoursQuery, now_utc: datetime
) -> tuple[Bounds, list[Period], CableLosses]:
    """Check the zones and choose the periods, with the journal's beginning and now as the usual ends."""
    for zone in query.zones:
        try:
            planner.site.zone(zone)
        except UnknownZoneError:
            # A zone that is gone keeps its past.
            if not list(source.switchings(zone=zone, limit=1)):
                raise
    bounds = bounds_of(source, now_utc)
    began = None if bounds.is_empty else planner.night_at(bounds.began_utc).date
    tonight = planner.night_at(bounds.now_utc).date
    periods = choose_periods(query, planner, tonight=tonight, began=began)
    return bounds, periods, cable_losses(planner.site)


def _add_up_by(accounts: Iterable[ZoneAccount], key: Callable[[ZoneAccount], Key]) -> dict[Key, HourSum]:
    """Add up the accounts of each zone, or of each period."""
    groups: dict[Key, list[ZoneAccount]] = {}
    for account in accounts:
        groups.setdefault(key(account), []).append(account)
    return {each: add_up(group) for each, group in groups.items()}


def _row(account: ZoneAccount) -> HourRow:
    """Make the row of one account."""
    return HourRow(period=account.hours.period, zone=account.hours.zone, hours=add_up([account]))


def _lifetime(planner: Planner, source: JournalSource, query: HoursQuery) -> list[ZoneSum]:
    """Give the journal's totals: the zones of the site in their order, then those that are gone."""
    order = {zone.id: number for number, zone in enumerate(planner.site.zones)}
    sums = [each for each in source.totals() if not query.zones or each.zone in query.zones]
    return sorted(sums, key=lambda each: (order.get(each.zone, len(order)), each.zone))


def _of_zones(wear: Wear, zones: Sequence[str]) -> Wear:
    """Keep what concerns some zones; everything where none is named."""
    return Wear(
        lamps=tuple(each for each in wear.lamps if not zones or each.lamps.zone in zones),
        relays=tuple(each for each in wear.relays if not zones or each.zone in zones),
    )
