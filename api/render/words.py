"""How pages and papers speak: the language that a browser asks for, and times and dates as people write them.

Times are always those of the site's time zone, whatever the phone's is.
"""

from __future__ import annotations

import gettext
import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from config.phrase import Phrase, dates_phrase
from controller.calendar.night import local, night_at
from controller.calendar.periods import Period

# By the tag of each, what its speakers call it.
LANGUAGES = {"en": "English", "de": "Deutsch"}
_LOCALE = Path(__file__).parent / "locale"
# Where English is written with a clock of twelve hours, and where with the month before the day; a browser
# that names no country means the first. Source: Unicode CLDR; compared by tests/api/render/test_words.py.
_TWELVE_HOURS = frozenset({
    "AE", "AG", "AS", "AU", "BB", "BM", "BS", "CA", "CY", "DM", "ER", "FJ", "FM", "GD", "GH", "GM",
    "GU", "GY", "HK", "IN", "JM", "KI", "KN", "KY", "LC", "LR", "LS", "MH", "MO", "MP", "MW", "MY",
    "NA", "NZ", "PG", "PH", "PK", "PR", "PW", "SB", "SD", "SG", "SL", "SS", "SZ", "TC", "TO", "TT",
    "UM", "US", "VC", "VG", "VI", "VU", "WS",
})  # fmt: skip
_MONTH_FIRST = frozenset({"AS", "BI", "CA", "GU", "JP", "MH", "MP", "PH", "PR", "UM", "US", "VI"})


def N_(text: str) -> str:  # noqa: N802 - the usual name of a mark for the catalogue
    """Mark a text for the catalogue; it is translated where it is shown."""
    return text


_WEEKDAYS = (
    N_("Monday"), N_("Tuesday"), N_("Wednesday"), N_("Thursday"), N_("Friday"), N_("Saturday"), N_("Sunday"),
)  # fmt: skip
_MONTHS = (
    N_("January"), N_("February"), N_("March"), N_("April"), N_("May"), N_("June"), N_("July"), N_("August"),
    N_("September"), N_("October"), N_("November"), N_("December"),
)  # fmt: skip

_SEASONS = {"spring": N_("spring"), "summer": N_("summer"), "autumn": N_("autumn"), "winter": N_("winter")}


@cache
def catalogue(language: str) -> gettext.NullTranslations:
    """Give the texts of a language; English is what stands in the code."""
    if language == "en":
        return gettext.NullTranslations()
    return gettext.translation("leerie", _LOCALE, [language])


def choose_language(accept: str, chosen: str | None = None) -> str:
    """Choose among our languages what a browser likes best, with its country: ``en-GB``, ``de``.

    Args:
        accept: the header Accept-Language (RFC 9110, section 12.5.4).
        chosen: what a person chose on the page, which counts for more.
    """
    wanted = list(_by_weight(accept))
    if chosen in LANGUAGES:
        return next((tag for tag in wanted if tag.partition("-")[0] == chosen), chosen)
    return next((tag for tag in wanted if tag.partition("-")[0] in LANGUAGES), "en")


def _by_weight(accept: str) -> Iterator[str]:
    found = []
    for each in accept.split(","):
        tag, _, weight = each.strip().partition(";q=")
        language, _, country = tag.strip().partition("-")
        if language.isalpha() and country.isalnum() | (not country):
            found.append((_number(weight), f"{language.lower()}-{country.upper()}".rstrip("-")))
    return (tag for weight, tag in sorted(found, key=lambda each: -each[0]) if weight > 0)


def _number(weight: str) -> float:
    try:
        return float(weight or "1")
    except ValueError:
        return 0.0


class Words:
    """Texts, times and dates for one browser; those that speak alike are equal.

    Args:
        tag: a language of ours, with a country or without, as ``choose_language`` gives it.
        tz: the site's time zone.
    """

    def __init__(self, tag: str, tz: ZoneInfo) -> None:
        self.language, _, country = tag.partition("-")
        self.tz = tz
        country = country or "US"
        self._twelve_hours = self.language == "en" and country in _TWELVE_HOURS
        self._month_first = self.language == "en" and country in _MONTH_FIRST
        self._customs = (self.language, self._twelve_hours, self._month_first, tz)
        texts = catalogue(self.language)
        self.gettext, self.ngettext, self.pgettext = texts.gettext, texts.ngettext, texts.pgettext

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Words) and self._customs == other._customs

    def __hash__(self) -> int:
        return hash(self._customs)

    def clock(self, at_utc: datetime) -> str:
        """Write a time of day: 20:56, or 8:56 PM."""
        return self.time_of_day(local(at_utc, self.tz).time())

    def time_of_day(self, at: time) -> str:
        """Write what the clock on the wall shows: 20:56, or 8:56 PM."""
        if self._twelve_hours:
            return f"{at.hour % 12 or 12}:{at:%M}\N{NO-BREAK SPACE}{'PM' if at.hour >= 12 else 'AM'}"  # noqa: PLR2004
        return f"{at:%H:%M}"

    def number(self, value: float | Decimal, digits: int = 0) -> str:
        """Write a number with so many digits after the point: 1,737.5, or 1.737,5 in German."""
        return self.written(f"{value:,.{digits}f}")

    def hour(self, at_utc: datetime) -> str:
        """Write a full hour in as little room as there is: 21, or 9 PM."""
        at = local(at_utc, self.tz)
        if self._twelve_hours:
            return f"{at.hour % 12 or 12}{'p' if at.hour >= 12 else 'a'}"  # noqa: PLR2004
        return f"{at:%H}"

    def wall_hour(self, hour: int) -> str:
        """Write an hour of the clock on the wall: 18:00, or 6 PM."""
        return self.time_of_day(time(hour)).replace(":00\N{NO-BREAK SPACE}", "\N{NO-BREAK SPACE}")

    def weekday(self, day: date) -> str:
        """Name the day of the week."""
        return self.gettext(_WEEKDAYS[day.weekday()])

    def month(self, day: date) -> str:
        """Name the month of a date."""
        return self.gettext(_MONTHS[day.month - 1])

    def clock_or_midnight(self, at_utc: datetime) -> str:
        """Write a time of day, and midnight by its name."""
        return self.gettext("midnight") if local(at_utc, self.tz).time() == time() else self.clock(at_utc)

    def day(self, day: date, *, year: bool = False) -> str:
        """Write a date in full: Friday 17 September, or Friday, September 17."""
        weekday, month = self.weekday(day), self.month(day)
        if self.language == "de":
            text = f"{weekday}, {day.day}. {month}"
        elif self._month_first:
            text = f"{weekday}, {month} {day.day}"
        else:
            text = f"{weekday} {day.day} {month}"
        return f"{text}{',' if self._month_first and year else ''} {day.year}" if year else text

    def say(self, text: str) -> str:
        """Say what a deeper layer says; what is not a phrase stays as it is."""
        return text.said_in(self, self.written, self._dated) if isinstance(text, Phrase) else text

    def written(self, number: str) -> str:
        """Write a number that is a text as the language does: 1,737.5 is 1.737,5 in German."""
        return number.translate(str.maketrans(",.", ".,")) if self.language == "de" else number

    def _dated(self, day: date, form: str) -> str:
        """Write a date in the forms of a phrase; the day of a month that comes first has its month there."""
        if form == "%B %Y":
            return self.month_of_year(day)
        if form == "%d" and not self._month_first:
            return f"{day.day}{'.' if self.language == 'de' else ''}"
        return self.date(day) if form else self.full_date(day)

    def month_of_year(self, day: date) -> str:
        """Name the month of a date and its year: September 2027."""
        return f"{self.month(day)} {day.year}"

    def full_date(self, day: date) -> str:
        """Write a date with its year: 17 September 2027, or September 17, 2027."""
        return f"{self.date(day)}{',' if self._month_first else ''} {day.year}"

    def short_date(self, day: date) -> str:
        """Write a date where there is little room: 17 Sep, or Sep 17."""
        return self.date(day).replace(self.month(day), self.short_month(day))

    def short_month(self, day: date) -> str:
        """Name the month of a date by its first three letters."""
        return self.month(day)[:3]

    def dates(self, first: date, last: date) -> str:
        """Write the dates from one to another: 3 June 2027, or 28 June to 3 July 2027."""
        return self.say(dates_phrase(first, last))

    def period(self, period: Period) -> str:
        """Name a period: September 2027, autumn 2027, 2027, or the dates of its nights."""
        if re.fullmatch(r"\d{4}", period.name):
            return period.name
        if re.fullmatch(r"\d{4}-\d{2}", period.name):
            return self.month_of_year(period.first)
        if not (season := re.fullmatch(r"\d{4}-([a-z]+)", period.name)):
            return self.dates(period.first, period.last)
        first, last = period.first.year, period.last.year
        return f"{self.gettext(_SEASONS[season[1]])} {first}{'' if first == last else f'/{period.last:%y}'}"

    def listed(self, parts: Sequence[str]) -> str:
        """List parts: one; one and two; one, two and three."""
        *others, last = parts
        if not others:
            return last
        return self.gettext("%(others)s and %(last)s") % {"others": ", ".join(others), "last": last}

    def percent(self, part: float) -> str:
        """Write a part of one: 12%, or 12 % in German."""
        return f"{part * 100:.0f}{' ' if self.language == 'de' else ''}%"

    def moment(self, at_utc: datetime, now_utc: datetime) -> str:
        """Write an instant as it is said now: the time alone where it is in this night, else with its day."""
        clock = self.clock(at_utc) if local(at_utc, self.tz).time() != time() else self.gettext("midnight")
        at, today = night_at(at_utc, self.tz).date, night_at(now_utc, self.tz).date
        day, now = local(at_utc, self.tz).date(), local(now_utc, self.tz).date()
        if at == today or day == now:
            return clock
        if abs(day - now) > timedelta(days=6):
            return self.gettext("%(clock)s on %(day)s") % {"clock": clock, "day": self.date(day)}
        if day - now == timedelta(days=1):
            return self.gettext("%(clock)s tomorrow") % {"clock": clock}
        if now - day == timedelta(days=1):
            return self.gettext("%(clock)s yesterday") % {"clock": clock}
        return self.gettext("%(clock)s on %(day)s") % {"clock": clock, "day": self.weekday(day)}

    def date(self, day: date) -> str:
        """Write a date without its weekday: 17 September, or September 17."""
        month = self.month(day)
        if self.language == "de":
            return f"{day.day}. {month}"
        return f"{month} {day.day}" if self._month_first else f"{day.day} {month}"


def english(tz: ZoneInfo) -> Words:
    """Give the words of what is written for no browser: 20:56, 17 September 2027."""
    return Words("en-GB", tz)
