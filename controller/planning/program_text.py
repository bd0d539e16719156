"""What a zone was to do, as one line of the journal.

The journal records at every start, and at every change, what each zone is to do from then on. So a program
that was changed in June does not rewrite what was planned, and missed, in May:

    dusk to midnight; Fri, Sat: dusk to 01:30; 2027-12-31: dark; out of service: the post was felled
"""

from collections.abc import Iterable

from config.models.site import Zone
from config.program.parser import parse_span
from config.program.spans import Span

DARK = "dark"
# Recorded of a zone that the site file no longer has.
REMOVED = "no zone any more"
NEXT = "; "
_AND = " and "
COLON = ": "
OUT_OF_SERVICE = "out of service" + COLON


def format_program(zone: Zone) -> str:
    """Write in one line what a zone is to do."""
    parts = [format_spans(zone.program)]
    parts += [f"{each.nights}{COLON}{format_spans(each.program)}" for each in zone.special_nights]
    if zone.out_of_service is not None:
        parts.append(OUT_OF_SERVICE + zone.out_of_service)
    return NEXT.join(parts)


def format_spans(spans: Iterable[Span]) -> str:
    """Write the spans of one program; without any it is dark."""
    return _AND.join(str(span) for span in spans) or DARK


def parse_spans(text: str) -> tuple[Span, ...]:
    """Read the spans of one program, as ``format_spans`` writes them."""
    return () if text == DARK else tuple(parse_span(each) for each in text.split(_AND))
