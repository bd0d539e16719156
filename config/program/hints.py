"""What was probably meant by a clock time or a duration that is written in another way.

The program language has one way to write each; these guesses are used only in the text of an error.
"""

import re

from config.program.spans import LONGEST_MINUTES, NOON_HOUR, Duration

_TWELVE_HOUR = re.compile(r"([0-9]{1,2})(?:[:.]([0-9]{2}))?\s*([ap])\.?m\b\.?", re.IGNORECASE)
_OTHER_CLOCK = re.compile(r"([0-9]{1,2})(?:[:.h]?([0-9]{2}))?(?::[0-9]{2})?(?=[\s,+-]|$)", re.IGNORECASE)
_HOURS = re.compile(r"([0-9]{1,2})\s*(?:h|hrs?|hours?)(?=[\s,]|$)", re.IGNORECASE)
_MINUTES = re.compile(r"([0-9]{1,4})\s*(?:m|mins?|minutes?)(?=[\s,]|$)", re.IGNORECASE)
_TWO_PARTS = re.compile(r"([0-9]{1,2})[h:]([0-9]{2})(?=[\s,]|$)", re.IGNORECASE)
_HALF = re.compile(r"([0-9]{1,2})[.,]5\s*h\w*", re.IGNORECASE)

_MIDNIGHT = "00:00 or midnight"
_ANY_CLOCK = "a clock time from 00:00 to 23:59"
_TWELVE = "12:00 for noon, 00:00 or midnight for midnight"
_LAST_HOUR = 23
_LAST_MINUTE = 59


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
    if word and word[0].lower() in ("noon", "midday"):
        return word[0], "12:00"
    return None


def _read_digits(hour: int, minutes: str | None) -> str:
    minute = int(minutes or 0)
    if hour > _LAST_HOUR or minute > _LAST_MINUTE:
        return _MIDNIGHT if (hour, minute) == (_LAST_HOUR + 1, 0) else _ANY_CLOCK
    if minutes is None and 1 <= hour < NOON_HOUR:
        return f"{hour:02}:00 or {hour + NOON_HOUR}:00"
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
    return None


def describe_duration(hours: int, minutes: int) -> str:
    """Say how a duration would be written in the program language, or why it cannot be one."""
    total = hours * 60 + minutes
    if not total:
        return "a duration longer than nothing, such as 45m"
    if total > LONGEST_MINUTES:
        return "a duration of at most 24h"
    return str(Duration(hours=total // 60, minutes=total % 60) if hours else Duration(minutes=minutes))
