"""The year ahead worked out: by the present program, by others in its place, and by an old timer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from config.program.spans import ClockEdge, Span
from controller.calendar.night import nights
from controller.forecast.forecast import (
    NIGHTS_AHEAD,
    Forecast,
    ForecastInput,
    PlanOf,
    look_ahead,
    with_mains_switching,
)
from controller.forecast.inputs import forecast_input
from controller.forecast.mechanical_timer import OldTimer, TimerNight, timer_windows, watch_timer
from controller.forecast.what_if import do_instead, end_evenings_at, plan_of
from controller.lamps.life import Lamps, lamps_of
from controller.planning.planner import Planner
from controller.sun.sun import dark_intervals
from controller.wiring.losses import cable_losses

AS_IT_IS = "as the site file has it"
_AND = " and "


@dataclass(frozen=True, kw_only=True, slots=True)
class NamedForecast:
    """A plan by its name, and what it will do."""

    name: str
    forecast: Forecast


@dataclass(frozen=True, kw_only=True, slots=True)
class YearQuery:
    """What somebody asks.

    Attributes:
        first: date of the first night.
        off: clock times at which the evening ends instead, each a plan of its own.
        programs: programs in the place of those of the zones, each a plan of its own.
        timer: the old timer to lay beside it; None for none.
        zones: ids of the zones that are wanted; all where empty.
        count: how many nights.
    """

    first: date
    off: tuple[ClockEdge, ...] = ()
    programs: tuple[tuple[Span, ...], ...] = ()
    timer: OldTimer | None = None
    zones: tuple[str, ...] = ()
    count: int = NIGHTS_AHEAD


@dataclass(frozen=True, kw_only=True, slots=True)
class YearForecast:
    """What was worked out.

    Attributes:
        planner: the site.
        zones: ids of the zones that are wanted.
        present: what the present program will do.
        others: what was asked for in its place.
        timer: the old timer; None where none was asked for.
        by_timer: what all zones would do behind it.
        timer_nights: what it would do against the sun, night by night.
        lamps: name and count of every fixture's lamps, and the lamps.
        lower_bounds: ids of the wanted zones whose energy is a lower bound: their load, or their
            transformer's losses, are not known.
    """

    planner: Planner
    zones: tuple[str, ...]
    present: NamedForecast
    others: tuple[NamedForecast, ...]
    timer: OldTimer | None
    by_timer: NamedForecast | None
    timer_nights: tuple[TimerNight, ...]
    lamps: tuple[tuple[str, int, Lamps], ...]
    lower_bounds: frozenset[str]


def forecast_year(planner: Planner, ask: YearQuery) -> YearForecast:
    """Work out the nights to come.

    Raises:
        UnknownZoneError: no zone has one of the ids.
    """
    site = planner.site
    zones = tuple(site.zone(zone).id for zone in ask.zones) or tuple(zone.id for zone in site.zones)
    wired = cable_losses(site)
    garden = forecast_input(planner, wired.cable_w)
    present = _tell(AS_IT_IS, garden, ask, lambda zone, night: planner.plan(zone, night).windows)
    others = [
        _tell(f"off at {off}", garden, ask, _imagine(planner, off=off)) for off in dict.fromkeys(ask.off)
    ]
    others += [
        _tell(_AND.join(map(str, program)) or "dark", garden, ask, _imagine(planner, program=program))
        for program in dict.fromkeys(ask.programs)
    ]
    origins = {losses.transformer: losses.origin for losses in garden.transformers}
    return YearForecast(
        planner=planner,
        zones=zones,
        present=present,
        others=tuple(others),
        timer=ask.timer,
        by_timer=_behind_timer(garden, ask),
        timer_nights=_watch(planner, ask, present.forecast),
        lamps=tuple(
            (each.name or each.kind, each.count, lamps) for _, each, lamps in lamps_of(site, wired.volts)
        ),
        lower_bounds=frozenset(
            each.zone
            for each in garden.zones
            if each.zone in zones
            and (each.load.lamps_w is None or origins[each.transformer] == "losses not known")
        ),
    )


def _tell(name: str, garden: ForecastInput, ask: YearQuery, plan: PlanOf) -> NamedForecast:
    """Work out one plan."""
    return NamedForecast(name=name, forecast=look_ahead(garden, ask.first, plan, count=ask.count))


def _imagine(planner: Planner, *, off: ClockEdge | None = None, program: Sequence[Span] = ()) -> PlanOf:
    """Imagine another off time, or another program, for every zone."""
    zones = planner.site.zones
    if off is not None:
        return plan_of([end_evenings_at(zone, off) for zone in zones], planner.place)
    return plan_of([do_instead(zone, program) for zone in zones], planner.place)


def _behind_timer(garden: ForecastInput, ask: YearQuery) -> NamedForecast | None:
    """Work out what all zones take behind an old timer, which switches the mains."""
    timer = ask.timer
    if timer is None:
        return None
    name = f"old timer {timer.on:%H:%M}-{timer.off:%H:%M}"
    return _tell(
        name, with_mains_switching(garden), ask, lambda _zone, night: timer_windows(timer, night, garden.tz)
    )


def _watch(planner: Planner, ask: YearQuery, present: Forecast) -> tuple[TimerNight, ...]:
    """Hold the old timer against the sun."""
    if ask.timer is None:
        return ()
    ahead = list(nights(present.period.first, present.period.last, planner.tz))
    dark = dark_intervals(planner.sky, ahead, planner.site.dusk_angle_deg)
    return watch_timer(ask.timer, ahead, dark=dark, tz=planner.tz)
