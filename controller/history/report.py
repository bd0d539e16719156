"""The answer to "what was lit": chooses the periods, asks the journal, and puts the account together."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import chain, groupby
from zoneinfo import ZoneInfo

from config.errors import UnknownZoneError
from config.models.site import Site
from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.periods import Each, Period
from controller.forecast.forecast import Forecast, forecast_input, look_ahead
from controller.history.account import (
    AccountInput,
    Step,
    account_in_steps,
    zones_in,
)
from controller.history.comparison import beside_forecast, beside_year_earlier
from controller.history.lamp_wear import Wear, account_for_wear
from controller.history.nights import Bounds, bounds_of
from controller.history.query import Beside, HoursQuery, choose_nights, cut
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.history.totals import HourSum, add_up
from controller.history.work import Task, find_attention
from controller.planning.planner import Planner

_LEAP_YEAR_MS = 367 * 24 * MS_PER_HOUR


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursHead:
    """What is known of an account before any of its rows.

    Attributes:
        by: into what the nights are cut.
        beside: what stands beside each period.
        wear: lamps and relays; None where they are left out.
        attention: what wants attention now; nothing where lamps and relays are left out.
    """

    site: Site
    tz: ZoneInfo
    by: Each
    beside: frozenset[Beside]
    first: date
    last: date
    bounds: Bounds
    wear: Wear | None
    attention: tuple[Task, ...]

    @property
    def began_utc(self) -> datetime | None:
        """When the journal began; None while it is empty."""
        return None if self.bounds.is_empty else self.bounds.began_utc


class HoursStream:
    """What zones did over some nights, however many: rows that pass once, and their totals after the last.

    Args:
        steps: the account; see ``account_in_steps``.
    """

    def __init__(self, head: HoursHead, steps: Iterator[Step]) -> None:
        self.head = head
        self._steps = steps
        self._totals: dict[str | None, HourSum] = {}

    def batches(self) -> Iterator[list[HourSum]]:
        """Give the rows that each step of work completed, which may be none.

        Raises:
            JournalError: the journal cannot be read.
        """
        for step in self._steps:
            rows = list(chain.from_iterable(step.values()))
            by_zone: dict[str | None, list[HourSum]] = defaultdict(list)
            for row in rows:
                by_zone[row.zone].append(row)
            for zone, some in by_zone.items():
                before = self._totals.get(zone)
                self._totals[zone] = add_up([before, *some] if before else some, zone=zone)
            yield rows

    @property
    def totals(self) -> tuple[HourSum, ...]:
        """The sums of each zone over the rows that have passed."""
        return tuple(self._totals.values())

    @property
    def total(self) -> HourSum:
        """The sum of all zones over the rows that have passed."""
        return add_up(self.totals)


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursReport:
    """What zones did over some nights, all at once.

    Attributes:
        rows: period by period, and in each zone by zone.
        totals: of each zone, over all periods.
        periods: of all zones, period by period.
        total: of all zones, over all periods.
    """

    head: HoursHead
    rows: tuple[HourSum, ...]
    totals: tuple[HourSum, ...]
    periods: tuple[HourSum, ...]
    total: HourSum


def stream_hours(
    planner: Planner,
    source: JournalSource,
    query: HoursQuery,
    *,
    now_utc: datetime,
    year: Forecast | None = None,
    with_nights: bool = False,
) -> HoursStream:
    """Report what zones did, in steps that take no more memory the more nights there are.

    ``year`` is the year to come by the present program, for lamps and relays; without it they are left out.
    ``with_nights`` keeps the dates on which light was planned and missed.

    Raises:
        JournalError: the journal cannot be read.
        PeriodError: no such period.
        UnknownZoneError: neither the site nor the journal knows one of the zones.
    """
    history, query = SiteHistory(planner, source.site_records()), query.named_now(planner.site)
    past = history.planner
    for zone in query.zones:
        try:
            past.site.zone(zone)
        except UnknownZoneError:
            # A zone that is gone keeps its past.
            if not list(source.switchings(zone=zone, limit=1)):
                raise
    bounds = bounds_of(history, source, now_utc)
    began = None if bounds.is_empty else past.night_at(bounds.began_utc).date
    tonight = past.night_at(bounds.now_utc).date
    whole = choose_nights(query, past, tonight=tonight, began=began)
    within = whole.interval
    if Beside.LAST_YEAR in query.beside:
        within = (within[0] - _LEAP_YEAR_MS, within[1])
    inputs = AccountInput(
        history=history,
        source=source,
        bounds=bounds,
        known=zones_in(history, source, within),
        zones=query.zones,
    )
    wear = None if year is None else account_for_wear(planner, source, year, zones=query.zones)
    head = HoursHead(
        site=past.site,
        tz=past.tz,
        by=query.by,
        beside=query.beside,
        first=whole.first,
        last=whole.last,
        bounds=bounds,
        wear=wear,
        attention=() if wear is None else find_attention(inputs, wear, tonight),
    )

    def periods() -> Iterator[Period]:
        return cut(whole, query, past)

    steps = account_in_steps(inputs, periods(), with_nights=with_nights)
    if Beside.LAST_YEAR in query.beside:
        steps = beside_year_earlier(inputs, periods(), steps)
    if Beside.FORECAST in query.beside:
        steps = beside_forecast(inputs, periods(), steps)
    return HoursStream(head, steps)


def report_hours(
    planner: Planner,
    source: JournalSource,
    query: HoursQuery,
    *,
    now_utc: datetime,
    year: Forecast | None = None,
) -> HoursReport:
    """Report what zones did, all at once, with the dates on which light was missed: see ``stream_hours``."""
    stream = stream_hours(planner, source, query, now_utc=now_utc, year=year, with_nights=True)
    rows = tuple(chain.from_iterable(stream.batches()))
    return HoursReport(
        head=stream.head,
        rows=rows,
        totals=stream.totals,
        periods=tuple(add_up(some, period=period) for period, some in groupby(rows, lambda row: row.period)),
        total=stream.total,
    )


def year_to_come(planner: Planner, now_utc: datetime) -> Forecast:
    """Work out the year to come by the present program, tonight first."""
    tonight = planner.night_at(now_utc).date
    return look_ahead(forecast_input(planner), tonight, lambda zone, night: planner.plan(zone, night).windows)
