"""Run hours: what each zone was lit, why, and when it should have been lit and was not.

Runs come from the journal, windows from the plan, darkness from the sun; everything is cut at the edges of
periods in whole milliseconds, so that the parts add up to the whole. A zone's runs may overlap where the
clock was put back between them; each counts in full.

A run lasts ``lit_s``, measured on the boot-time clock, which no step of the wall clock touches. The journal
says when that was, also where the clock was stepped or wrong: see ``controller/journal/rows.py``.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import chain, pairwise

from controller.calendar.intervals import (
    MS_PER_S,
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
from controller.calendar.night import Night
from controller.calendar.periods import Period
from controller.history.totals import REASONS_FOR_DARK, DarkGap, DarkGaps, HourSum, Missed
from controller.records.entries import Cause
from controller.records.past import Run

_ALWAYS_UTC = datetime(1970, 1, 1, tzinfo=UTC)
BY_PROGRAM = frozenset({Cause.PROGRAM, Cause.SPECIAL_NIGHT})


@dataclass(frozen=True, kw_only=True, slots=True)
class Gap:
    """Time in which a zone, or every zone where None, could not be lit, or was not meant to be.

    ``ends_at_utc`` is not included, and None while it lasts; the reason is one of ``REASONS_FOR_DARK``. Where
    the clock of a whole boot was never trusted, nobody knows what happened when: not ``is_recorded``.
    """

    zone: str | None
    starts_at_utc: datetime
    ends_at_utc: datetime | None
    reason: Cause
    is_recorded: bool = True

    def __post_init__(self) -> None:
        if self.reason not in REASONS_FOR_DARK:
            raise ValueError(f"“{self.reason}” is no reason why a zone stays dark")


def time_of(gaps: Iterable[Gap], zone: str, as_of_utc: datetime) -> list[Interval]:
    """Give when gaps of a zone or of every zone lasted, joined."""
    return merge(
        (ms_of(gap.starts_at_utc), ms_of(gap.ends_at_utc or as_of_utc))
        for gap in gaps
        if gap.zone in (None, zone)
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ZonePast:
    """What is known of one zone; runs and gaps in any order, those of other zones among the gaps."""

    zone: str
    runs: Sequence[Run]
    planned: Sequence[Interval] = ()
    gaps: Sequence[Gap] = ()


def lit_interval(run: Run, as_of_utc: datetime) -> Interval:
    """Give when a run was lit, in milliseconds since 1970; one that is still lit reaches up to now."""
    if run.off_utc is None:
        on_ms = ms_of(run.on_utc)
        return on_ms, max(on_ms, ms_of(as_of_utc))
    off_ms = ms_of(run.off_utc)
    lit_s = run.lit_s if run.lit_s is not None else (run.off_utc - run.on_utc).total_seconds()
    return off_ms - max(round(lit_s * MS_PER_S), 0), off_ms


def count_hours(
    past: ZonePast,
    periods: Sequence[Period],
    *,
    dark: Sequence[Interval],
    as_of_utc: datetime,
    since_utc: datetime = _ALWAYS_UTC,
    nights: Sequence[Night] = (),
) -> tuple[HourSum, ...]:
    """Account for one zone over some periods.

    Periods are in order, none reaching into the next; ``dark`` is when the sun was below the angle of dusk.
    ``nights`` are those of the periods, for the dates on which light was planned and missed. What is planned
    for later than ``as_of_utc``, or was before ``since_utc``, is not missed.

    Returns:
        What it did in each period, without the energy. Over periods that tile a stretch every sum adds up to
        that of the whole, to the millisecond. Held by tests/controller/history/test_run_hours.py.

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
    planned = overlap(merge(past.planned), merge([(ms_of(since_utc), ms_of(as_of_utc))]))
    planned_ms = _lengths(planned, bins)
    planned_on = _sort_by_night(planned, periods, nights)
    attributed = _attribute(past, without(planned, merge(intervals)), as_of_utc)
    found = _missed(attributed, periods, bins, nights)
    return tuple(
        HourSum(
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
            planned_nights=tuple(night for night, _ in planned_on[n]),
            missed_ms=sum(part.lasts_ms for part in found[n][0]),
            missed=found[n][0],
            gaps=found[n][1],
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
    attributed: Mapping[Cause | None, Sequence[Interval]],
    periods: Sequence[Period],
    bins: Sequence[Interval],
    nights: Sequence[Night],
) -> list[tuple[tuple[Missed, ...], DarkGaps]]:
    """Give for each period what was missed by reason, and the dark gaps."""
    pieces = {reason: share_out(intervals, bins) for reason, intervals in attributed.items()}
    by_night = {reason: _sort_by_night(some, periods, nights) for reason, some in attributed.items()}
    found = []
    for n in range(len(bins)):
        reasons = {reason: shares[n] for reason, shares in pieces.items() if shares[n]}
        parts = [
            Missed(
                reason=reason,
                lasts_ms=total_ms(part),
                on_nights=len(by_night[reason][n]),
                nights=tuple(by_night[reason][n]),
            )
            for reason, part in reasons.items()
        ]
        found.append((tuple(parts), _gaps(merge(chain(*reasons.values())), reasons, bins[n])))
    return found


def _sort_by_night(
    intervals: Sequence[Interval], periods: Sequence[Period], nights: Sequence[Night]
) -> list[list[tuple[date, int]]]:
    """Give for each period the nights that intervals reach into, with how much of them, in milliseconds."""
    if not intervals:
        return [[] for _ in periods]
    boxes = [(ms_of(night.starts_at_utc), ms_of(night.ends_at_utc)) for night in nights]
    shares = share_out(intervals, boxes)
    found = [(night.date, total_ms(share)) for night, share in zip(nights, shares, strict=False) if share]
    dates = [night for night, _ in found]
    return [found[bisect_left(dates, each.first) : bisect_right(dates, each.last)] for each in periods]


def _attribute(
    past: ZonePast, missed: list[Interval], as_of_utc: datetime
) -> dict[Cause | None, list[Interval]]:
    """Attribute each missed moment to one reason; what is left has none."""
    reasons: dict[Cause | None, list[Interval]] = {}
    left = missed
    for reason in REASONS_FOR_DARK:
        cover = time_of((gap for gap in past.gaps if gap.reason is reason), past.zone, as_of_utc)
        reasons[reason] = overlap(left, cover)
        left = without(left, cover)
    return {**reasons, None: left}


def _gaps(
    missed: Sequence[Interval], reasons: Mapping[Cause | None, Sequence[Interval]], bin_: Interval
) -> DarkGaps:
    """Find the longest unbroken part of what was missed, and those at either edge."""
    if not missed:
        return DarkGaps()

    def gap(interval: Interval) -> DarkGap:
        reason = max(reasons, key=lambda each: total_ms(overlap(reasons[each], [interval])))
        lasts_ms = interval[1] - interval[0]
        return DarkGap(starts_at_utc=utc_of(interval[0]), lasts_ms=lasts_ms, reason=reason)

    return DarkGaps(
        longest=gap(max(missed, key=lambda interval: interval[1] - interval[0])),
        at_start=gap(missed[0]) if missed[0][0] == bin_[0] else None,
        at_end=gap(missed[-1]) if missed[-1][1] == bin_[1] else None,
    )


def _lengths(intervals: Iterable[Interval], bins: Sequence[Interval]) -> list[int]:
    return [total_ms(share) for share in share_out(intervals, bins)]
