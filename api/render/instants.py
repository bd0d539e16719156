"""Instants and dates as text: RFC 3339 on the way in and out, always UTC and ending in Z on the way out."""

import re
from datetime import UTC, date, datetime, timedelta

from config.phrase import Phrase
from controller.calendar.periods import FIRST_YEAR, LAST_YEAR

# RFC 3339, section 5.6, date-time: the offset is required, the letters may be small, a blank may stand for T.
_DATE_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?(Z|z|[+-][0-9]{2}:[0-9]{2})"
)
_INCOMPLETE = re.compile(r"[0-9-]{10}[Tt ][0-9:]{5,8}(\.[0-9]+)?(Z|z|[+-][0-9:]{2,5})?")
_PLUS_LOST = re.compile(r"[0-9-]{10}[Tt ][0-9:]{8}(\.[0-9]+)? [0-9]{2}:[0-9]{2}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_LONGEST_QUOTE = 60

EXAMPLE = "2027-06-21T21:30:00Z"


def instant_text(at_utc: datetime) -> str:
    """Write an instant, cut to the whole second: what has happened is never shown as still to come."""
    return at_utc.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def coming_text(at_utc: datetime) -> str:
    """Write an instant that is to come, to the nearest second: it is calculated from what is left."""
    return instant_text(at_utc + timedelta(milliseconds=500))


def read_instant(text: str) -> datetime:
    """Read an instant of RFC 3339; it is given in UTC.

    Raises:
        ValueError: another text, a time that does not exist, or a year out of range.
    """
    if not _DATE_TIME.fullmatch(text):
        raise ValueError(Phrase("{value} is not an instant; {hint}", value=quote(text), hint=_hint(text)))
    try:
        at_utc = datetime.fromisoformat(text.upper()).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise ValueError(
            Phrase(
                "{value} does not exist; write an instant such as {example}",
                value=quote(text),
                example=EXAMPLE,
            )
        ) from error
    _require_year(text, at_utc.year)
    return at_utc


def read_date(text: str) -> date:
    """Read a date, the name of a night.

    Raises:
        ValueError: another text, a day that does not exist, or a year out of range.
    """
    if not _DATE.fullmatch(text):
        raise ValueError(
            Phrase("{value} is not a date; write year-month-day such as 2027-06-21", value=quote(text))
        )
    try:
        on_date = date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(
            Phrase("{value} does not exist; write a day of the calendar", value=quote(text))
        ) from error
    _require_year(text, on_date.year)
    return on_date


def quote(value: object) -> Phrase:
    """Quote what somebody wrote, cut where it is long."""
    text = str(value)
    return Phrase("“{text}”", text=text if len(text) <= _LONGEST_QUOTE else f"{text[: _LONGEST_QUOTE - 1]}…")


def _hint(text: str) -> Phrase:
    if _PLUS_LOST.fullmatch(text):
        return Phrase("a + in an address is written %2B")
    if _INCOMPLETE.fullmatch(text):
        return Phrase("it needs seconds and an offset from UTC, as {example} has them", example=EXAMPLE)
    return Phrase("write one such as {example}", example=EXAMPLE)


def _require_year(text: str, year: int) -> None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        what = Phrase(
            "{value} is out of range; write a year from {first} to {last}",
            value=quote(text),
            first=FIRST_YEAR,
            last=LAST_YEAR,
        )
        raise ValueError(what)
