"""On which nights a special night holds: weekdays, one date, or a stretch of every year.

    nights  = weekday { ", " weekday } | date | month-day " to " month-day
    weekday = "Mon" | "Tue" | "Wed" | "Thu" | "Fri" | "Sat" | "Sun"

A condition tests the night's own date, the one on which it begins: the night of New Year's Eve still owns
its 01:30 on the first of January. ``str()`` of a condition gives its canonical text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from config.errors import ProgramError

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_LONG_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
# Any leap year will do: it has every day that a month can have.
_LEAP_YEAR = 2000

_WORD = re.compile(r",|[^\s,]+")
_DATE = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_MONTH_DAY = re.compile(r"([0-9]{2})-([0-9]{2})")
_OTHER_DATE = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}([./-][0-9]{1,4})?")
_LONGEST_WORD = 40

_A_WEEKDAY = "a weekday: " + ", ".join(WEEKDAYS)
_ANY_NIGHTS = "weekdays such as Fri, Sat, a date such as 2027-12-31, or a stretch such as 12-20 to 01-06"


@dataclass(frozen=True, kw_only=True, slots=True)
class Weekdays:
    """Nights that begin on certain weekdays; ``days`` count from 0 for Monday, in the order written."""

    days: tuple[int, ...]

    def __post_init__(self) -> None:
        """Refuse no weekday, an unknown one, and one named twice."""
        if not self.days or len(set(self.days)) < len(self.days) or not set(self.days) <= set(range(7)):
            raise ValueError(f"weekdays are numbers from 0 to 6, each once, got {self.days}")

    def match(self, night: date) -> bool:
        """Whether the night of that date is one of them."""
        return night.weekday() in self.days

    def __str__(self) -> str:
        """The canonical text, such as ``Fri, Sat``."""
        return ", ".join(WEEKDAYS[day] for day in self.days)


@dataclass(frozen=True, kw_only=True, slots=True)
class OneDate:
    """The night that begins on one date."""

    on_date: date

    def match(self, night: date) -> bool:
        """Whether the night of that date is this one."""
        return night == self.on_date

    def __str__(self) -> str:
        """The canonical text, such as ``2027-12-31``."""
        return self.on_date.isoformat()


@dataclass(frozen=True, kw_only=True, slots=True)
class YearlyStretch:
    """Nights from one day of the year to another, both included; it may cross New Year.

    Attributes:
        first: month and day of the first night.
        last: month and day of the last night; 29 February is allowed and matches in leap years only.
    """

    first: tuple[int, int]
    last: tuple[int, int]

    def __post_init__(self) -> None:
        """Refuse a day that no year has."""
        for month, day in (self.first, self.last):
            date(_LEAP_YEAR, month, day)

    def match(self, night: date) -> bool:
        """Whether the night of that date lies in the stretch."""
        day = (night.month, night.day)
        if self.first <= self.last:
            return self.first <= day <= self.last
        return day >= self.first or day <= self.last

    def __str__(self) -> str:
        """The canonical text, such as ``12-20 to 01-06``."""
        (month, day), (last_month, last_day) = self.first, self.last
        return f"{month:02}-{day:02} to {last_month:02}-{last_day:02}"


Nights = Weekdays | OneDate | YearlyStretch


def parse_nights(text: str) -> Nights:
    """Read the condition of a special night.

    Args:
        text: weekdays, one date or a yearly stretch, such as ``Fri, Sat``.

    Returns:
        The condition, whose ``str()`` is the text itself if that was in canonical form.

    Raises:
        ProgramError: with the column where the text stops making sense, and what was expected there.
    """
    words = [(match.start(), match[0]) for match in _WORD.finditer(text)]
    words.append((len(text), ""))
    first = words[0][1]
    if _DATE.fullmatch(first):
        night = _read_date(text, words[0])
        _require_end(text, words[1])
        return OneDate(on_date=night)
    if _MONTH_DAY.fullmatch(first):
        return _read_stretch(text, words)
    if first.capitalize() in WEEKDAYS:
        return _read_weekdays(text, words)
    raise _error(text, words[0], _guess(first) or _ANY_NIGHTS)


def _error(text: str, word: tuple[int, str], expected: str) -> ProgramError:
    """Describe the place of a word and what would have made sense there."""
    at, found = word
    short = found if len(found) <= _LONGEST_WORD else found[: _LONGEST_WORD - 1] + "…"
    return ProgramError(text=text, column=at + 1, found=short, expected=expected)


def _guess(found: str) -> str | None:
    """Say what somebody probably meant who wrote a date in another way."""
    if _OTHER_DATE.fullmatch(found):
        return "year-month-day such as 2027-12-31, or month-day such as 12-31"
    return _guess_weekday(found)


def _guess_weekday(found: str) -> str | None:
    """Say which weekday somebody meant who wrote its whole name."""
    name = found.lower()
    return WEEKDAYS[_LONG_WEEKDAYS.index(name)] if name in _LONG_WEEKDAYS else None


def _require_end(text: str, word: tuple[int, str]) -> None:
    """Refuse anything that follows a whole condition."""
    if word[1]:
        raise _error(text, word, "the end")


def _read_weekdays(text: str, words: list[tuple[int, str]]) -> Weekdays:
    """Read weekdays with commas between them."""
    days: list[int] = []
    for place, word in enumerate(words[:-1]):
        found = word[1].capitalize()
        if place % 2:
            if found != ",":
                raise _error(text, word, "a comma and another weekday, or the end")
        elif found not in WEEKDAYS:
            raise _error(text, word, _guess_weekday(found) or _A_WEEKDAY)
        elif WEEKDAYS.index(found) in days:
            raise _error(text, word, f"a weekday other than {found}")
        else:
            days.append(WEEKDAYS.index(found))
    if words[-2][1] == ",":
        raise _error(text, words[-1], _A_WEEKDAY)
    return Weekdays(days=tuple(days))


def _read_date(text: str, word: tuple[int, str]) -> date:
    """Read a date of one year."""
    year, month, day = (int(part) for part in word[1].split("-"))
    try:
        return date(year, month, day)
    except ValueError:
        raise _error(text, word, _real_day(year, month)) from None


def _read_stretch(text: str, words: list[tuple[int, str]]) -> YearlyStretch:
    """Read two days of the year with “to” between them."""
    first = _read_month_day(text, words[0])
    if words[1][1].lower() != "to":
        one_night = f"{words[0][1]} to {words[0][1]}"
        raise _error(text, words[1], f"“to” and the last night (one night of every year is {one_night})")
    if not _MONTH_DAY.fullmatch(words[2][1]):
        raise _error(text, words[2], "a month and a day such as 01-06")
    last = _read_month_day(text, words[2])
    _require_end(text, words[3])
    return YearlyStretch(first=first, last=last)


def _read_month_day(text: str, word: tuple[int, str]) -> tuple[int, int]:
    """Read a day of every year."""
    month, day = (int(part) for part in word[1].split("-"))
    try:
        date(_LEAP_YEAR, month, day)
    except ValueError:
        raise _error(text, word, _real_day(_LEAP_YEAR, month)) from None
    return month, day


def _real_day(year: int, month: int) -> str:
    """Say which days there are where one was named that does not exist."""
    if year < 1:
        return "a year from 0001 to 9999"
    if not 1 <= month <= 12:  # noqa: PLR2004 (months in a year)
        return "a month from 01 to 12, then the day"
    for last in ("31st", "30th", "29th", "28th"):
        try:
            date(year, month, int(last[:2]))
        except ValueError:
            continue
        break
    return f"a day that exists (that month ends on the {last})"
