"""The report of a season: its account month by month, its outages, its lamps at the end, the work to do."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from controller.calendar.periods import Each, Period, Season
from controller.forecast.forecast import Forecast
from controller.history.account import PastLight, light_of_past
from controller.history.dark_nights import Outage, outages_of
from controller.history.lamp_wear import Wear, account_for_wear
from controller.history.query import MOST_NIGHTS_ON_PAPER, Beside, HoursQuery, read_period
from controller.history.report import HoursReport, report_hours, stream_hours
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.history.work import Task, find_tasks, usual_work
from controller.planning.planner import Planner

_A_YEAR = timedelta(days=365)
_ONE_NIGHT = timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonReport:
    """What a season's report on paper shows.

    Attributes:
        planner: of the site as it is now, in the time zone of the time.
        last: the last night with figures: the period's own, or tonight.
        is_over: whether the period is.
        hours: the account, month by month, with the year before beside each month of which there is a record.
        outages: on which nights light was missed, and why.
        wear: lamps and relays as they stood at the end of the last night, or as they are now.
        due_before: a year from then on.
        tasks: what the figures ask for.
        usual_work: what is usually done at that time of the year.
        light: when zones were lit and missed over the 365 nights that end with the period.
        now_utc: when the report is made; the journal may know of later, from a board whose clock is ahead.
    """

    planner: Planner
    period: Period
    last: date
    is_over: bool
    hours: HoursReport
    outages: tuple[Outage, ...]
    wear: Wear
    due_before: date
    tasks: tuple[Task, ...]
    usual_work: tuple[str, ...]
    light: PastLight
    now_utc: datetime

    @property
    def compared(self) -> list[Period]:
        """The months that have begun and can be compared with the year before, in order."""
        compared = [row for row in self.hours.periods if row.year_earlier is not None]
        return [row.period for row in compared if row.period is not None and row.period.first <= self.last]


def report_season(
    planner: Planner, source: JournalSource, text: str, *, now_utc: datetime, year: Forecast
) -> SeasonReport:
    """Report a season, or any other period.

    ``year`` is a year of the present program, for what lamps and relays come to after the season.

    Raises:
        JournalError: the journal cannot be read.
        PeriodError: no such period.
    """
    history = SiteHistory(planner, source.site_records())
    period = read_period(text, history.planner)
    hours = report_hours(planner, source, _query(text), now_utc=now_utc)
    bounds = hours.head.bounds
    tonight = history.planner.night_at(bounds.now_utc).date
    is_over = period.ends_at_utc <= bounds.now_utc
    last = min(period.last, tonight)
    light = light_of_past(history, source, period.last - _A_YEAR + _ONE_NIGHT, period.last, bounds=bounds)
    wear = account_for_wear(planner, source, year, until=period.last if is_over else None)
    if is_over:
        wear = _of_known_zones(wear, source, period)
    outages = outages_of(hours.rows)
    due_before = last + _A_YEAR
    return SeasonReport(
        planner=history.planner,
        period=period,
        last=last,
        is_over=is_over,
        hours=hours,
        outages=outages,
        wear=wear,
        due_before=due_before,
        tasks=find_tasks(planner.site, hours.totals, outages, wear, due_before=due_before),
        usual_work=usual_work(season_in(period)),
        light=light,
        now_utc=now_utc,
    )


def require_season(planner: Planner, source: JournalSource, text: str, *, now_utc: datetime) -> None:
    """Raise as ``report_season`` does where there is no such report, without working it out."""
    stream_hours(planner, source, _query(text), now_utc=now_utc)


def _query(text: str) -> HoursQuery:
    beside = frozenset({Beside.LAST_YEAR})
    return HoursQuery(by=Each.MONTH, period=text, beside=beside, most_nights=MOST_NIGHTS_ON_PAPER)


def season_in(period: Period) -> Season | None:
    """Say which season a period is; None where it is another stretch of nights."""
    match = re.fullmatch(r"\d{4}-([a-z]+)", period.name)
    return Season(match[1]) if match else None


def _of_known_zones(wear: Wear, source: JournalSource, period: Period) -> Wear:
    """Leave out zones that the journal was told of after a period."""
    began = source.zones_began()
    known = {zone for zone, at_utc in began.items() if at_utc < period.ends_at_utc}
    return Wear(
        lamps=tuple(each for each in wear.lamps if each.lamps.zone in known),
        relays=tuple(each for each in wear.relays if each.zone in known),
    )
