"""The account of the past: from a journal and a site to hours, energy and money, zone by zone and period.

Everything is read with one night more on either side, so that the figures of a period do not depend on where
the stretch that is asked for was cut. Long stretches are worked out piece by piece and given as they come.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from controller.calendar.intervals import Interval, merge, ms_of, overlap, without
from controller.calendar.night import nights
from controller.calendar.periods import Period
from controller.history.energy_use import EnergyUse
from controller.history.nights import Bounds, read_nights
from controller.history.run_hours import ZonePast, count_hours, lit_interval
from controller.history.source import JournalSource
from controller.history.totals import HourSum
from controller.planning.planner import Planner
from controller.records.past import Run

# Nights worked out at once.
NIGHTS_AT_ONCE = 100
_ONE_NIGHT = timedelta(days=1)
_Loads = dict[tuple[float | None, str], None]


def account_for_past(
    planner: Planner,
    source: JournalSource,
    periods: Sequence[Period],
    *,
    bounds: Bounds,
    zones: Sequence[str] = (),
    cable_w: Mapping[str, Decimal] | None = None,
) -> Iterator[HourSum]:
    """Account for periods that follow each other.

    Zones are all where none is named, also those that are gone by now; ``cable_w`` is the watts lost in the
    cables of a zone while it is lit at its load of now, where known.

    Returns:
        One account for each period and zone: period by period, and in each the site's zones in their order,
        then those that are gone. Periods that tile a stretch add up to it. Held by
        tests/controller/history/test_account.py.

    Raises:
        JournalError: the journal cannot be read.
    """
    some: list[Period] = []
    for period in periods:
        if some and sum(each.nights for each in some) + period.nights > NIGHTS_AT_ONCE:
            yield from _account(planner, source, some, bounds, zones=zones, cable_w=cable_w or {})
            some = []
        some.append(period)
    if some:
        yield from _account(planner, source, some, bounds, zones=zones, cable_w=cable_w or {})


@dataclass(frozen=True, kw_only=True, slots=True)
class PastLight:
    """When zones were lit, and when they were planned to be and were not, in milliseconds since 1970.

    What was lit may reach beyond the first and the last night.
    """

    first: date
    last: date
    lit: Mapping[str, Sequence[Interval]]
    missed: Mapping[str, Sequence[Interval]]


def light_of_past(
    planner: Planner,
    source: JournalSource,
    first: date,
    last: date,
    *,
    bounds: Bounds,
    zones: Sequence[str] = (),
) -> PastLight:
    """Give when zones, all where none is named, were lit and missed over some nights, the last one included.

    Raises:
        JournalError: the journal cannot be read.
    """
    found = read_nights(planner, source, list(nights(first, last, planner.tz)), bounds)
    known = merge([(ms_of(bounds.began_utc), ms_of(bounds.now_utc))])
    lit = {zone: found.lit[zone] for zone in zones or found.zones}
    missed = {zone: overlap(without(found.planned[zone], found.lit[zone]), known) for zone in lit}
    return PastLight(first=first, last=last, lit=lit, missed=missed)


def _account(
    planner: Planner,
    source: JournalSource,
    periods: Sequence[Period],
    bounds: Bounds,
    *,
    zones: Sequence[str],
    cable_w: Mapping[str, Decimal],
) -> Iterator[HourSum]:
    around = list(nights(periods[0].first - _ONE_NIGHT, periods[-1].last + _ONE_NIGHT, planner.tz))
    found = read_nights(planner, source, around, bounds)
    use = EnergyUse(
        site=planner.site,
        tz=planner.tz,
        loads=source.loads_at(around[0].starts_at_utc),
        cable_w=cable_w,
        began_utc=bounds.began_utc,
        now_utc=bounds.now_utc,
    )
    energies = use.compute(found.zones, [run for runs in found.runs.values() for run in runs], periods)
    hours: dict[str, tuple[HourSum, ...]] = {}
    loads: dict[str, list[_Loads]] = {}
    for zone in found.zones:
        if zones and zone not in zones:
            continue
        runs = found.runs.get(zone, ())
        past = ZonePast(zone=zone, runs=runs, planned=found.planned[zone], gaps=found.gaps)
        as_of_utc, since_utc = bounds.now_utc, bounds.began_utc
        hours[zone] = count_hours(past, periods, dark=found.dark, as_of_utc=as_of_utc, since_utc=since_utc)
        loads[zone] = _loads(runs, periods, bounds)
    losses = {zone: use.losses_of(zone).origin for zone in hours}
    for number in range(len(periods)):
        for zone in hours:
            energy, origin = energies[number][zone], losses[zone]
            yield replace(
                hours[zone][number],
                lamps_j=energy.lamps_j,
                energy=energy,
                without_load_ms=energy.without_load_ms,
                loads=tuple(loads[zone][number]),
                losses=(origin,),
                at_least=energy.without_load_ms > 0 or origin == "losses not known",
            )


def _loads(runs: Sequence[Run], periods: Sequence[Period], bounds: Bounds) -> list[_Loads]:
    """Give for each period the loads of the runs that reach into it, each once, in their order."""
    begins = [period.interval[0] for period in periods]
    ends_ms = periods[-1].interval[1]
    loads: list[_Loads] = [{} for _ in periods]
    for run in runs:
        from_ms, to_ms = lit_interval(run, bounds.now_utc)
        if to_ms <= from_ms or from_ms >= ends_ms:
            continue
        since, until = bisect_right(begins, from_ms) - 1, bisect_left(begins, to_ms)
        for number in range(max(since, 0), until):
            loads[number][run.load_w, run.load_from] = None
    return loads
