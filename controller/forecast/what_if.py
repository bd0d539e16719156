"""Other programs in the place of those that are: another off time, or another text, for the same zones."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from config.program.spans import NOON_HOUR, ClockEdge, Span, SunEdge, SunEvent
from controller.calendar.night import Night
from controller.forecast.forecast import PlanOf
from controller.planning.plan import PlanContext, Window, ZoneLike, plan_night
from controller.planning.program_record import SpecialProgram, ZoneProgram

_EVENING = (SunEvent.SUNSET, SunEvent.DUSK)


def end_evenings_at(zone: ZoneLike, off: ClockEdge) -> ZoneProgram:
    """Imagine that a zone goes out at another time.

    Every span that begins in the evening (at sunset or dusk, or at a clock time from noon to midnight) ends
    then, on special nights too; spans of the morning, and nights that are dark, stay as they are.
    """

    def ended(program: Sequence[Span]) -> tuple[Span, ...]:
        return tuple(
            replace(span, ends=off, lasts=None, at_most=None) if _is_evening(span) else span
            for span in program
        )

    special_nights = [
        SpecialProgram(nights=each.nights, program=ended(each.program)) for each in zone.special_nights
    ]
    return ZoneProgram(id=zone.id, program=ended(zone.program), special_nights=tuple(special_nights))


def do_instead(zone: ZoneLike, program: Iterable[Span]) -> ZoneProgram:
    """Imagine another program for a zone; its special nights stay as they are."""
    return ZoneProgram(id=zone.id, program=tuple(program), special_nights=zone.special_nights)


def plan_of(zones: Iterable[ZoneLike], place: PlanContext) -> PlanOf:
    """Plan imagined zones, as the forecast asks for it."""
    by_id = {zone.id: zone for zone in zones}

    def plan(zone_id: str, night: Night) -> tuple[Window, ...]:
        return plan_night(by_id[zone_id], night, place).windows

    return plan


def _is_evening(span: Span) -> bool:
    if isinstance(span.begins, SunEdge):
        return span.begins.event in _EVENING
    return span.begins.hour >= NOON_HOUR
