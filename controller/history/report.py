"""The answer to "what was lit": chooses the periods, asks the journal, and puts the account together."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from config.errors import UnknownZoneError
from config.models.site import Site
from controller.calendar.periods import Each, Period
from controller.forecast.forecast import Forecast, forecast_input, look_ahead
from controller.history.account import account_for_past
from controller.history.lamp_wear import Wear, account_for_wear
from controller.history.nights import Bounds, bounds_of
from controller.history.query import HoursQuery, choose_periods
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.history.totals import HourSum, add_up, lifetime_sum
from controller.planning.planner import Planner


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursReport:
    """What zones did over some nights.

    Attributes:
        by: into what the nights are cut.
        rows: period by period, and in each zone by zone.
        totals: of each zone, over all periods.
        periods: of all zones, period by period.
        total: of all zones, over all periods.
        wear: lamps and relays; None where they are left out.
        is_lifetime: whether these are the totals that the journal keeps, with fewer figures.
    """

    site: Site
    tz: ZoneInfo
    by: Each
    first: date
    last: date
    bounds: Bounds
    rows: tuple[HourSum, ...]
    totals: tuple[HourSum, ...]
    periods: tuple[HourSum, ...]
    total: HourSum
    wear: Wear | None
    is_lifetime: bool

    @property
    def began_utc(self) -> datetime | None:
        """When the journal began; None while it is empty."""
        return None if self.bounds.is_empty else self.bounds.began_utc


def report_hours(
    planner: Planner,
    source: JournalSource,
    query: HoursQuery,
    *,
    now_utc: datetime,
    year: Forecast | None = None,
) -> HoursReport:
    """Report what zones did.

    ``year`` is the year to come by the present program, for lamps and relays; without it they are left out.

    Raises:
        JournalError: the journal cannot be read.
        PeriodError: no such period.
        UnknownZoneError: neither the site nor the journal knows one of the zones.
    """
    history, query = SiteHistory(planner, source.site_records()), query.named_now(planner.site)
    bounds, periods = _prepare(history, source, query, now_utc)
    rows = list(_rows(history, source, query, bounds, periods))
    by_zone: dict[str | None, list[HourSum]] = defaultdict(list)
    by_period: dict[Period | None, list[HourSum]] = defaultdict(list)
    for row in rows:
        by_zone[row.zone].append(row)
        by_period[row.period].append(row)
    return HoursReport(
        site=planner.site,
        tz=history.planner.tz,
        by=query.by,
        first=periods[0].first,
        last=periods[-1].last,
        bounds=bounds,
        rows=tuple(rows),
        totals=tuple(add_up(group, zone=zone) for zone, group in by_zone.items()),
        periods=tuple(add_up(group, period=period) for period, group in by_period.items()),
        total=HourSum() if query.is_whole_life and not rows else add_up(rows),
        wear=None if year is None else account_for_wear(planner, source, year, zones=query.zones),
        is_lifetime=query.is_whole_life,
    )


def iter_hour_rows(
    planner: Planner, source: JournalSource, query: HoursQuery, *, now_utc: datetime
) -> Iterator[HourSum]:
    """Report what zones did, row by row, each as soon as it is worked out.

    Raises:
        As ``report_hours``, at the first row.
    """
    history, query = SiteHistory(planner, source.site_records()), query.named_now(planner.site)
    bounds, periods = _prepare(history, source, query, now_utc)
    yield from _rows(history, source, query, bounds, periods)


def year_to_come(planner: Planner, now_utc: datetime) -> Forecast:
    """Work out the year to come by the present program, tonight first."""
    tonight = planner.night_at(now_utc).date
    return look_ahead(forecast_input(planner), tonight, lambda zone, night: planner.plan(zone, night).windows)


def _prepare(
    history: SiteHistory, source: JournalSource, query: HoursQuery, now_utc: datetime
) -> tuple[Bounds, list[Period]]:
    """Check the zones and choose the periods, with the journal's beginning and now as the usual ends."""
    planner = history.planner
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
    return bounds, choose_periods(query, planner, tonight=tonight, began=began)


def _rows(
    history: SiteHistory, source: JournalSource, query: HoursQuery, bounds: Bounds, periods: Sequence[Period]
) -> Iterable[HourSum]:
    if not query.is_whole_life:
        return account_for_past(history, source, periods, bounds=bounds, zones=query.zones)
    order = {zone.id: number for number, zone in enumerate(history.planner.site.zones)}
    sums = [each for each in source.totals() if not query.zones or each.zone in query.zones]
    sums.sort(key=lambda each: (order.get(each.zone, len(order)), each.zone))
    return [lifetime_sum(each, periods[0]) for each in sums]
