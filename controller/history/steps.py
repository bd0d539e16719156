"""Long questions answered some nights at a time, so that neither memory nor a step grows with the nights."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from controller.calendar.periods import Period, cut_into
from controller.history.totals import HourSum, add_up

# Nights worked out at once: half a season, and more than a month.
NIGHTS_AT_ONCE = 46

Work = Callable[[Sequence[Period]], Iterable[HourSum]]
"""Works out some periods that follow each other: one sum for each of them and each zone."""


def sums_in_steps(
    periods: Iterable[Period], tz: ZoneInfo, work: Work
) -> Iterator[dict[Period, list[HourSum]]]:
    """Work out periods that follow each other, long ones in pieces that are added up.

    Returns:
        After each step the periods that it completed, each with its zones; none where one goes on.
    """
    begun: dict[str, HourSum] = {}
    for step in _steps(periods, tz):
        parts: dict[Period | None, list[HourSum]] = defaultdict(list)
        for part in work([each.piece for each in step]):
            parts[part.period].append(part)
        completed = {}
        for each in step:
            for part in parts[each.piece]:
                assert part.zone is not None, "the sums are those of zones"
                before = begun.get(part.zone)
                begun[part.zone] = part if before is None else add_up([before, part], zone=part.zone)
            if each.is_last:
                completed[each.period] = [replace(row, period=each.period) for row in begun.values()]
                begun = {}
        yield completed


@dataclass(frozen=True, kw_only=True, slots=True)
class _Piece:
    """All of a period or a part of it, and whether it is the last."""

    piece: Period
    period: Period
    is_last: bool


def _steps(periods: Iterable[Period], tz: ZoneInfo) -> Iterator[list[_Piece]]:
    """Deal periods, long ones in pieces, into steps of at most ``NIGHTS_AT_ONCE``."""
    step: list[_Piece] = []
    nights = 0
    for period in periods:
        for piece in cut_into(period, NIGHTS_AT_ONCE, tz):
            if step and nights + piece.nights > NIGHTS_AT_ONCE:
                yield step
                step, nights = [], 0
            step.append(_Piece(piece=piece, period=period, is_last=piece.last == period.last))
            nights += piece.nights
    if step:
        yield step
