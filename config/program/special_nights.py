"""On which nights a special night holds: weekdays, one date, or a stretch of every year.

    nights  = weekday { ", " weekday } | date | month-day " to " month-day
    weekday = "Mon" | "Tue" | "Wed" | "Thu" | "Fri" | "Sat" | "Sun"

A condition tests the night's own date, the one on which it begins: the night of New Year's Eve still owns
its 01:30 on the first of January. ``str()`` of a condition gives its canonical text.
"""

import re
from dataclasses import dataclass
from datetime import date

from config.errors import ProgramError
from config.phrase import Phrase
from config.program.parser import TextReader, quoted

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_HYPHENS = ("-", "–", "—")
# Any leap year will do: it has every day that a month can have.
_LEAP_YEAR = 2000

_WORD = re.compile(r",|[^\s,]+")
_DATE = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_MONTH_DAY = re.compile(r"([0-9]{2})-([0-9]{2})")
_OTHER_DATE = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}([./-][0-9]{1,4})?")

_A_WEEKDAY = Phrase("a weekday: {days}", days=", ".join(WEEKDAYS))
_ANY_NIGHTS = Phrase(
    "weekdays such as Fri, Sat, a date such as 2027-12-31, or a stretch such as 12-20 to 01-06"
)
_NO_DATE = Phrase("not a date")


@dataclass(frozen=True, kw_only=True, slots=True)
class Weekdays:
    """Nights that begin on certain weekdays; ``days`` count from 0 for Monday, in the order written."""

    days: tuple[int, ...]

    def __post_init__(self) -> None:
        if not self.days or len(set(self.days)) < len(self.days) or not set(self.days) <= set(range(7)):
            raise ValueError(f"weekdays are numbers from 0 to 6, each once, got {self.days}")

    def match(self, night: date) -> bool:
        """Whether the night of that date is among them."""
        return night.weekday() in self.days

    def __str__(self) -> str:
        return ", ".join(WEEKDAYS[day] for day in self.days)


@dataclass(frozen=True, kw_only=True, slots=True)
class OneDate:
    """The night that begins on one date."""

    on_date: date

    def match(self, night: date) -> bool:
        """Whether the night of that date is this one."""
        return night == self.on_date

    def __str__(self) -> str:
        return self.on_date.isoformat()


@dataclass(frozen=True, kw_only=True, slots=True)
class YearlyStretch:
    """Nights from one month and day to another, both included; it may cross New Year.

    29 February is allowed and matches in leap years only.
    """

    first: tuple[int, int]
    last: tuple[int, int]

    def __post_init__(self) -> None:
        for month, day in (self.first, self.last):
            date(_LEAP_YEAR, month, day)

    def match(self, night: date) -> bool:
        """Whether the night of that date lies in the stretch."""
        day = (night.month, night.day)
        if self.first <= self.last:
            return self.first <= day <= self.last
        return day >= self.first or day <= self.last

    def __str__(self) -> str:
        (month, day), (last_month, last_day) = self.first, self.last
        return f"{month:02}-{day:02} to {last_month:02}-{last_day:02}"


Nights = Weekdays | OneDate | YearlyStretch


def parse_nights(text: str) -> Nights:
    """Read the condition of a special night, such as ``Fri, Sat``.

    Raises:
        ProgramError: with the column of the first word that is not valid, and what to write there.
    """
    reader = TextReader(text, _WORD)
    first = reader.peek()
    nights: Nights
    if _DATE.fullmatch(first):
        nights = OneDate(on_date=_read_date(reader, first))
        last = _DATE.fullmatch(reader.text[reader.at :].removeprefix("to ").strip())
        if last and reader.peek() == "to":
            of_any_year = f"{first[5:]} to {last[2]}-{last[3]}"
            raise reader.error(
                Phrase(
                    "{stretch}, which holds every year, or a special night for each date", stretch=of_any_year
                )
            )
    elif _MONTH_DAY.fullmatch(first):
        nights = _read_stretch(reader)
    elif first.capitalize() in WEEKDAYS:
        nights = _read_weekdays(reader)
    elif _OTHER_DATE.fullmatch(first):
        expected = Phrase("2027-12-31 for one night, or 12-31 to 12-31 for that of every year")
        raise _refuse(reader, expected, lacks=_NO_DATE)
    else:
        raise _refuse(reader, _ANY_NIGHTS)
    reader.require_end()
    return nights


def _refuse(reader: TextReader, expected: Phrase, lacks: Phrase | None = None) -> ProgramError:
    """Refuse the next word, with the whole condition as it should be where that can be guessed."""
    from config.program.hints import guess_nights  # noqa: PLC0415 (not needed to start the lights)

    guess = guess_nights(reader.text) if reader.peek() else None
    return reader.error(guess or expected, lacks=lacks)


def _read_weekdays(reader: TextReader) -> Weekdays:
    days: list[int] = []
    while not days or reader.accept(","):
        word = reader.peek()
        found = word.capitalize()
        if found not in WEEKDAYS:
            raise _refuse(reader, _A_WEEKDAY, lacks=Phrase("not a weekday"))
        if WEEKDAYS.index(found) in days:
            raise reader.error(Phrase("a weekday other than {day}", day=found))
        days.append(WEEKDAYS.index(found))
        reader.advance(len(word))
    if reader.peek():
        raise _refuse(reader, Phrase("a comma and another weekday, or nothing more"))
    return Weekdays(days=tuple(days))


def _read_stretch(reader: TextReader) -> YearlyStretch:
    written = reader.peek()
    first = _read_date(reader, f"{_LEAP_YEAR}-{written}")
    if not reader.peek():
        reader.at = 0
        expected = Phrase(
            "{day} to {day} for that night of every year, or its year too, such as 2028-{day}", day=written
        )
        raise reader.error(expected, lacks=Phrase("not a date or a stretch"))
    if not reader.accept("to"):
        raise reader.error(quoted("to") if reader.peek() in _HYPHENS else Phrase("“to” and the last night"))
    if not _MONTH_DAY.fullmatch(reader.peek()):
        raise reader.error(Phrase("a month and a day such as 01-06"))
    last = _read_date(reader, f"{_LEAP_YEAR}-{reader.peek()}")
    return YearlyStretch(first=(first.month, first.day), last=(last.month, last.day))


def _read_date(reader: TextReader, iso: str) -> date:
    """Read the next word as the date that it is in full."""
    year, month, day = (int(part) for part in iso.split("-"))
    try:
        found = date(year, month, day)
    except ValueError:
        raise reader.error(_real_day(year, month), lacks=_NO_DATE) from None
    reader.advance(len(reader.peek()))
    return found


def _real_day(year: int, month: int) -> Phrase:
    if year < 1:
        return Phrase("a year from 0001 to 9999")
    if not 1 <= month <= 12:  # noqa: PLR2004 (months in a year)
        return Phrase("a month from 01 to 12, then the day")
    from calendar import monthrange  # noqa: PLC0415 (not needed to start the lights)

    last = monthrange(year, month)[1]
    if last == 31:  # noqa: PLR2004 (the only one that ends in “st”)
        return Phrase("a day that exists (that month ends on the 31st)")
    return Phrase("a day that exists (that month ends on the {last}th)", last=last)
