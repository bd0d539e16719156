"""What a zone was told to do, as one line of the journal, and that line read again.

The journal takes down at every start, and at every change, what each zone is to do from then on. So a program
that was changed in June does not rewrite what was planned, and missed, in May. A line a person can read:

    dusk to midnight; Fri, Sat: dusk to 01:30; 2027-12-31: dark; out of service: the post was felled
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from config.program.parser import parse_span
from config.program.spans import Span
from config.program.special_nights import Nights, parse_nights
from controller.planning.plan import SpecialNightLike

DARK = "dark"
# Said of a zone that the site file has no longer.
REMOVED = "no zone any more"
_NEXT = "; "
_AND = " and "
_COLON = ": "
_OUT = "out of service" + _COLON


class ZoneToTell(Protocol):
    """What is told of a zone."""

    @property
    def program(self) -> Sequence[Span]:
        """What it does every night."""

    @property
    def special_nights(self) -> Sequence[SpecialNightLike]:
        """Nights that differ."""

    @property
    def out_of_service(self) -> str | None:
        """Why it is never lit; None where it is in service."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SpecialProgram:
    """Nights that differ, and what the zone was to do then."""

    nights: Nights
    program: tuple[Span, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneProgram:
    """What a zone was told to do: as much of a zone as the plan needs, and whether it was in service."""

    id: str
    program: tuple[Span, ...]
    special_nights: tuple[SpecialProgram, ...] = ()
    out_of_service: str | None = None


def format_program(zone: ZoneToTell) -> str:
    """Say in one line what a zone is to do."""
    parts = [format_spans(zone.program)]
    parts += [f"{each.nights}{_COLON}{format_spans(each.program)}" for each in zone.special_nights]
    if zone.out_of_service is not None:
        parts.append(_OUT + zone.out_of_service)
    return _NEXT.join(parts)


def parse_program_record(zone_id: str, words: str) -> ZoneProgram | None:
    """Read such a line again; None where it is that of a zone that is gone.

    Raises:
        ProgramError: it is no such line; nothing but ``format_program`` writes them.
    """
    if words == REMOVED:
        return None
    words, out, reason = words.partition(_NEXT + _OUT)
    every_night, *others = words.split(_NEXT)
    special_nights = []
    for other in others:
        nights, _, spans = other.partition(_COLON)
        special_nights.append(SpecialProgram(nights=parse_nights(nights), program=parse_spans(spans)))
    return ZoneProgram(
        id=zone_id,
        program=parse_spans(every_night),
        special_nights=tuple(special_nights),
        out_of_service=reason if out else None,
    )


def format_spans(spans: Iterable[Span]) -> str:
    """Write the spans of one program; without any it is dark."""
    return _AND.join(str(span) for span in spans) or DARK


def parse_spans(text: str) -> tuple[Span, ...]:
    """Read the spans of one program, as ``format_spans`` writes them."""
    return () if text == DARK else tuple(parse_span(each) for each in text.split(_AND))
