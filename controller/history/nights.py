"""Nights of the past as the journal and the site know them: what was lit, what was planned, and why not."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from controller.calendar.intervals import MS_PER_S, Interval, merge, ms_of, overlap, utc_of, without
from controller.calendar.night import Night, night_at, nights
from controller.calendar.periods import Period
from controller.history.clock_correction import ClockCorrection
from controller.history.outages import gaps_of, gaps_of_overrides
from controller.history.programs import ProgramPeriod, planned_intervals, program_periods
from controller.history.run_hours import Gap, lit_interval, time_of
from controller.history.site_history import SiteHistory, SitePeriod, dark_over
from controller.history.source import JournalSource
from controller.history.totals import Recorded
from controller.records.entries import Cause
from controller.records.past import Run

# A running keeper records a heartbeat at least this often while anything is lit: every 270 s, checked every
# 30 s. Beyond it nobody knows that a light is still on.
SIGN_OF_LIFE_S = 300
# A relay waits for its rest and its turn, and a round comes within 30 s: so much light is not missed.
WAITING_MS = 60 * MS_PER_S
_MOST_NIGHTS_AT_ONCE = 64


@dataclass(frozen=True, kw_only=True, slots=True)
class Bounds:
    """Between which instants there is something to account for; what was planned outside is not missed.

    A light that was not put out is taken to have burned until ``alive_until_utc``. Where the record has ended
    before ``present_utc``, its end is ``now_utc``.
    """

    began_utc: datetime
    now_utc: datetime
    alive_until_utc: datetime
    present_utc: datetime

    @property
    def record_ended(self) -> bool:
        """Whether nothing is known of the time up to the present."""
        return self.now_utc < self.present_utc

    @property
    def is_empty(self) -> bool:
        """Whether the journal knows nothing at all."""
        return self.began_utc >= self.now_utc

    def recorded(self, period: Period) -> Recorded:
        """Say how much of a period, up to now, lies after the beginning of the journal."""
        if self.is_empty or self.began_utc >= period.ends_at_utc:
            return Recorded.NONE
        return Recorded.PART if self.began_utc > period.starts_at_utc else Recorded.ALL

    def known(self, period: Period) -> Interval:
        """Give the part of a period between the two instants, in milliseconds; it may be empty."""
        starts_ms = max(period.interval[0], ms_of(self.began_utc))
        return starts_ms, max(starts_ms, min(period.interval[1], ms_of(self.now_utc)))


def bounds_of(history: SiteHistory, source: JournalSource, now_utc: datetime) -> Bounds:
    """Say between which instants a journal knows something.

    A journal may be read on a machine whose clock is behind the board's: then its last sign of life is now.
    Of a copy, or where the board is gone, it knows nothing after its last sign of life: as soon as a light is
    planned and there is no sign of it, and no reason for dark either, the record has ended.

    Raises:
        JournalError: the journal cannot be read.
    """
    began_utc, last_sign = source.began_at(), source.last_sign()
    alive_until_utc = now_utc
    if last_sign is not None:
        if last_sign.trusted:
            now_utc = max(now_utc, last_sign.utc)
        alive_until_utc = min(now_utc, last_sign.utc + timedelta(seconds=SIGN_OF_LIFE_S))
    bounds = Bounds(
        began_utc=began_utc or now_utc, now_utc=now_utc, alive_until_utc=alive_until_utc, present_utc=now_utc
    )
    if last_sign is None or not last_sign.trusted:
        return bounds
    return replace(bounds, now_utc=_end_of_record(history, source, bounds) or now_utc)


def _end_of_record(history: SiteHistory, source: JournalSource, bounds: Bounds) -> datetime | None:
    """Find the first instant after the last sign of life at which a light was planned, and nothing known."""
    tz = history.planner.tz
    first, last = (night_at(at_utc, tz).date for at_utc in (bounds.alive_until_utc, bounds.now_utc))
    silent = [(ms_of(bounds.alive_until_utc), ms_of(bounds.now_utc))]
    at_once = 1
    while first <= last:
        until = min(first + timedelta(days=at_once - 1), last)
        found = read_nights(history, source, list(nights(first, until, tz)), bounds, zones=())
        dark = [
            overlap(without(planned, time_of(found.gaps, zone, bounds.now_utc)), silent)
            for zone, planned in found.planned.items()
        ]
        if any(dark):
            return utc_of(min(each[0][0] for each in dark if each))
        first, at_once = until + timedelta(days=1), min(2 * at_once, _MOST_NIGHTS_AT_ONCE)
    return None


@dataclass(frozen=True, kw_only=True, slots=True)
class PastNights:
    """What is known of some nights.

    Attributes:
        dark: when the sun was below the angle of dusk.
        lit: when each zone was lit, apart.
        planned: when each zone was to be lit, less what a relay waited for its rest or its turn.
        gaps: why zones may have been dark.
        known: when the journal knows what each zone did: it has its program, and trusted the clock.
        sites: what the site was meanwhile.
        zones: ids of all zones: those that were asked for, then others that were planned or lit.
    """

    dark: Sequence[Interval]
    runs: Mapping[str, Sequence[Run]]
    lit: Mapping[str, Sequence[Interval]]
    planned: Mapping[str, Sequence[Interval]]
    gaps: Sequence[Gap]
    known: Mapping[str, Sequence[Interval]]
    sites: Sequence[SitePeriod]
    zones: Sequence[str]


def read_nights(
    history: SiteHistory,
    source: JournalSource,
    those: Sequence[Night],
    bounds: Bounds,
    *,
    zones: Sequence[str],
) -> PastNights:
    """Read what is known of some nights, in order, at least one, and of these zones and any others.

    Nothing is planned for a zone before the journal was first told of its program.

    Raises:
        JournalError: the journal cannot be read.
    """
    from_utc, to_utc = those[0].starts_at_utc, those[-1].ends_at_utc
    events = list(source.events_about(from_utc, to_utc))
    overrides = list(source.overrides(from_utc, to_utc))
    readings = [each.at for each in events] + [each.override.placed_at for each in overrides]
    correction = ClockCorrection(readings)
    runs: dict[str, list[Run]] = {}
    for run in source.runs(from_utc, to_utc):
        runs.setdefault(run.zone, []).append(_closed(run, bounds))
    starts_ms, ends_ms = ms_of(from_utc), ms_of(to_utc)
    programs = program_periods(events, correction, starts_ms=starts_ms, ends_ms=ends_ms)
    sites = history.periods((starts_ms, ends_ms))
    gaps = [
        *(_after_runs(gap, runs) for gap in gaps_of(events, correction)),
        *gaps_of_overrides(overrides, correction),
        *_out_of_service(programs),
    ]
    zones = [*zones, *sorted({*programs, *runs} - {*zones})]
    lit = {zone: merge(lit_interval(run, bounds.now_utc) for run in runs.get(zone, ())) for zone in zones}
    planned = {}
    for zone_id in zones:
        wanted = planned_intervals(programs.get(zone_id, ()), those, sites)
        explained = time_of(gaps, zone_id, bounds.now_utc)
        planned[zone_id] = _without_waiting(wanted, lit[zone_id], explained)
    without_time = [gap for gap in gaps if not gap.is_recorded]
    with_time = merge([(ms_of(bounds.began_utc), ms_of(bounds.now_utc))])
    with_time = without(with_time, time_of(without_time, "", bounds.now_utc))
    known = {
        zone: overlap(merge((each.starts_ms, each.ends_ms) for each in programs.get(zone, ())), with_time)
        for zone in zones
    }
    return PastNights(
        dark=dark_over(sites, those),
        runs=runs,
        lit=lit,
        planned=planned,
        gaps=gaps,
        known=known,
        sites=sites,
        zones=zones,
    )


def _closed(run: Run, bounds: Bounds) -> Run:
    """End a run that is still lit where the last sign of life was, if that is not now."""
    if run.off_utc is not None or bounds.alive_until_utc >= bounds.now_utc:
        return run
    return replace(run, off_utc=max(run.on_utc, bounds.alive_until_utc), lit_s=None)


def _after_runs(gap: Gap, runs: Mapping[str, Sequence[Run]]) -> Gap:
    """Begin a gap of which there is no record where the last run before it ended; its events may be older."""
    if gap.is_recorded:
        return gap
    ends = (run.off_utc for of_zone in runs.values() for run in of_zone if run.trusted and run.off_utc)
    inside = [each for each in ends if gap.ends_at_utc is None or each < gap.ends_at_utc]
    return replace(gap, starts_at_utc=max([gap.starts_at_utc, *inside]))


def _out_of_service(programs: Mapping[str, Sequence[ProgramPeriod]]) -> Iterator[Gap]:
    for zone, periods in programs.items():
        for each in periods:
            if each.program.out_of_service is not None:
                yield Gap(
                    zone=zone,
                    starts_at_utc=utc_of(each.starts_ms),
                    ends_at_utc=utc_of(each.ends_ms),
                    reason=Cause.OUT_OF_SERVICE,
                )


def _without_waiting(
    planned: Sequence[Interval], lit: Sequence[Interval], explained: Sequence[Interval]
) -> list[Interval]:
    """Take out of the plan what is dark only because a relay waited for its rest, its turn or a round.

    Where there was a reason for dark, nothing waited.
    """
    dark = without(without(planned, lit), explained)
    return without(planned, [each for each in dark if each[1] - each[0] < WAITING_MS])
