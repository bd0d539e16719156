"""The clerk of hours: answers over the web what was lit, what that cost, and what is worn; draws and reports.

All of it may take a while, so it has a planner of its own and holds up no other clerk. The year to come is
worked out once a night.
"""

from __future__ import annotations

import threading
from concurrent.futures import CancelledError
from datetime import date, timedelta
from typing import Any

from api.render.instants import instant_text
from api.render.season_report import write_report
from api.render.year_svg import draw_future, lay_out_past, write_svg
from api.web.context import Clerk
from api.web.problems.handlers import NO_ANSWER, refuse
from api.web.schemas.hours import ReplacementAnswer, ReplacementsAnswer
from api.web.schemas.hours_requests import HoursParams, PictureQuery, ReplacementAsk
from config.errors import PeriodError
from config.models.site import Site
from controller.calendar.periods import Each
from controller.forecast.forecast import Forecast
from controller.forecast.year import YearQuery, forecast_year
from controller.history.account import PastLight, light_of_past
from controller.history.nights import bounds_of
from controller.history.query import MOST_NIGHTS_OVER_THE_WEB, HoursQuery
from controller.history.replacements import require_replaced
from controller.history.report import report_hours, year_to_come
from controller.planning.planner import Planner
from controller.records.entries import Replacement

_A_YEAR = timedelta(days=365)
_ONE_NIGHT = timedelta(days=1)


class HoursClerk:
    """Answers from one journal.

    Args:
        clerk: knows the desk, and what time it is.
    """

    def __init__(self, clerk: Clerk) -> None:
        """Sit down beside the others."""
        self._clerk = clerk
        self._lock = threading.Lock()
        self._planner: Planner | None = None
        self._year: tuple[Site, date, Forecast] | None = None

    def hours(self, query: HoursParams) -> dict[str, Any]:
        """Say what zones did.

        Raises:
            JournalError: the journal cannot be read now.
            UnknownZoneError: neither the site nor the journal knows the zone.
        """
        ask = HoursQuery(
            by=Each(query.by),
            period=query.period,
            first=query.from_date,
            last=query.to_date,
            zones=() if query.zone is None else (query.zone,),
            most_nights=MOST_NIGHTS_OVER_THE_WEB,
        )
        now_utc = self._clerk.now().utc
        with self._lock:
            planner = self._fresh_planner()
            try:
                return report_hours(
                    planner,
                    self._clerk.desk.journal,
                    ask,
                    now_utc=now_utc,
                    year=self._year_to_come(planner),
                )
            except PeriodError as error:
                parameter = "period" if query.period is not None else "to"
                raise _no_period(error, parameter) from error

    def report(self, period: str) -> str:
        """Write the printable report of a season, or of any other period.

        Raises:
            JournalError: the journal cannot be read now.
        """
        with self._lock:
            planner = self._fresh_planner()
            try:
                return write_report(
                    planner,
                    self._clerk.desk.journal,
                    period,
                    now_utc=self._clerk.now().utc,
                    year=self._year_to_come(planner),
                )
            except PeriodError as error:
                raise _no_period(error, "season") from error

    def picture(self, query: PictureQuery) -> str:
        """Draw 365 nights, as they were or as they will be.

        Raises:
            JournalError: the journal cannot be read now.
            UnknownZoneError: no zone has that id.
        """
        with self._lock:
            planner = self._fresh_planner()
            tonight = self._tonight(planner)
            zones = () if query.zone is None else (planner.site.zone(query.zone).id,)
            if query.kind == "future":
                ask = YearQuery(first=query.from_date or tonight, zones=zones)
                return draw_future(forecast_year(planner, ask), width_px=query.width)
            first = query.from_date or tonight - _A_YEAR + _ONE_NIGHT
            last = first + _A_YEAR - _ONE_NIGHT
            now_utc = self._clerk.now().utc
            journal = self._clerk.desk.journal
            light = light_of_past(planner, journal, first, last, bounds=bounds_of(journal, now_utc))
            if zones:
                light = PastLight(
                    lit={zone: light.lit[zone] for zone in zones},
                    missed={zone: light.missed[zone] for zone in zones},
                )
            laid_out = lay_out_past(planner, first, last, light, now_utc=now_utc)
            return write_svg(laid_out, width_px=query.width)

    def replace(self, ask: ReplacementAsk) -> ReplacementAnswer:
        """Take down that lamps were replaced.

        Raises:
            TimeoutError: the keeper did not answer.
            UnknownZoneError: no zone has that id.
        """
        desk, now = self._clerk.desk, self._clerk.now()
        zone = desk.site.zone(ask.zone)
        today = now.utc.astimezone(desk.planner.tz).date()
        on_date = ask.on or today
        try:
            require_replaced(zone, ask.fixture, on_date, today)
        except ValueError as error:
            parameter = "/on" if on_date > today else "/fixture"
            errors = [{"detail": str(error), "pointer": f"#{parameter}"}]
            raise refuse("invalid-request", str(error), errors=errors) from error
        entry = Replacement(zone=zone.id, fixture=ask.fixture, on_date=on_date, at=now, note=ask.note)
        try:
            desk.record(entry)
        except CancelledError as error:
            raise TimeoutError(NO_ANSWER) from error
        return _show(entry)

    def replacements(self, zone: str | None) -> ReplacementsAnswer:
        """List lamps that were replaced, in the order of their days.

        Raises:
            JournalError: the journal cannot be read now.
        """
        desk = self._clerk.desk
        found = [_show(each) for each in desk.journal.replacements(zone)]
        if zone is not None and not found:
            desk.site.zone(zone)
        return ReplacementsAnswer(site=desk.site.name, replacements=found)

    def _fresh_planner(self) -> Planner:
        """Give a planner of the site as it is kept now."""
        theirs, ours = self._clerk.desk.planner, self._planner
        if ours is None or ours.site is not theirs.site or ours.tz is not theirs.tz:
            ours = self._planner = Planner(theirs.site, tz=theirs.tz)
            self._year = None
        return ours

    def _year_to_come(self, planner: Planner) -> Forecast:
        """Give the year to come, worked out once a night."""
        tonight = self._tonight(planner)
        if self._year is None or self._year[:2] != (planner.site, tonight):
            self._year = planner.site, tonight, year_to_come(planner, self._clerk.now().utc)
        return self._year[2]

    def _tonight(self, planner: Planner) -> date:
        """Name the night that holds now."""
        return planner.night_at(self._clerk.now().utc).date


def _no_period(error: PeriodError, parameter: str) -> Exception:
    """Refuse what is no period."""
    return refuse("invalid-request", str(error), errors=[{"detail": str(error), "parameter": parameter}])


def _show(entry: Replacement) -> ReplacementAnswer:
    """Show lamps that were replaced."""
    return ReplacementAnswer(
        zone=entry.zone,
        fixture=entry.fixture,
        on=entry.on_date.isoformat(),
        note=entry.note,
        at=instant_text(entry.at.utc),
    )
