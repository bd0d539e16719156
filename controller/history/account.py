"""The account of the past: from a journal and a site to hours, energy and money, zone by zone and period.

Everything is read with one night more on either side, so that the figures of a period do not depend on where
the stretch that is asked for was cut. Long stretches are worked out piece by piece and given as they come.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.calendar.intervals import Interval, merge, ms_of, overlap, sort_into, without
from controller.calendar.night import nights
from controller.calendar.periods import Period
from controller.energy.values import losses_of
from controller.history.energy_use import energy_used
from controller.history.nights import Bounds, read_nights
from controller.history.run_hours import ZonePast, count_hours, lit_interval
from controller.history.source import JournalSource
from controller.history.totals import HourSum
from controller.planning.planner import Planner

# Nights worked out at once.
NIGHTS_AT_ONCE = 100
_ONE_NIGHT = timedelta(days=1)


def account_for_past(
    planner: Planner,
    source: JournalSource,
    periods: Sequence[Period],
    *,
    bounds: Bounds,
    zones: Sequence[str] = (),
) -> Iterator[HourSum]:
    """Account for periods that follow each other.

    Zones are all where none is named, also those that are gone by now.

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
            yield from _account(planner, source, some, bounds, zones)
            some = []
        some.append(period)
    if some:
        yield from _account(planner, source, some, bounds, zones)


@dataclass(frozen=True, kw_only=True, slots=True)
class PastLight:
    """When zones were lit, and when they were planned to be and were not, in milliseconds since 1970.

    What was lit may reach beyond the first and the last night. ``unknown`` is when, up to now, the journal
    does not know what a zone did: before it began or first heard of the zone, or without a trusted clock.
    """

    first: date
    last: date
    lit: Mapping[str, Sequence[Interval]]
    missed: Mapping[str, Sequence[Interval]]
    unknown: Mapping[str, Sequence[Interval]]


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
    those = list(nights(first, last, planner.tz))
    found = read_nights(planner, source, those, bounds)
    known = merge([(ms_of(bounds.began_utc), ms_of(bounds.now_utc))])
    gone = merge([(ms_of(those[0].starts_at_utc), ms_of(min(those[-1].ends_at_utc, bounds.now_utc)))])
    lit = {zone: found.lit[zone] for zone in zones or found.zones}
    missed = {zone: overlap(without(found.planned[zone], found.lit[zone]), known) for zone in lit}
    unknown = {zone: without(gone, found.known[zone]) for zone in lit}
    return PastLight(first=first, last=last, lit=lit, missed=missed, unknown=unknown)


def _account(
    planner: Planner, source: JournalSource, periods: Sequence[Period], bounds: Bounds, zones: Sequence[str]
) -> Iterator[HourSum]:
    around = list(nights(periods[0].first - _ONE_NIGHT, periods[-1].last + _ONE_NIGHT, planner.tz))
    found = read_nights(planner, source, around, bounds)
    of_site = {zone.id: zone for zone in planner.site.zones}
    losses = {zone: losses_of(planner.site, of_site.get(zone)) for zone in found.zones}
    loads = source.loads_at(around[0].starts_at_utc)
    energies = energy_used(planner, found, periods, losses=losses, loads=loads, bounds=bounds)
    wanted = [zone for zone in found.zones if not zones or zone in zones]
    hours, runs = {}, {}
    for zone in wanted:
        of_zone = found.runs.get(zone, ())
        past = ZonePast(zone=zone, runs=of_zone, planned=found.planned[zone], gaps=found.gaps)
        as_of_utc, since_utc = bounds.now_utc, bounds.began_utc
        hours[zone] = count_hours(
            past, periods, dark=found.dark, as_of_utc=as_of_utc, since_utc=since_utc, nights=around
        )
        runs[zone] = sort_into(
            ((lit_interval(run, as_of_utc), run) for run in of_zone), [period.interval for period in periods]
        )
    for number, by_zone in enumerate(energies):
        for zone in wanted:
            energy, origin = by_zone[zone], losses[zone].origin
            yield replace(
                hours[zone][number],
                lamps_j=energy.lamps_j,
                energy=energy,
                without_load_ms=energy.without_load_ms,
                loads=tuple(dict.fromkeys((run.load_w, run.load_from) for run in runs[zone][number])),
                losses=(origin,),
                at_least=energy.without_load_ms > 0 or origin == "losses not known",
            )
