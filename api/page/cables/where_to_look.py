"""What would explain the volts that were measured, in words, and marked on the tree where to look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from api.page.cables.tree import Drawn, Mark
from api.render.words import Words
from controller.diagnosis.diagnosis import Diagnosis, Explanation
from controller.inspection.report import WiringReport

# Of more places that the readings cannot tell apart, the others are only counted.
_MOST_MARKED = 3
_PROBABLE, _POSSIBLE = 0.5, 0.15
_Place = TypeVar("_Place")


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """A fault that would explain the readings.

    Attributes:
        number: what it is marked with on the tree; 0 where it has no place there.
        sure: how likely it is, in words.
        link: where the first of its places is on the screen; empty where it has none.
    """

    number: int
    first: bool
    words: str
    remedy: str
    cautions: tuple[str, ...]
    sure: str
    link: str


@dataclass(frozen=True, kw_only=True, slots=True)
class WhereToLook:
    """What the readings of one transformer point to.

    Attributes:
        well: whether it is likeliest that nothing is wrong.
    """

    words: str
    well: bool
    causes: tuple[Cause, ...]


def where_to_look(report: WiringReport, words: Words) -> WhereToLook | None:
    """Say what would explain the readings; None without readings."""
    diagnosis = report.diagnosis
    if diagnosis is None:
        return None
    found = () if diagnosis.all_well and diagnosis.clear else diagnosis.explanations
    return WhereToLook(
        words=diagnosis.words,
        well=diagnosis.all_well,
        causes=tuple(_cause(report, diagnosis, number, words) for number in range(1, len(found) + 1)),
    )


def mark_faults(report: WiringReport, words: Words) -> Drawn:
    """Mark the places where a fault may be; none where it is likeliest that nothing is wrong."""
    cables: dict[tuple[int, str, str], tuple[Mark, ...]] = {}
    lamps: dict[tuple[int, int], tuple[Mark, ...]] = {}
    taps: dict[int, tuple[Mark, ...]] = {}
    diagnosis = report.diagnosis
    if diagnosis is None or diagnosis.all_well:
        return Drawn()
    for number, each in enumerate(diagnosis.explanations, start=1):
        link, first = _link(report, number), number == 1
        for at, place in enumerate(each.places[:_MOST_MARKED]):
            said = words.gettext("look here first") if first and not at else words.gettext("perhaps here")
            mark = Mark(number=number, first=first and not at, words=said, id=link if not at else "")
            others = Mark(number=number, first=mark.first, words=said, id="")
            for piece, (begin, end) in enumerate(place.cables):
                key = place.circuit, begin, end
                _add(cables, key, others if piece else mark)
            if place.fixture is not None:
                _add(lamps, (place.circuit, place.fixture), mark)
            elif not place.cables:
                _add(taps, place.circuit, mark)
    return Drawn(cables=cables, lamps=lamps, taps=taps)


def _add(marks: dict[_Place, tuple[Mark, ...]], place: _Place, mark: Mark) -> None:
    """Mark a place once for each fault, however many of the fault's places it belongs to."""
    there = marks.get(place, ())
    if all(each.number != mark.number for each in there):
        marks[place] = (*there, mark)


def _cause(report: WiringReport, diagnosis: Diagnosis, number: int, words: Words) -> Cause:
    each = diagnosis.explanations[number - 1]
    is_marked = bool(each.places) and not diagnosis.all_well
    return Cause(
        number=number if is_marked else 0,
        first=number == 1,
        words=each.words,
        remedy=each.remedy,
        cautions=each.cautions,
        sure=_how_sure(each, words, clear=diagnosis.clear and number == 1),
        link=_link(report, number) if is_marked else "",
    )


def _how_sure(explanation: Explanation, words: Words, *, clear: bool) -> str:
    _ = words.gettext
    if clear:
        return _("almost certain")
    if explanation.probability >= _PROBABLE:
        return _("probable, not certain")
    return _("possible") if explanation.probability >= _POSSIBLE else _("less likely")


def _link(report: WiringReport, number: int) -> str:
    return f"look-{report.wiring.transformer.id}-{number}"
