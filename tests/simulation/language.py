"""The program language read once more, by patterns of its own: spans, durations, special nights."""

from __future__ import annotations

import re
from datetime import date
from functools import cache
from typing import NamedTuple

_LENGTH = r"(?:\d+h)?(?:\d+m)?"
_EDGE = rf"(?:\d\d:\d\d|midnight|(?:sunset|dusk|dawn|sunrise)(?:[+-]{_LENGTH})?)"
_SPAN = re.compile(
    rf"(?P<begins>{_EDGE}) (?:to (?P<ends>{_EDGE})|for (?P<lasts>{_LENGTH}))"
    rf"(?:, at most (?P<most>{_LENGTH}))?(?P<dark>, while dark)?"
)
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class EdgeText(NamedTuple):
    """An edge: seconds from 00:00 where ``event`` is empty, else seconds after that moment of the sun."""

    event: str
    after_s: int


class SpanText(NamedTuple):
    """A span: it ends at an edge, or after so many seconds."""

    begins: EdgeText
    ends: EdgeText | None
    lasts_s: int | None
    at_most_s: int | None
    while_dark: bool


@cache
def read_span(text: str) -> SpanText:
    """Read a span as people write it in one of the gardens."""
    found = _SPAN.fullmatch(text)
    assert found, text
    begins, ends, lasts, most, dark = found.groups()
    return SpanText(
        begins=_read_edge(begins),
        ends=_read_edge(ends) if ends else None,
        lasts_s=_read_length_s(lasts) if lasts else None,
        at_most_s=_read_length_s(most) if most else None,
        while_dark=bool(dark),
    )


def _read_edge(text: str) -> EdgeText:
    if text == "midnight":
        return EdgeText("", 0)
    if ":" in text:
        hours, minutes = text.split(":")
        return EdgeText("", int(hours) * 3600 + int(minutes) * 60)
    event, sign, length = re.fullmatch(r"([a-z]+)([+-]?)(.*)", text).groups()  # type: ignore[union-attr]
    after_s = _read_length_s(length)
    return EdgeText(event, -after_s if sign == "-" else after_s)


def _read_length_s(text: str) -> int:
    hours, minutes = re.fullmatch(r"(?:(\d+)h)?(?:(\d+)m)?", text).groups()  # type: ignore[union-attr]
    return int(hours or 0) * 3600 + int(minutes or 0) * 60


def is_special(text: str, night: date) -> bool:
    """Say whether a special night's condition holds in the night that begins on a date."""
    if text[:3] in _DAYS:
        return _DAYS[night.weekday()] in text.split(", ")
    if " to " not in text:
        return text == night.isoformat()
    first, last = text.split(" to ")
    day = night.isoformat()[5:]
    return first <= day <= last if first <= last else (day >= first or day <= last)
