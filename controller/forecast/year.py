"""The year ahead: by the present program, by others in its place, and by a mechanical timer."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from functools import partial

from config.models.site import SpecialNight, Zone
from config.program.parser import parse_clock
from config.program.spans import NOON_HOUR, ClockEdge, Span, SunEdge, SunEvent
from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.night import nights
from controller.energy.values import LOSSES_NOT_KNOWN
from controller.forecast.forecast import (
    NIGHTS_AHEAD,
    Forecast,
    forecast_input,
    look_ahead,
    with_mains_switching,
)
from controller.forecast.mechanical_timer import MechanicalTimer, TimerNight, timer_nights, timer_windows
from controller.lamps.life import Lamps, lamps_of
from controller.planning.plan import plan_night
from controller.planning.planner import Planner
from controller.planning.program_record import ZoneProgram
from controller.planning.program_text import DARK, format_spans, parse_spans
from controller.sun.sun import dark_intervals
from controller.wiring.losses import cable_losses

AS_IT_IS = "as the site file has it"
_EVENING = (SunEvent.SUNSET, SunEvent.DUSK)


@dataclass(frozen=True, kw_only=True, slots=True)
class YearQuery:
    """Which nights are asked about, and what they are compared with.

    Attributes:
        off: clock times at which the evening ends instead, each a plan of its own.
        programs: programs in the place of those of the zones, each a plan of its own.
        zones: ids of the zones that are wanted; all where empty.
        count: how many nights.
    """

    first: date
    off: tuple[ClockEdge, ...] = ()
    programs: tuple[tuple[Span, ...], ...] = ()
    timer: MechanicalTimer | None = None
    zones: tuple[str, ...] = ()
    count: int = NIGHTS_AHEAD


@dataclass(frozen=True, kw_only=True, slots=True)
class YearForecast:
    """The year ahead.

    Attributes:
        zones: ids of the zones that are wanted.
        by_timer: what all zones would do behind the mechanical timer.
        timer_nights: what it would do against the sun, night by night.
        lower_bounds: ids of the wanted zones whose energy is a lower bound: their load, or their
            transformer's losses, are not known.
    """

    planner: Planner
    zones: tuple[str, ...]
    present: Forecast
    others: tuple[Forecast, ...]
    timer: MechanicalTimer | None
    by_timer: Forecast | None
    timer_nights: tuple[TimerNight, ...]
    lamps: tuple[Lamps, ...]
    lower_bounds: frozenset[str]

    def life_used(self, zone: str, lit_ms: int) -> float | None:
        """Give the part of a life that some light uses, of those lamps of a zone that it uses up fastest."""
        lives = [lamps.life_h for lamps in self.lamps if lamps.zone == zone and lamps.life_h]
        return lit_ms / MS_PER_HOUR / min(lives) if lives else None


def forecast_year(planner: Planner, query: YearQuery) -> YearForecast:
    """Work out the nights to come.

    Raises:
        UnknownZoneError: no zone has one of the ids.
    """
    site, timer = planner.site, query.timer
    zones = tuple(site.zone(zone).id for zone in query.zones) or tuple(zone.id for zone in site.zones)
    inputs = forecast_input(planner)
    ahead = partial(look_ahead, first_night=query.first, count=query.count)

    def instead(name: str, imagine: Callable[[Zone], ZoneProgram]) -> Forecast:
        imagined = {zone.id: imagine(zone) for zone in site.zones}
        return ahead(
            inputs,
            plan=lambda zone, night: plan_night(imagined[zone], night, planner.place).windows,
            name=name,
        )

    present = ahead(inputs, plan=lambda zone, night: planner.plan(zone, night).windows, name=AS_IT_IS)
    others = [
        *(instead(f"off at {off}", partial(end_evenings_at, off=off)) for off in dict.fromkeys(query.off)),
        *(
            instead(format_spans(program), partial(do_instead, program=program))
            for program in dict.fromkeys(query.programs)
        ),
    ]
    by_timer = None
    watched: tuple[TimerNight, ...] = ()
    if timer is not None:
        by_timer = ahead(
            with_mains_switching(inputs),
            plan=lambda _zone, night: timer_windows(timer, night, planner.tz),
            name=f"old timer {timer.on:%H:%M}-{timer.off:%H:%M}",
        )
        those = list(nights(present.period.first, present.period.last, planner.tz))
        dark = dark_intervals(planner.sun, those, site.dusk_angle_deg)
        watched = timer_nights(timer, those, dark=dark, tz=planner.tz)
    return YearForecast(
        planner=planner,
        zones=zones,
        present=present,
        others=tuple(others),
        timer=timer,
        by_timer=by_timer,
        timer_nights=watched,
        lamps=tuple(lamps_of(site, cable_losses(site).volts)),
        lower_bounds=frozenset(
            each.zone
            for each in inputs.zones
            if each.zone in zones and (each.load.lamps_w is None or each.losses.origin == LOSSES_NOT_KNOWN)
        ),
    )


def parse_off(text: str) -> ClockEdge:
    """Read the clock time at which evenings would end; raises ProgramError."""
    at = parse_clock(text)
    return ClockEdge(hour=at.hour, minute=at.minute, written_midnight=at == time(0))


def parse_other_program(text: str) -> tuple[Span, ...]:
    """Read a program in one line, as in ``dusk to 22:00 and 05:30 to dawn``; raises ProgramError."""
    return parse_spans(DARK if text.strip().lower() == DARK else text)


def end_evenings_at(zone: Zone, off: ClockEdge) -> ZoneProgram:
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
        SpecialNight(nights=each.nights, program=ended(each.program)) for each in zone.special_nights
    ]
    return ZoneProgram(id=zone.id, program=ended(zone.program), special_nights=tuple(special_nights))


def do_instead(zone: Zone, program: Iterable[Span]) -> ZoneProgram:
    """Imagine another program for a zone; its special nights stay as they are."""
    return ZoneProgram(id=zone.id, program=tuple(program), special_nights=zone.special_nights)


def _is_evening(span: Span) -> bool:
    if isinstance(span.begins, SunEdge):
        return span.begins.event in _EVENING
    return span.begins.hour >= NOON_HOUR
