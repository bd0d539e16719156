"""Run hours: what each zone was lit, why, and when it should have been lit and was not.

Runs come from the journal, windows from the plan, darkness from the sun; everything is cut at the edges of
periods in whole milliseconds, so that the parts add up to the whole. A zone's runs may overlap where the
clock was put back between them; each counts in full.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from controller.calendar.intervals import (
    Interval,
    layers,
    merge,
    ms_of,
    overlap,
    share_out,
    total_ms,
    utc_of,
    without,
)
from controller.calendar.periods import Period
from controller.history.runs import lit_interval
from controller.records.entries import Cause, Run

BY_PROGRAM = frozenset({Cause.PROGRAM, Cause.SPECIAL_NIGHT})
# Where two reasons for dark fall together, the one that would have kept the zone dark alone comes first.
REASONS_FOR_DARK = (
    Cause.OUT_OF_SERVICE,
    Cause.POWER_LOST,
    Cause.STOPPED,
    Cause.OVERRIDE,
    Cause.CLOCK_NOT_TRUSTED,
    Cause.RELAY_FAULT,
    Cause.SITE_CHANGED,
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Gap:
    """Time in which a zone, or every zone, could not be lit, or was not meant to be.

    Attributes:
        zone: id of the zone; None for all of them.
        starts_at_utc: when it began.
        ends_at_utc: when it was over, not included; None while it lasts.
        reason: one of ``REASONS_FOR_DARK``.
    """

    zone: str | None
    starts_at_utc: datetime
    ends_at_utc: datetime | None
    reason: Cause

    def __post_init__(self) -> None:
        """Refuse a reason that explains no dark."""
        if self.reason not in REASONS_FOR_DARK:
            raise ValueError(f"“{self.reason}” is no reason why a zone stays dark")


@dataclass(frozen=True, kw_only=True, slots=True)
class ZonePast:
    """What is known of one zone.

    Attributes:
        zone: its id.
        runs: its runs, in any order, one of them perhaps still lit.
        planned: the windows of its program over the same time, in milliseconds since 1970.
        gaps: why it may have been dark; gaps of other zones are passed over.
    """

    zone: str
    runs: Sequence[Run]
    planned: Sequence[Interval] = ()
    gaps: Sequence[Gap] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Missed:
    """Planned time without light, and the reason; None where nothing explains it."""

    reason: Cause | None
    lasts_ms: int


@dataclass(frozen=True, kw_only=True, slots=True)
class LongestOutage:
    """One unbroken stretch of planned time without light, with what explains most of it."""

    starts_at_utc: datetime
    lasts_ms: int
    reason: Cause | None


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneHours:
    """What one zone did in one period; times in milliseconds.

    Attributes:
        zone: its id.
        period: the nights accounted for.
        lit_ms: how long it was lit; the sum of the next three.
        program_ms: of these because of the program or a special night.
        override_ms: because a person asked for it.
        unknown_ms: for another reason, or none that is known.
        untrusted_ms: of ``lit_ms``, in runs whose clock was not trusted at both ends: its length is
            certain, its date is not.
        daylight_ms: of ``lit_ms``, with the sun above the angle of dusk.
        starts: how often it was switched on; a run that began before the period is not counted again.
        planned_ms: time for which the program asked for light, up to now.
        missed: of these, what was not lit, by reason, in the order of ``REASONS_FOR_DARK``, unexplained last.
        longest_gap: the longest unbroken part of what was missed; None if nothing was.
    """

    zone: str
    period: Period
    lit_ms: int
    program_ms: int
    override_ms: int
    unknown_ms: int
    untrusted_ms: int
    daylight_ms: int
    starts: int
    planned_ms: int
    missed: tuple[Missed, ...]
    longest_gap: LongestOutage | None

    @property
    def missed_ms(self) -> int:
        """Planned time that was not lit, for whatever reason."""
        return sum(part.lasts_ms for part in self.missed)


def count_hours(
    past: ZonePast,
    periods: Sequence[Period],
    *,
    dark: Sequence[Interval],
    as_of_utc: datetime,
    since_utc: datetime | None = None,
) -> tuple[ZoneHours, ...]:
    """Account for one zone over some periods.

    Args:
        past: what is known of the zone.
        periods: in order, none reaching into the next.
        dark: when the sun was below the angle of dusk, over all the periods; see ``dark_intervals``.
        as_of_utc: now; what is planned for later is not missed yet.
        since_utc: when the journal began; what was planned before is not missed either.

    Returns:
        One account for each period. Over periods that tile a stretch every sum adds up to that of the whole,
        to the millisecond. Held by tests/controller/history/test_run_hours.py.

    Raises:
        ValueError: periods that overlap or are out of order, or a run of another zone.
    """
    bins = _bins(periods)
    lit = _lit(past, as_of_utc)
    intervals = [interval for _, interval in lit]
    in_dark = [piece for layer in layers(intervals) for piece in overlap(layer, dark)]
    lit_ms = _lengths(intervals, bins)
    program_ms = _lengths((interval for run, interval in lit if run.cause in BY_PROGRAM), bins)
    override_ms = _lengths((interval for run, interval in lit if run.cause is Cause.OVERRIDE), bins)
    untrusted_ms = _lengths((interval for run, interval in lit if not run.trusted), bins)
    dark_ms = _lengths(in_dark, bins)
    starts = sorted(interval[0] for interval in intervals)
    planned = overlap(merge(past.planned), _seen(bins, as_of_utc, since_utc))
    planned_ms = _lengths(planned, bins)
    found = _missed(past, without(planned, merge(intervals)), bins, as_of_utc)
    return tuple(
        ZoneHours(
            zone=past.zone,
            period=period,
            lit_ms=lit_ms[n],
            program_ms=program_ms[n],
            override_ms=override_ms[n],
            unknown_ms=lit_ms[n] - program_ms[n] - override_ms[n],
            untrusted_ms=untrusted_ms[n],
            daylight_ms=lit_ms[n] - dark_ms[n],
            starts=bisect_left(starts, bins[n][1]) - bisect_left(starts, bins[n][0]),
            planned_ms=planned_ms[n],
            missed=found[n][0],
            longest_gap=found[n][1],
        )
        for n, period in enumerate(periods)
    )


def _bins(periods: Sequence[Period]) -> list[Interval]:
    """Give the periods as intervals; refuse those in which something would be counted twice."""
    bins = [period.interval for period in periods]
    if any(before[1] > after[0] for before, after in pairwise(bins)):
        raise ValueError("periods must follow each other without reaching into one another")
    return bins


def _lit(past: ZonePast, as_of_utc: datetime) -> list[tuple[Run, Interval]]:
    """Give each run with its interval; refuse the run of another zone."""
    for run in past.runs:
        if run.zone != past.zone:
            raise ValueError(f"a run of “{run.zone}” does not belong to “{past.zone}”")
    return [(run, lit_interval(run, as_of_utc)) for run in past.runs]


def _missed(
    past: ZonePast, missed: list[Interval], bins: Sequence[Interval], as_of_utc: datetime
) -> list[tuple[tuple[Missed, ...], LongestOutage | None]]:
    """Give for each bin what was missed by reason, and the longest gap."""
    by_reason = [
        (reason, share_out(intervals, bins)) for reason, intervals in _attribute(past, missed, as_of_utc)
    ]
    found = []
    for n, pieces in enumerate(share_out(missed, bins)):
        reasons = [(reason, shares[n]) for reason, shares in by_reason if shares[n]]
        parts = tuple(Missed(reason=reason, lasts_ms=total_ms(intervals)) for reason, intervals in reasons)
        found.append((parts, _longest(pieces, reasons)))
    return found


_Reasons = list[tuple[Cause | None, list[Interval]]]


def _seen(bins: Sequence[Interval], as_of_utc: datetime, since_utc: datetime | None) -> list[Interval]:
    """Give the time over which something can have been missed: from the journal's beginning up to now."""
    if not bins:
        return []
    starts = bins[0][0] if since_utc is None else ms_of(since_utc)
    return merge([(starts, ms_of(as_of_utc))])


def _attribute(past: ZonePast, missed: list[Interval], as_of_utc: datetime) -> _Reasons:
    """Attribute each missed moment to one reason; what is left has none."""
    reasons: _Reasons = []
    left = missed
    for reason in REASONS_FOR_DARK:
        cover = merge(
            (ms_of(gap.starts_at_utc), ms_of(gap.ends_at_utc or as_of_utc))
            for gap in past.gaps
            if gap.reason is reason and gap.zone in (None, past.zone)
        )
        reasons.append((reason, overlap(left, cover)))
        left = without(left, cover)
    return [*reasons, (None, left)]


def _longest(missed: Sequence[Interval], reasons: _Reasons) -> LongestOutage | None:
    """Find the longest unbroken part of what was missed, and the reason that explains most of it."""
    if not missed:
        return None
    longest = max(missed, key=lambda interval: interval[1] - interval[0])
    reason = max(reasons, key=lambda each: total_ms(overlap(each[1], [longest])))[0]
    return LongestOutage(starts_at_utc=utc_of(longest[0]), lasts_ms=longest[1] - longest[0], reason=reason)


def _lengths(intervals: Iterable[Interval], bins: Sequence[Interval]) -> list[int]:
    """Add up what lies in each bin."""
    return [total_ms(share) for share in share_out(intervals, bins)]
