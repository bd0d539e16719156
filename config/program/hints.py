"""What was probably meant by a clock time, a duration or a whole span that is written in another way.

The program language has one way to write each; these guesses are used only in the text of an error.
"""

import re

from config.phrase import Phrase
from config.program.spans import LONGEST_MINUTES, NOON_HOUR, Duration

_TWELVE_HOUR = re.compile(r"([0-9]{1,2})(?:[:.]([0-9]{2}))?\s*([ap])\.?m\b\.?", re.IGNORECASE)
_OTHER_CLOCK = re.compile(
    r"([0-9]{1,2})(?:[:.h]?([0-9]{2}))?(?::[0-9]{2})?(?:\s*(?:h|uhr|o['’]clock))?(?=[\s,+-]|$)", re.IGNORECASE
)
_HOURS = re.compile(r"([0-9]{1,2})\s*(?:h|hrs?|hours?)(?=[\s,]|$)", re.IGNORECASE)
_MINUTES = re.compile(r"([0-9]{1,4})\s*(?:m|mins?|minutes?)(?=[\s,]|$)", re.IGNORECASE)
_TWO_PARTS = re.compile(r"([0-9]{1,2})[h:]([0-9]{2})(?=[\s,]|$)", re.IGNORECASE)
_HALF = re.compile(r"([0-9]{1,2})[.,]5\s*h\w*", re.IGNORECASE)
_NO_UNIT = re.compile(r"([0-9]{1,4})(?=[\s,]|$)")

_MIDNIGHT = Phrase("00:00 or midnight")
_ANY_CLOCK = Phrase("a clock time from 00:00 to 23:59")
_TWELVE = Phrase("12:00 for noon, 00:00 or midnight for midnight")
_LAST_HOUR = 23
_LAST_MINUTE = 59

# What people call the edges of a night.
_OTHER_EVENTS = {
    "sundown": "sunset",
    "nightfall": "dusk",
    "twilight": "dusk",
    "dark": "dusk",
    "sunup": "sunrise",
    "daybreak": "dawn",
    "noon": "12:00",
    "midday": "12:00",
}
_ALL_NIGHT = re.compile(r"\b(?:always|all night|overnight|all the time)\b", re.IGNORECASE)
_EDGE = re.compile(
    r"(?<![0-9])(?P<offset>[0-9]{1,4})\s*(?P<unit>h|hours?|m|mins?|minutes?)\s+(?P<side>before|after)\s+(?P<event>[a-z]+)"
    r"|(?P<word>midnight|sunset|dusk|dawn|sunrise|sundown|nightfall|sunup|daybreak)"
    r"|(?<![0-9:.])(?P<hour>[01]?[0-9]|2[0-4])(?:[:.](?P<minute>[0-5][0-9])|(?=\s*[ap]m))(?:\s*(?P<half>[ap])m)?",
    re.IGNORECASE,
)

_DAY_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MONTH_NAMES = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip
_LAST_DAYS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_WEEKS = {
    **dict.fromkeys(("weekend", "weekends"), "Sat, Sun"),
    **dict.fromkeys(("weekday", "weekdays", "workdays"), "Mon, Tue, Wed, Thu, Fri"),
}
# As in many countries, with points: the day first.
_FULL_DATE = re.compile(r"([0-3]?[0-9])\.\s*([01]?[0-9])\.\s*([0-9]{4})")
_DAY_AND_MONTH = re.compile(r"\b([0-3]?[0-9])\.\s*([01]?[0-9])\.?(?![0-9.])")


def guess_clock(rest: str) -> tuple[str, str] | None:
    """Guess the clock time at the beginning of a text: what was found and what to write; None for no time."""
    if match := _TWELVE_HOUR.match(rest):
        hour, minute = int(match[1]), int(match[2] or 0)
        if not 1 <= hour <= NOON_HOUR or minute > _LAST_MINUTE:
            return match[0], _ANY_CLOCK
        if (hour, minute) == (NOON_HOUR, 0):
            return match[0], _TWELVE
        return match[0], f"{hour % NOON_HOUR + (NOON_HOUR if match[3] in 'pP' else 0):02}:{minute:02}"
    if match := _OTHER_CLOCK.match(rest):
        return match[0], _read_digits(int(match[1]), match[2])
    word = re.match(r"[^\s,+\-]+", rest)
    if word and (event := _OTHER_EVENTS.get(word[0].lower())):
        return word[0], event
    return None


def _read_digits(hour: int, minutes: str | None) -> str:
    minute = int(minutes or 0)
    if hour > _LAST_HOUR or minute > _LAST_MINUTE:
        return _MIDNIGHT if (hour, minute) == (_LAST_HOUR + 1, 0) else _ANY_CLOCK
    if minutes is None and 1 <= hour < NOON_HOUR:
        return Phrase("{one} or {other}", one=f"{hour:02}:00", other=f"{hour + NOON_HOUR}:00")
    return f"{hour:02}:{minute:02}" if hour or minute else _MIDNIGHT


def guess_duration(rest: str) -> tuple[str, str] | None:
    """Guess the duration at the beginning of a text, as guess_clock does a time."""
    if match := _HOURS.match(rest):
        return match[0], describe_duration(int(match[1]), 0)
    if match := _MINUTES.match(rest):
        return match[0], describe_duration(0, int(match[1]))
    if match := _TWO_PARTS.match(rest):
        return match[0], describe_duration(int(match[1]), int(match[2]))
    if match := _HALF.match(rest):
        return match[0], describe_duration(int(match[1]), 30)
    if match := _NO_UNIT.match(rest):
        return match[0], _add_unit(int(match[1]))
    return None


def _add_unit(number: int) -> str:
    if not number:
        return describe_duration(0, 0)
    if number > LONGEST_MINUTES // 60:
        return Phrase("{number}m for minutes", number=str(number))
    return Phrase("{number}h for hours, {number}m for minutes", number=str(number))


def guess_span(text: str) -> str | None:
    """Guess a whole span from the two edges that a text names in any words; None where there are not two."""
    if _ALL_NIGHT.search(text):
        return "dusk to dawn"
    edges = [edge for found in _EDGE.finditer(text) if (edge := _read_edge(found))]
    return f"{edges[0]} to {edges[1]}" if len(edges) == 2 else None  # noqa: PLR2004 (where it begins and ends)


def _read_edge(found: re.Match[str]) -> str:
    if found["word"]:
        word = found["word"].lower()
        return _OTHER_EVENTS.get(word, word)
    if found["offset"]:
        event = found["event"].lower()
        sign = "-" if found["side"].lower() == "before" else "+"
        return f"{_OTHER_EVENTS.get(event, event)}{sign}{int(found['offset'])}{found['unit'][0].lower()}"
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    if half := (found["half"] or "").lower():
        hour = hour % NOON_HOUR + (NOON_HOUR if half == "p" else 0)
    return f"{hour:02}:{minute:02}" if hour <= _LAST_HOUR else "midnight"


def describe_duration(hours: int, minutes: int) -> str:
    """Say how a duration would be written in the program language, or why it cannot be one."""
    total = hours * 60 + minutes
    if not total:
        return Phrase("a duration longer than nothing, such as 45m")
    if total > LONGEST_MINUTES:
        return Phrase("a duration of at most 24h")
    return str(Duration(hours=total // 60, minutes=total % 60) if hours else Duration(minutes=minutes))


def guess_nights(text: str) -> str | None:
    """Guess the condition of a special night from its weekdays, months or dates written in another way."""
    words = [word for word in re.split(r"[\s,;&+/–—-]+|\b(?:and|und|to|until|bis)\b", text.lower()) if word]
    is_range = bool(re.search(r"[-–—]|\b(?:to|until|bis)\b", text.lower()))
    if len(words) == 1 and (days := _WEEKS.get(words[0])):
        return days
    for names, write in ((_DAY_NAMES, _write_days), (_MONTH_NAMES, _write_months)):
        found = [_find_name(word, names) for word in words]
        if words and all(index >= 0 for index in found):
            return write(found, is_range=is_range)
    if full := _FULL_DATE.fullmatch(text.strip()):
        return f"{full[3]}-{int(full[2]):02}-{int(full[1]):02}"
    dates = _DAY_AND_MONTH.findall(text)
    if dates and len(dates) <= 2 and not _DAY_AND_MONTH.sub("", text).strip(" -–—to"):  # noqa: PLR2004 (first, last)
        first, last = (f"{int(month):02}-{int(day):02}" for day, month in (dates[0], dates[-1]))
        return f"{first} to {last}"
    return None


def _find_name(word: str, names: tuple[str, ...]) -> int:
    """Return the place of a name of which this is at least three letters, or its plural; else -1."""
    stem = word.rstrip(".")
    fits = (len(stem) > 2 and (name.startswith(stem) or stem == f"{name}s") for name in names)  # noqa: PLR2004
    return next((index for index, is_it in enumerate(fits) if is_it), -1)


def _write_days(days: list[int], *, is_range: bool) -> str:
    if is_range and len(days) == 2:  # noqa: PLR2004 (first and last)
        first, last = days
        days = [(first + each) % 7 for each in range((last - first) % 7 + 1)]
    return ", ".join(_DAY_NAMES[day][:3].capitalize() for day in dict.fromkeys(days))


def _write_months(months: list[int], *, is_range: bool) -> str:
    last = months[-1] if is_range else months[0]
    return f"{months[0] + 1:02}-01 to {last + 1:02}-{_LAST_DAYS[last]}"
