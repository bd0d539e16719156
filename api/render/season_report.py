"""The printable report of a season: what ran, what it took, what was missed and why, which lamps are due."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup

from api.render.jinja import render
from api.render.numbers import hours, kwh, money, share
from api.render.tables import count
from api.render.year_svg import lay_out_past, write_svg
from controller.calendar.periods import Each, Period, Season, season_words
from controller.forecast.forecast import Forecast
from controller.history.account import light_of_past
from controller.history.nights import bounds_of
from controller.history.query import MOST_NIGHTS_OVER_THE_WEB, HoursQuery, read_period
from controller.history.report import report_hours
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner

_A_YEAR = timedelta(days=365)
_ONE_NIGHT = timedelta(days=1)
_WIDE_PX, _NARROW_PX = 1000, 380
# From here on lamps are due: this much of their life is behind them, or they end within the year to come.
_NEARLY_USED = 0.9


@dataclass(frozen=True, kw_only=True, slots=True)
class _Words:
    """Writes dates and instants of one site."""

    tz: ZoneInfo

    def day(self, iso: str | date) -> str:
        """Write a date."""
        day = date.fromisoformat(iso) if isinstance(iso, str) else iso
        return f"{day.day} {day:%B %Y}"

    def instant(self, iso: str) -> str:
        """Write an instant in local time."""
        at = datetime.fromisoformat(iso).astimezone(self.tz)
        return f"{at:%H:%M} on {at.day} {at:%B %Y}"


def write_report(
    planner: Planner, journal: JournalReader, text: str, *, now_utc: datetime, year: Forecast
) -> str:
    """Write the report of a period as a page of HTML.

    Args:
        planner: the site as it is now.
        journal: its journal.
        text: a season by the year in which it begins, a month, a night, or two nights joined by "to".
        now_utc: now.
        year: the year to come by the present program, for the lamps.

    Raises:
        PeriodError: no such period.
        JournalError: the journal cannot be read.
    """
    site, tz = planner.site, planner.tz
    period = read_period(text, planner)
    ask = HoursQuery(by=Each.MONTH, period=text, most_nights=MOST_NIGHTS_OVER_THE_WEB)
    answer = report_hours(planner, journal, ask, now_utc=now_utc, year=year)
    words = _Words(tz=tz)
    names = {zone.id: zone.name for zone in site.zones}
    tonight = planner.night_at(now_utc).date
    return render(
        "report.html",
        site=site,
        title=_title(period, site.latitude_deg),
        first=words.day(period.first),
        last=words.day(period.last),
        nights=count(period.nights, "night"),
        printed=words.day(now_utc.astimezone(tz).date()),
        unfinished=period.last >= tonight,
        answer=answer,
        names=names,
        months=_by_month(answer) if len({row["period"] for row in answer["hours"]}) > 1 else [],
        missed=_missed(answer, names, words),
        planned=any(row["planned_h"] for row in answer["hours"]),
        lamps=[_lamp(lamp, names, words, year) for lamp in answer["lamps"]],
        worn=[relay for relay in answer["relays"] if relay["used"] >= _NEARLY_USED],
        since=None if answer["journal_since"] is None else words.instant(answer["journal_since"]),
        pictures=_pictures(planner, journal, period, now_utc),
        hours=hours,
        kwh=kwh,
        money=money,
        share=share,
    )


def _title(period: Period, latitude_deg: float) -> str:
    """Name a period to a person."""
    if match := re.fullmatch(r"(\d{4})-([a-z]+)", period.name):
        words = season_words(int(match[1]), Season(match[2]), latitude_deg=latitude_deg)
        return f"{words[0].upper()}{words[1:]}"
    if re.fullmatch(r"\d{4}-\d{2}", period.name):
        return f"{period.first:%B %Y}"
    return "Night" if period.nights == 1 else "Nights"


def _by_month(answer: dict[str, Any]) -> list[dict[str, Any]]:
    """Add up the zones of each month."""
    months: dict[str, dict[str, Any]] = {}
    for row in answer["hours"]:
        names = ("lit_h", "missed_h", "daylight_h", "starts", "meter_kwh", "cost_unrounded")
        month = months.setdefault(row["period"], {"at_least": False, **dict.fromkeys(names, 0)})
        for name in names:
            month[name] += row[name] or 0
        month["at_least"] = month["at_least"] or row["at_least"]
    return [{"name": f"{date.fromisoformat(f'{name}-01'):%B %Y}", **month} for name, month in months.items()]


def _missed(answer: dict[str, Any], names: dict[str, str], words: _Words) -> list[dict[str, Any]]:
    """Say zone by zone what was missed and why."""
    rows = []
    for row in answer["totals"]:
        if not row["missed"]:
            continue
        gap = row["longest_dark_gap"]
        rows.append(
            {
                "zone": names.get(row["zone"], row["zone"]),
                "planned_h": row["planned_h"],
                "missed_h": row["missed_h"],
                "reasons": [
                    {"why": part["why"] or "unexplained", "hours": part["hours"]} for part in row["missed"]
                ],
                "longest": f"{hours(gap['hours'])} h from {words.instant(gap['from'])}",
                "longest_why": gap["why"] or "unexplained",
            }
        )
    return rows


def _lamp(lamp: dict[str, Any], names: dict[str, str], words: _Words, year: Forecast) -> dict[str, Any]:
    """Say of the lamps of one fixture what somebody with a ladder wants to know."""
    about = lamp["replace_about"]
    due = (lamp["used"] or 0) >= _NEARLY_USED or (
        about is not None and date.fromisoformat(about) <= year.period.last
    )
    return {
        **lamp,
        "zone_name": names.get(lamp["zone"], lamp["zone"]),
        "since": "not known" if lamp["since"] is None else words.day(lamp["since"]),
        "due": due,
    }


def _pictures(
    planner: Planner, journal: JournalReader, period: Period, now_utc: datetime
) -> Sequence[Markup]:
    """Draw the year that ends with the period, for paper and wide screens, and for a phone."""
    first = period.last - _A_YEAR + _ONE_NIGHT
    light = light_of_past(planner, journal, first, period.last, bounds=bounds_of(journal, now_utc))
    laid_out = lay_out_past(planner, first, period.last, light, now_utc=now_utc)
    return [
        # What is drawn has been escaped by its own template.
        Markup(write_svg(laid_out, width_px=width_px, key=key, compact=key == "wide"))  # noqa: S704
        for width_px, key in ((_WIDE_PX, "wide"), (_NARROW_PX, "narrow"))
    ]
