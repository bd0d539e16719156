"""The fields of what electricity costs: a price, bands of hours, and price lists from a date on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.page.garden.fields import Field
from api.page.span_prose import nights_prose
from api.render.words import N_, Words
from config.errors import ProgramError
from config.program.parser import parse_clock
from config.program.special_nights import parse_nights

_PER_KWH = Field(key="per_kwh", label=N_("Price of a kilowatt-hour"), kind="number", required=True)
TARIFF = (
    Field(
        key="currency", label=N_("Currency"), hint=N_("Its three letters, such as USD or EUR"), required=True
    ),
    _PER_KWH,
)
BAND = (
    Field(key="name", label=N_("What it is called, if you like")),
    Field(key="from", label=N_("From"), kind="clock", default="00:00"),
    Field(
        key="to",
        label=N_("Until"),
        kind="clock",
        default="00:00",
        hint=N_("It may reach over midnight. From midnight until midnight is the whole day."),
    ),
    Field(key="days", label=N_("On these days"), kind="days", hint=N_("None chosen: every day")),
    Field(key="season", label=N_("In a part of the year"), kind="season"),
    _PER_KWH,
)
CHANGE = (
    Field(key="since", label=N_("It holds from"), kind="date", required=True),
    _PER_KWH,
)


def describe_band(band: Mapping[str, Any], words: Words) -> str:
    """Say when a band of the site file holds, and what it costs: “16:00 to 21:00, on Friday: 0.41”."""
    begins, ends = str(band.get("from", "midnight")), str(band.get("to", "midnight"))
    parts = []
    if (begins, ends) != ("midnight", "midnight"):
        times = {"begin": _clock(begins, words), "end": _clock(ends, words)}
        parts.append(words.gettext("%(begin)s to %(end)s") % times)
    parts += [_nights(str(band[key]), words) for key in ("days", "season") if key in band]
    when = ", ".join(parts) or words.gettext("at all times")
    return f"{when}: {words.written(str(band.get('per_kwh', '–')))}"


def _clock(text: str, words: Words) -> str:
    try:
        return words.time_of_day(parse_clock(text))
    except ProgramError:
        return text


def _nights(text: str, words: Words) -> str:
    try:
        return nights_prose(parse_nights(text), words)
    except ProgramError:
        return text
