"""Periods to account for: a night, a month, a season, a year, or any stretch of nights, half-open in UTC.

Every period is made of whole nights, so its edges are local noons and nothing falls between two periods. A
month is the nights named in it, and so is a year: the night of 30 June, with its 01:30 on 1 July, is June's.

Seasons are meteorological quarters of whole months (World Meteorological Organization practice): in the
northern hemisphere winter is December to February, in the southern one June to August; the equator counts as
north. A season is named by the year in which it begins: the northern winter of December 2027 to February 2028
is one season, ``2027-winter``, and is read to a person as "winter 2027/28".
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import MINYEAR, UTC, date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from config.errors import PeriodError
from config.phrase import Phrase
from controller.calendar.intervals import Interval, ms_of
from controller.calendar.night import local, night_at, night_on, utc_of_local

_ONE_DAY = timedelta(days=1)
_EXAMPLES = Phrase("2027-06-21, 2027-06, 2027-winter, 2027 or 2027-12-01 to 2028-02-29")


class Season(StrEnum):
    """A meteorological quarter of the year."""

    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"
    WINTER = "winter"


class Each(StrEnum):
    """Into what a stretch of nights is cut."""

    NIGHT = "night"
    MONTH = "month"
    SEASON = "season"
    YEAR = "year"
    WHOLE = "whole"


_MONTHS = 12
_QUARTER = 3
# Counted from the quarter that holds January of a year.
_NORTH = (Season.WINTER, Season.SPRING, Season.SUMMER, Season.AUTUMN)
_SOUTH = (Season.SUMMER, Season.AUTUMN, Season.WINTER, Season.SPRING)


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """A stretch of whole nights.

    Attributes:
        name: as a person or a program writes it: ``2027-06-21``, ``2027-06``, ``2027-winter``, ``2027``,
            ``2027-12-01 to 2028-02-29``.
        first: date of the first night.
        last: date of the last night, included.
        ends_at_utc: the noon after the last night, or earlier for a part of one: see ``up_to``.
    """

    name: str
    first: date
    last: date
    starts_at_utc: datetime
    ends_at_utc: datetime

    def __post_init__(self) -> None:
        if self.starts_at_utc.tzinfo is not UTC or self.ends_at_utc.tzinfo is not UTC:
            raise ValueError(f"a period begins and ends in UTC, got {self.starts_at_utc!r}")
        if self.last < self.first:
            raise ValueError(
                Phrase(
                    "a period from {first} to {last} ends before it begins",
                    first=str(self.first),
                    last=str(self.last),
                )
            )

    @property
    def interval(self) -> Interval:
        """The same in milliseconds since 1970."""
        return ms_of(self.starts_at_utc), ms_of(self.ends_at_utc)

    @property
    def nights(self) -> int:
        """How many nights it has."""
        return (self.last - self.first).days + 1


def stretch_of_nights(first: date, last: date, tz: ZoneInfo, *, name: str = "") -> Period:
    """Give the period from one night to another, both included.

    Raises:
        ValueError: the last night is before the first.
    """
    return Period(
        name=name or (f"{first}" if first == last else f"{first} to {last}"),
        first=first,
        last=last,
        starts_at_utc=night_on(first, tz).starts_at_utc,
        ends_at_utc=night_on(last, tz).ends_at_utc,
    )


def month_of(year: int, month: int, tz: ZoneInfo) -> Period:
    """Give the nights named in a calendar month.

    Raises:
        ValueError: no such month.
    """
    first = date(year, month, 1)
    return stretch_of_nights(first, _last_date(_month_index(first)), tz, name=f"{first:%Y-%m}")


def year_of(year: int, tz: ZoneInfo) -> Period:
    """Give the nights named in a calendar year.

    Raises:
        ValueError: no such year.
    """
    return stretch_of_nights(date(year, 1, 1), date(year, _MONTHS, 31), tz, name=f"{year:04d}")


def season_of(year: int, season: Season, tz: ZoneInfo, *, latitude_deg: float) -> Period:
    """Give the season that begins in a year; the sign of the latitude gives the hemisphere."""
    seasons = _seasons(latitude_deg)
    quarter = seasons.index(season) or len(seasons)  # the one around New Year begins in December
    first_month = year * _MONTHS + quarter * _QUARTER - 1
    first = _first_date(first_month)
    return stretch_of_nights(first, _last_date(first_month + _QUARTER - 1), tz, name=f"{year:04d}-{season}")


def season_at(night: date, latitude_deg: float) -> tuple[int, Season]:
    """Name the season that a night belongs to: the year in which it begins, and the quarter."""
    quarter = (_month_index(night) + 1) // _QUARTER
    seasons = _seasons(latitude_deg)
    return (quarter * _QUARTER - 1) // _MONTHS, seasons[quarter % len(seasons)]


def parse_period(text: str, tz: ZoneInfo, *, latitude_deg: float) -> Period:
    """Read a period: a night, a month, a season by its first year, a year, or two nights joined by "to".

    Raises:
        PeriodError: the text is none of these; it is quoted, with examples.
    """
    words = text.strip()
    try:
        if match := re.fullmatch(r"(\d{4})-([a-z]+)", words):
            return season_of(int(match[1]), _read_season(match[2]), tz, latitude_deg=latitude_deg)
        if match := re.fullmatch(r"(\d{4})-(\d{2})", words):
            return month_of(int(match[1]), int(match[2]), tz)
        if re.fullmatch(r"\d{4}", words):
            return year_of(int(words), tz)
        first, joined, last = words.partition(" to ")
        from_night = _read_date(first)
        return stretch_of_nights(from_night, _read_date(last) if joined else from_night, tz)
    except ValueError as fault:
        what = Phrase(
            "“{text}” is not a period ({why}); write {examples}",
            text=text,
            why=str(fault),
            examples=_EXAMPLES,
        )
        raise PeriodError(what) from fault


def _read_season(word: str) -> Season:
    if word not in tuple(Season):
        raise ValueError(Phrase("a season is spring, summer, autumn or winter"))
    return Season(word)


def _read_date(text: str) -> date:
    """Read YYYY-MM-DD only; ``fromisoformat`` also takes calendar weeks and missing hyphens."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip()):
        raise ValueError(Phrase("not a date"))
    return date.fromisoformat(text.strip())


def iter_split(period: Period, each: Each, tz: ZoneInfo, *, latitude_deg: float) -> Iterator[Period]:
    """Cut a period into nights, months, seasons or years; each begins at the instant at which another ends.

    A month, season or year that reaches beyond the period is cut at its edge and keeps its name.
    """
    if each is Each.WHOLE:
        yield period
        return
    first = period.first
    while first <= period.last:
        if each is Each.NIGHT:
            name, last = f"{first}", first
        elif each is Each.MONTH:
            name, last = f"{first:%Y-%m}", _last_date(_month_index(first))
        elif each is Each.YEAR:
            name, last = f"{first:%Y}", first.replace(month=_MONTHS, day=31)
        else:
            whole = season_of(*season_at(first, latitude_deg), tz, latitude_deg=latitude_deg)
            name, last = whole.name, whole.last
        last = min(last, period.last)
        yield stretch_of_nights(first, last, tz, name=name)
        first = last + _ONE_DAY


def split(period: Period, each: Each, tz: ZoneInfo, *, latitude_deg: float) -> tuple[Period, ...]:
    """Cut a period at once: see ``iter_split``."""
    return tuple(iter_split(period, each, tz, latitude_deg=latitude_deg))


def cut_into(period: Period, most_nights: int, tz: ZoneInfo) -> Iterator[Period]:
    """Cut a period into pieces of at most so many nights, which keep its name and tile it."""
    first = period.first
    while first + most_nights * _ONE_DAY <= period.last:
        last = first + (most_nights - 1) * _ONE_DAY
        yield stretch_of_nights(first, last, tz, name=period.name)
        first = last + _ONE_DAY
    starts_at_utc = period.starts_at_utc if first == period.first else night_on(first, tz).starts_at_utc
    yield replace(period, first=first, starts_at_utc=starts_at_utc)


def up_to(period: Period, at_utc: datetime, tz: ZoneInfo) -> Period | None:
    """Cut a period at an instant, in the middle of a night if need be; None where it begins later."""
    if at_utc >= period.ends_at_utc:
        return period
    if at_utc <= period.starts_at_utc:
        return None
    return replace(period, last=night_at(at_utc, tz).date, ends_at_utc=at_utc)


def year_earlier(period: Period, tz: ZoneInfo, *, latitude_deg: float) -> Period | None:
    """Give the same period a year earlier: the same month, season or year, or the nights of the same dates.

    A part of a month, season or year is compared with the same dates. 29 February has no counterpart, except
    in a whole February, season or year.

    Returns:
        None where there is no such date or year.
    """
    if period.first.year <= MINYEAR:
        return None
    first, last = _year_before(period.first, leap_day=_FIRST_OF_MARCH), _year_before(period.last)
    if last < first:
        return None
    if not re.fullmatch(r"\d{4}(-[a-z]+|-\d{2})?", period.name):
        return stretch_of_nights(first, last, tz)
    name = f"{int(period.name[:4]) - 1:04d}{period.name[4:]}"
    if period.last == parse_period(period.name, tz, latitude_deg=latitude_deg).last:
        last = parse_period(name, tz, latitude_deg=latitude_deg).last
    return stretch_of_nights(first, last, tz, name=name)


def instant_a_year_before(at_utc: datetime, tz: ZoneInfo) -> datetime:
    """Give the instant at which the same clock time was shown on the same date a year before."""
    then = local(at_utc, tz)
    return utc_of_local(datetime.combine(_year_before(then.date()), then.time()), tz)


_LAST_OF_FEBRUARY, _FIRST_OF_MARCH = (2, 28), (3, 1)


def _year_before(day: date, *, leap_day: tuple[int, int] = _LAST_OF_FEBRUARY) -> date:
    """Give the same date a year before; ``leap_day`` is what stands for 29 February."""
    month, day_of_month = leap_day if (day.month, day.day) == (2, 29) else (day.month, day.day)
    return date(day.year - 1, month, day_of_month)


def _seasons(latitude_deg: float) -> tuple[Season, ...]:
    return _NORTH if latitude_deg >= 0 else _SOUTH


def _month_index(day: date) -> int:
    """Count the months since the year 0, so that they can be added and divided."""
    return day.year * _MONTHS + day.month - 1


def _first_date(month_index: int) -> date:
    return date(month_index // _MONTHS, month_index % _MONTHS + 1, 1)


def _last_date(month_index: int) -> date:
    return _first_date(month_index + 1) - _ONE_DAY


# Beyond these years neither the sun's position nor the world's clock changes are known well enough to answer.
FIRST_YEAR, LAST_YEAR = 1970, 2199
