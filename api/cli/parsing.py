"""Reading what a person types for a program, an off time or the two pins of a dial."""

from __future__ import annotations

import re
from datetime import time

from api.render.instants import quote
from config.models.tariff import read_clock
from config.program.parser import parse_span
from config.program.spans import ClockEdge, Span

_PINS = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\s*(?:-|–|to)\s*([01][0-9]|2[0-3]):([0-5][0-9])")


def read_program(text: str) -> tuple[Span, ...]:
    """Read a program in one line: spans joined by "and", or "dark".

    Raises:
        ProgramError: a span that is not in the program language.
    """
    return () if text.strip().lower() == "dark" else tuple(parse_span(each) for each in text.split(" and "))


def read_off(text: str) -> ClockEdge:
    """Read an off time: a clock time, or midnight.

    Raises:
        ProgramError: it is none.
    """
    at = read_clock(text)
    return ClockEdge(hour=at.hour, minute=at.minute, written_midnight=at == time(0))


def read_pins(text: str) -> tuple[time, time]:
    """Read the two pins of a dial.

    Raises:
        ValueError: the text names no two clock times.
    """
    match = _PINS.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{quote(text)} names no two pins; write on and off such as 21:15-23:45")
    on_hour, on_minute, off_hour, off_minute = (int(part) for part in match.groups())
    return time(on_hour, on_minute), time(off_hour, off_minute)
