"""The account of the past: from a journal and a site to hours, energy and money, zone by zone and period.

Everything is read with one night more on either side, so that what a period is told does not depend on where
the stretch that is asked for was cut. Long stretches are worked out piece by piece and given as they come.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from config.site import Zone
from controller.almanac import Almanac
from controller.energy import Energy, Losses
from controller.entries import Cause, Run
from controller.gaps import gaps_of, gaps_of_overrides
from controller.hours import Gap, ZoneHours, ZonePast, count_hours, dark_intervals
from controller.intervals import MS_PER_S, Interval, merge, ms_of, utc_of, without
from controller.journal_reading import JournalReader
from controller.night import Night, nights
from controller.past_energy import Meter
from controller.periods import Period
from controller.runs import lit_interval
from controller.told import read_program, tell_program
from controller.told_programs import InForce, planned_of, programs_of
from controller.true_time import TrueTime

# A keeper that is alive says so at least this often while anything is lit: a beat every 270 s, looked for
# every 30 s. Beyond it nobody knows that a light is still on.
SIGN_OF_LIFE_S = 300
# A relay waits for its rest and its turn, and a round comes within 30 s: so much light is not missed.
WAITING_MS = 60 * MS_PER_S
# Nights worked out at once.
NIGHTS_AT_ONCE = 100
_ONE_NIGHT = timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneAccount:
    """What one zone did and took in one period.

    Attributes:
        hours: lit, planned and missed.
        energy: at the lamps and at the meter, and what it cost.
        loads: the rated loads at which it was lit, in the order in which they held: watts, or None where not
            known, and where each comes from.
        losses: of its transformer.
    """

    hours: ZoneHours
    energy: Energy
    loads: tuple[tuple[float | None, str], ...]
    losses: Losses

    @property
    def at_least(self) -> bool:
        """Whether the energy is a lower bound only: some load, or the transformer's losses, are not known."""
        return self.energy.without_load_ms > 0 or self.losses.origin == "losses not known"


def account_for_past(
    almanac: Almanac,
    journal: JournalReader,
    periods: Sequence[Period],
    *,
    now_utc: datetime,
    zones: Sequence[str] = (),
    cable_w: Mapping[str, Decimal] | None = None,
) -> Iterator[ZoneAccount]:
    """Account for periods that follow each other.

    Args:
        almanac: the site as it is now.
        journal: the site's journal.
        periods: in order, each beginning where the one before ends.
        now_utc: now; what is planned for later is not missed yet.
        zones: ids of the zones that are wanted; all where none is named, also those that are gone by now.
        cable_w: watts lost in the cables of a zone while it is lit, where known.

    Returns:
        One account for each period and zone: period by period, and in each the site's zones in their order,
        then those that are gone. Periods that tile a stretch add up to it. Held by
        tests/controller/test_past_hours.py.

    Raises:
        JournalError: the journal cannot be read.
    """
    began_utc, last_sign = journal.began_at(), journal.last_sign()
    now_utc = known_until(journal, now_utc)
    alive_until_utc = now_utc
    if last_sign is not None:
        alive_until_utc = min(now_utc, last_sign.utc + timedelta(seconds=SIGN_OF_LIFE_S))
    desk = _Desk(
        almanac=almanac,
        journal=journal,
        began_utc=began_utc or now_utc,
        now_utc=now_utc,
        alive_until_utc=alive_until_utc,
        zones=zones,
        cable_w=cable_w or {},
    )
    for some in _by_the_hundred(periods):
        yield from desk.account(some)


def known_until(journal: JournalReader, now_utc: datetime) -> datetime:
    """Say up to when there is something to account for: now, or later where the journal has heard of later.

    A journal may be read on a machine whose clock is behind the board's.

    Raises:
        JournalError: the journal cannot be read.
    """
    last_sign = journal.last_sign()
    return now_utc if last_sign is None or not last_sign.trusted else max(now_utc, last_sign.utc)


def _by_the_hundred(periods: Sequence[Period]) -> Iterator[list[Period]]:
    """Gather periods until they hold enough nights to be worth reading the journal for."""
    some: list[Period] = []
    for period in periods:
        if some and sum(each.nights for each in some) + period.nights > NIGHTS_AT_ONCE:
            yield some
            some = []
        some.append(period)
    if some:
        yield some


@dataclass(frozen=True, kw_only=True, slots=True)
class _Found:
    """What the journal and the site know over some periods and a night on either side.

    Attributes:
        nights: the nights.
        dark: when the sun was below the angle of dusk.
        runs: of each zone.
        planned: when each zone was to be lit.
        gaps: why it may have been dark.
        zones: ids of all zones: those of the site in their order, then those that are gone.
    """

    nights: Sequence[Night]
    dark: Sequence[Interval]
    runs: Mapping[str, Sequence[Run]]
    planned: Mapping[str, Sequence[Interval]]
    gaps: Sequence[Gap]
    zones: Sequence[str]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Desk:
    """Everything that does not change from piece to piece."""

    almanac: Almanac
    journal: JournalReader
    began_utc: datetime
    now_utc: datetime
    alive_until_utc: datetime
    zones: Sequence[str]
    cable_w: Mapping[str, Decimal]

    def account(self, periods: Sequence[Period]) -> Iterator[ZoneAccount]:
        """Work out one piece."""
        found = self._read(periods)
        wanted = [zone for zone in found.zones if not self.zones or zone in self.zones]
        hours = {zone: self._hours(zone, periods, found) for zone in wanted}
        meter = self._meter(found.nights[0].starts_at_utc)
        energies = meter.read(found.zones, [run for runs in found.runs.values() for run in runs], periods)
        for number, period in enumerate(periods):
            for zone in wanted:
                yield ZoneAccount(
                    hours=hours[zone][number],
                    energy=energies[number][zone],
                    loads=self._loads(found.runs.get(zone, ()), period),
                    losses=meter.losses_of(zone),
                )

    def _meter(self, from_utc: datetime) -> Meter:
        """Give the meter for what comes after an instant."""
        return Meter(
            site=self.almanac.site,
            tz=self.almanac.tz,
            loads_before=self.journal.loads_before(from_utc),
            cable_w=self.cable_w,
            began_utc=self.began_utc,
            now_utc=self.now_utc,
        )

    def _read(self, periods: Sequence[Period]) -> _Found:
        """Read the journal over the periods and a night on either side."""
        site, place = self.almanac.site, self.almanac.place
        around = list(nights(periods[0].first - _ONE_NIGHT, periods[-1].last + _ONE_NIGHT, place.tz))
        from_utc, to_utc = around[0].starts_at_utc, around[-1].ends_at_utc
        events = list(self.journal.told(from_utc, to_utc))
        overrides = [(each.override, each.ended) for each in self.journal.overrides(from_utc, to_utc)]
        true_time = TrueTime([each.at for each in events] + [placed.placed_at for placed, _ in overrides])
        runs: dict[str, list[Run]] = {}
        for run in self.journal.runs(from_utc, to_utc):
            runs.setdefault(run.zone, []).append(self._closed(run))
        programs = programs_of(events, true_time, starts_ms=ms_of(from_utc), ends_ms=ms_of(to_utc))
        for zone in site.zones:
            programs.setdefault(zone.id, [_always(zone, from_utc, to_utc)])
        return _Found(
            nights=around,
            dark=dark_intervals(place.sky, around, place.dusk_angle_deg),
            runs=runs,
            planned={zone: planned_of(told, around, place) for zone, told in programs.items()},
            gaps=[
                *gaps_of(events, true_time),
                *gaps_of_overrides(overrides, true_time),
                *_out_of_service(programs),
            ],
            zones=list(dict.fromkeys([*(zone.id for zone in site.zones), *sorted({*programs, *runs})])),
        )

    def _closed(self, run: Run) -> Run:
        """End a run that is still lit where the last sign of life was, if that is not now."""
        if run.off_utc is not None or self.alive_until_utc >= self.now_utc:
            return run
        return replace(run, off_utc=max(run.on_utc, self.alive_until_utc), lit_s=None)

    def _hours(self, zone: str, periods: Sequence[Period], found: _Found) -> tuple[ZoneHours, ...]:
        """Account for the hours of one zone."""
        runs = found.runs.get(zone, ())
        lit = merge(lit_interval(run, self.now_utc) for run in runs)
        told = merge(
            (ms_of(gap.starts_at_utc), ms_of(gap.ends_at_utc or self.now_utc))
            for gap in found.gaps
            if gap.zone in (None, zone)
        )
        planned = _without_waiting(found.planned.get(zone, ()), lit, told)
        return count_hours(
            ZonePast(zone=zone, runs=runs, planned=planned, gaps=found.gaps),
            periods,
            dark=found.dark,
            as_of_utc=self.now_utc,
            since_utc=self.began_utc,
        )

    def _loads(self, runs: Sequence[Run], period: Period) -> tuple[tuple[float | None, str], ...]:
        """Give the loads of the runs that reach into a period, each once."""
        starts_ms, ends_ms = period.interval
        reaching = [
            (run.load_w, run.load_from)
            for run in runs
            for from_ms, to_ms in [lit_interval(run, self.now_utc)]
            if from_ms < ends_ms and to_ms > starts_ms
        ]
        return tuple(dict.fromkeys(reaching))


def _always(zone: Zone, from_utc: datetime, to_utc: datetime) -> InForce:
    """Take a zone that the journal never heard of as told what the site file tells it now."""
    told = read_program(zone.id, tell_program(zone))
    assert told is not None, "a zone of the site file is there"
    return InForce(told=told, starts_ms=ms_of(from_utc), ends_ms=ms_of(to_utc))


def _out_of_service(programs: Mapping[str, Sequence[InForce]]) -> Iterator[Gap]:
    """Give the time over which zones were out of service."""
    for zone, told in programs.items():
        for each in told:
            if each.told.out_of_service is not None:
                yield Gap(
                    zone=zone,
                    starts_at_utc=utc_of(each.starts_ms),
                    ends_at_utc=utc_of(each.ends_ms),
                    why=Cause.OUT_OF_SERVICE,
                )


def _without_waiting(
    planned: Sequence[Interval], lit: Sequence[Interval], told: Sequence[Interval]
) -> list[Interval]:
    """Take out of the plan what is dark only because a relay waited for its rest, its turn or a round.

    Args:
        planned: when the zone was to be lit.
        lit: when it was.
        told: when there was a reason for dark; nobody waits then.
    """
    dark = without(without(planned, lit), told)
    return without(planned, [each for each in dark if each[1] - each[0] < WAITING_MS])
