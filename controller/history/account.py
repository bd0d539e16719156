"""The account of the past: from a journal and a site to hours, energy and money, zone by zone and period.

Everything is read with one night more on either side, so that the figures of a period do not depend on where
the stretch that is asked for was cut. Long stretches are worked out piece by piece and given as they come.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import chain

from controller.calendar.intervals import Interval, merge, ms_of, overlap, sort_into, without
from controller.calendar.night import nights
from controller.calendar.periods import Period
from controller.history.energy_use import energy_used
from controller.history.nights import Bounds, read_nights
from controller.history.run_hours import ZonePast, count_hours, lit_interval
from controller.history.site_history import SiteHistory, SitePeriod
from controller.history.source import JournalSource
from controller.history.steps import sums_in_steps
from controller.history.totals import HourSum, without_nights
from controller.planning.planner import Planner

_ONE_NIGHT = timedelta(days=1)

Step = dict[Period, list[HourSum]]
"""The periods that a step of work completed, each with its rows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class AccountInput:
    """What an account is made from.

    Attributes:
        known: ids of the zones of the whole question: see ``zones_in``.
        zones: ids of those that are asked about; all where there is none.
    """

    history: SiteHistory
    source: JournalSource
    bounds: Bounds
    known: Sequence[str]
    zones: Sequence[str] = ()


def account_for_past(
    history: SiteHistory,
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
    if not periods:
        return
    known = zones_in(history, source, (periods[0].interval[0], periods[-1].interval[1]))
    inputs = AccountInput(history=history, source=source, bounds=bounds, known=known, zones=zones)
    for step in account_in_steps(inputs, periods):
        yield from chain.from_iterable(step.values())


def account_in_steps(
    inputs: AccountInput, periods: Iterable[Period], *, with_nights: bool = True
) -> Iterator[Step]:
    """Do the same some nights at a time: see ``sums_in_steps``.

    ``with_nights`` keeps the dates on which light was planned and missed, which do grow with the periods.
    """
    bounds = inputs.bounds

    def work(pieces: Sequence[Period]) -> Iterator[HourSum]:
        parts = _account(inputs, pieces)
        return parts if with_nights else map(without_nights, parts)

    for step in sums_in_steps(periods, inputs.history.planner.tz, work):
        completed = {}
        for period, sums in step.items():
            is_over, recorded = period.ends_at_utc <= bounds.now_utc, bounds.recorded(period)
            completed[period] = [replace(each, is_over=is_over, recorded=recorded) for each in sums]
        yield completed


@dataclass(frozen=True, kw_only=True, slots=True)
class PastLight:
    """When zones were lit, and when they were planned to be and were not, in milliseconds since 1970.

    What was lit may reach beyond the first and the last night. ``unknown`` is when, up to now, the journal
    does not know what a zone did: before it began or first heard of the zone, or without a trusted clock.
    ``planner`` has the time zone of the time, ``sites`` are where the site was meanwhile.
    """

    planner: Planner
    sites: Sequence[SitePeriod]
    first: date
    last: date
    lit: Mapping[str, Sequence[Interval]]
    missed: Mapping[str, Sequence[Interval]]
    unknown: Mapping[str, Sequence[Interval]]


def light_of_past(
    history: SiteHistory,
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
    those = list(nights(first, last, history.planner.tz))
    all_zones = zones_in(history, source, (those[0].interval[0], those[-1].interval[1]))
    found = read_nights(history, source, those, bounds, zones=all_zones)
    known = merge([(ms_of(bounds.began_utc), ms_of(bounds.now_utc))])
    gone = merge([(ms_of(those[0].starts_at_utc), ms_of(min(those[-1].ends_at_utc, bounds.present_utc)))])
    lit = {zone: found.lit[zone] for zone in zones or all_zones}
    missed = {zone: overlap(without(found.planned[zone], found.lit[zone]), known) for zone in lit}
    unknown = {zone: without(gone, found.known[zone]) for zone in lit}
    return PastLight(
        planner=history.planner,
        sites=found.sites,
        first=first,
        last=last,
        lit=lit,
        missed=missed,
        unknown=unknown,
    )


def zones_in(history: SiteHistory, source: JournalSource, within: Interval) -> list[str]:
    """Give the ids of today's zones in their order, then of those that were there in a stretch.

    Before the journal was told of the site, any that was ever lit may have been there.
    """
    today = [zone.id for zone in history.planner.site.zones]
    periods = history.periods(within)
    then = {zone for each in periods for zone in each.facts.supplies}
    if any(each.assumed for each in periods):
        then.update(each.zone for each in source.totals())
    return [*today, *sorted(then - {*today})]


def _account(inputs: AccountInput, periods: Sequence[Period]) -> Iterator[HourSum]:
    history, source, bounds, known = inputs.history, inputs.source, inputs.bounds, inputs.known
    tz = history.planner.tz
    around = list(nights(periods[0].first - _ONE_NIGHT, periods[-1].last + _ONE_NIGHT, tz))
    found = read_nights(history, source, around, bounds, zones=known)
    loads = {zone: each.load_w for zone, each in source.loads_at(around[0].starts_at_utc).items()}
    uses = energy_used(history, found, periods, loads=loads, bounds=bounds)
    wanted = [zone for zone in known if not inputs.zones or zone in inputs.zones]
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
    for number, by_zone in enumerate(uses):
        for zone in wanted:
            use = by_zone[zone]
            yield replace(
                hours[zone][number],
                lamps_j=use.energy.lamps_j,
                energy=use.energy,
                without_load_ms=use.energy.without_load_ms,
                loads=tuple(dict.fromkeys((run.load_w, run.load_from) for run in runs[zone][number])),
                losses=use.losses,
                at_least=use.at_least,
                assumed=use.assumed,
            )
