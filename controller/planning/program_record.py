"""What a zone was to do, read back from the line that ``program_text`` writes for the journal."""

from collections.abc import Sequence
from dataclasses import dataclass

from config.models.site import SpecialNight
from config.program.spans import Span
from config.program.special_nights import parse_nights
from controller.planning.program_text import COLON, NEXT, OUT_OF_SERVICE, REMOVED, parse_spans


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneProgram:
    """What a zone was told to do: as much of a zone as the plan needs, and whether it was in service."""

    id: str
    program: tuple[Span, ...]
    special_nights: Sequence[SpecialNight] = ()
    out_of_service: str | None = None


def parse_program_record(zone_id: str, words: str) -> ZoneProgram | None:
    """Read such a line again; None where it is that of a zone that is gone.

    Raises:
        ProgramError: it is no such line; nothing but ``format_program`` writes them.
    """
    if words == REMOVED:
        return None
    words, out, reason = words.partition(NEXT + OUT_OF_SERVICE)
    every_night, *others = words.split(NEXT)
    special_nights = [
        SpecialNight(nights=parse_nights(nights), program=parse_spans(spans))
        for nights, _, spans in (other.partition(COLON) for other in others)
    ]
    return ZoneProgram(
        id=zone_id,
        program=parse_spans(every_night),
        special_nights=tuple(special_nights),
        out_of_service=reason if out else None,
    )
