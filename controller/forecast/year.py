"""The year ahead: by the present program, by others in its place, and by a mechanical timer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from config.program.spans import ClockEdge, Span
from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.night import nights
from controller.forecast.forecast import (
    NIGHTS_AHEAD,
    Forecast,
    PlanOf,
    forecast_input,
    look_ahead,
    with_mains_switching,
)
from controller.forecast.mechanical_timer import MechanicalTimer, TimerNight, timer_nights, timer_windows
from controller.forecast.what_if import do_instead, end_evenings_at, plan_of
from controller.lamps.life import Lamps, lamps_of
from controller.planning.planner import Planner
from controller.planning.program_text import format_spans
from controller.sun.sun import dark_intervals
from controller.wiring.losses import cable_losses

AS_IT_IS = "as the site file has it"


@dataclass(frozen=True, kw_only=True, slots=True)
class NamedForecast:
    """A plan by its name, and what it will do."""

    name: str
    forecast: Forecast


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
    present: NamedForecast
    others: tuple[NamedForecast, ...]
    timer: MechanicalTimer | None
    by_timer: NamedForecast | None
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
    losses = cable_losses(site)
    inputs = forecast_input(planner, losses.cable_w)

    def forecast(name: str, plan: PlanOf) -> NamedForecast:
        return NamedForecast(name=name, forecast=look_ahead(inputs, query.first, plan, count=query.count))

    present = forecast(AS_IT_IS, lambda zone, night: planner.plan(zone, night).windows)
    others = [
        forecast(f"off at {off}", plan_of([end_evenings_at(zone, off) for zone in site.zones], planner.place))
        for off in dict.fromkeys(query.off)
    ]
    others += [
        forecast(
            format_spans(program),
            plan_of([do_instead(zone, program) for zone in site.zones], planner.place),
        )
        for program in dict.fromkeys(query.programs)
    ]
    by_timer = None
    watched: tuple[TimerNight, ...] = ()
    if timer is not None:
        behind = look_ahead(
            with_mains_switching(inputs),
            query.first,
            lambda _zone, night: timer_windows(timer, night, planner.tz),
            count=query.count,
        )
        by_timer = NamedForecast(name=f"old timer {timer.on:%H:%M}-{timer.off:%H:%M}", forecast=behind)
        ahead = list(nights(behind.period.first, behind.period.last, planner.tz))
        dark = dark_intervals(planner.sun, ahead, site.dusk_angle_deg)
        watched = timer_nights(timer, ahead, dark=dark, tz=planner.tz)
    origins = {each.transformer: each.origin for each in inputs.transformers}
    return YearForecast(
        planner=planner,
        zones=zones,
        present=present,
        others=tuple(others),
        timer=timer,
        by_timer=by_timer,
        timer_nights=watched,
        lamps=tuple(lamps_of(site, losses.volts)),
        lower_bounds=frozenset(
            each.zone
            for each in inputs.zones
            if each.zone in zones
            and (each.load.lamps_w is None or origins[each.transformer] == "losses not known")
        ),
    )
