"""A year's review of a site's programs: which spans give no light, on how many nights, from when to when.

A span that the clock alone makes senseless is found when the file is read. What the sun makes of it, such as
a dusk that comes after the off time in June, shows only night by night; this room looks at all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from config.errors import KeyPath, Severity
from config.models.site import SpecialNight, Zone
from config.program.spans import Span, SunEdge
from config.program.special_nights import OneDate
from controller.calendar.night import Night, nights
from controller.planning.plan import NightPlan, PlanContext, plan_night
from controller.planning.planner import Planner

# Stretches of dark nights named in one remark; more of them are counted.
STRETCHES_NAMED = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class YearlyFinding:
    """One thing that the year shows.

    Attributes:
        zone: id of the zone.
        path: keys and list places from the top of the site file to the text; places are counted from 0.
        value: the text that stands there.
        what: what happens, one clause.
        remedy: what would do, one clause.
        weight: whether it is a warning or a note.
        nights: how many nights of the year it concerns.
        first: the first of them; None where it concerns none.
        last: the last of them; None where it concerns none.
    """

    zone: str
    path: KeyPath
    value: str
    what: str
    remedy: str
    weight: Severity
    nights: int
    first: date | None
    last: date | None


def review_year(planner: Planner, first: date) -> tuple[YearlyFinding, ...]:
    """Look at every night of a year.

    Args:
        planner: the site's plans.
        first: date of the first night; the year ends before the same date of the next.

    Returns:
        What gives no light on some or on all nights, zone by zone in the order of the site file.
    """
    year = list(nights(first, _a_year_after(first), planner.tz))
    remarks: list[YearlyFinding] = []
    for index, zone in enumerate(planner.site.zones):
        remarks += _review_zone(zone, ("zones", index), year, planner.place)
    return tuple(remarks)


def _a_year_after(first: date) -> date:
    try:
        return first.replace(year=first.year + 1) - timedelta(days=1)
    except ValueError:  # 29 February; or the last year of the calendar
        return first + timedelta(days=365)


def _review_zone(
    zone: Zone, path: KeyPath, year: Sequence[Night], place: PlanContext
) -> Iterator[YearlyFinding]:
    """Review a zone's program on the nights that are left to it, and each special night on its own."""
    left = dict.fromkeys(year)
    decided: dict[int, list[Night]] = {}
    for index in reversed(range(len(zone.special_nights))):
        decided[index] = [night for night in left if zone.special_nights[index].nights.match(night.date)]
        for night in decided[index]:
            del left[night]
    yield from _review_program(zone.id, (*path, "program"), zone.program, list(left), place)
    for index, special in enumerate(zone.special_nights):
        its_path = (*path, "special_nights", index)
        if decided[index]:
            program_path = (*its_path, "program")
            yield from _review_program(zone.id, program_path, special.program, decided[index], place)
        elif not any(special.nights == later.nights for later in zone.special_nights[index + 1 :]):
            yield from _review_idle(zone.id, its_path, special, year)


def _review_idle(
    zone: str, path: KeyPath, special: SpecialNight, year: Sequence[Night]
) -> Iterator[YearlyFinding]:
    """Say why a special night decides on no night of the year; one that is yet to come is in order."""
    matched = [night.date for night in year if special.nights.match(night.date)]
    if matched:
        what = "never decides: a later special night holds on each of its nights, and the last one decides"
        remedy, weight = "move it below the other, or take it out", Severity.WARNING
    elif isinstance(special.nights, OneDate) and special.nights.on_date < year[0].date:
        what, remedy, weight = "lies in the past", "take it out, or give it a date to come", Severity.NOTE
    else:
        return
    yield YearlyFinding(
        zone=zone,
        path=(*path, "nights"),
        value=str(special.nights),
        what=what,
        remedy=remedy,
        weight=weight,
        nights=len(matched),
        first=matched[0] if matched else None,
        last=matched[-1] if matched else None,
    )


def _review_program(
    zone: str, path: KeyPath, program: Sequence[Span], decided: Sequence[Night], place: PlanContext
) -> Iterator[YearlyFinding]:
    for index, span in enumerate(program):
        # What the clock alone shows was said when the file was read, about the text and not about the year.
        if span.never_lights or not decided:
            continue
        plans = [plan_night(_SingleSpanZone(id=zone, program=(span,)), night, place) for night in decided]
        dark = [plan for plan in plans if not plan.windows]
        if dark:
            yield _describe(zone, (*path, index), span, plans, dark)


@dataclass(frozen=True, kw_only=True, slots=True)
class _SingleSpanZone:
    id: str
    program: tuple[Span, ...]
    special_nights: tuple[SpecialNight, ...] = ()


def _describe(
    zone: str, path: KeyPath, span: Span, plans: Sequence[NightPlan], dark: Sequence[NightPlan]
) -> YearlyFinding:
    why = dark[0].because.removeprefix(f"{span}: ")
    first, last = dark[0].night.date, dark[-1].night.date
    if len(dark) == len(plans):
        which = f"any of its {len(dark)} nights" if len(dark) > 1 else "its only night"
        what = f"gives no light on {which} from {first} to {last} ({why})"
        weight = Severity.WARNING
    else:
        which = f"{len(dark)} of its {len(plans)} nights"
        what = f"gives no light on {which}: {_stretches(plans)} ({first}: {why})"
        weight = Severity.NOTE
    return YearlyFinding(
        zone=zone,
        path=path,
        value=str(span),
        what=what,
        remedy=_remedy(span, weight),
        weight=weight,
        nights=len(dark),
        first=first,
        last=last,
    )


def _stretches(plans: Sequence[NightPlan]) -> str:
    """Name the stretches of dark nights; nights on which another program decides do not part a stretch."""
    borders = [
        place
        for place, (one, next_one) in enumerate(pairwise(plans), start=1)
        if bool(one.windows) != bool(next_one.windows)
    ]
    pieces = [plans[start:end] for start, end in pairwise([0, *borders, len(plans)])]
    dark = [piece for piece in pieces if not piece[0].windows]
    named = [
        f"{piece[0].night.date} to {piece[-1].night.date}" if len(piece) > 1 else f"{piece[0].night.date}"
        for piece in dark[:STRETCHES_NAMED]
    ]
    more = len(dark) - len(named)
    return " and ".join(named) if not more else f"{', '.join(named)} and {more} more"


def _remedy(span: Span, weight: Severity) -> str:
    kept = "leave it if those nights may stay dark" if weight is Severity.NOTE else "change it or take it out"
    sun = [str(edge) for edge in (span.begins, span.ends) if isinstance(edge, SunEdge)]
    if sun:
        return f"{kept}; a clock time in place of {' and '.join(sun)} does not move with the sun"
    if span.while_dark:
        return (
            kept if weight is Severity.NOTE else f"{kept}; “while dark” waits for a dark that does not come"
        )
    return f"{kept}; choose clock times that no clock change takes away"
