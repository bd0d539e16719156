"""What zones did, as values: hours lit and missed, energy and cost of one zone and period, or added up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import reduce
from operator import add, sub

from controller.calendar.intervals import ms_of, utc_of
from controller.calendar.periods import Period
from controller.energy.values import BandEnergy, Energy
from controller.records.entries import Cause

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
_NO_ENERGY = Energy()
# In the order in which they are shown, what nothing explains last.
REASONS: tuple[Cause | None, ...] = (*REASONS_FOR_DARK, None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Missed:
    """Planned time without light, and the reason; None where nothing explains it.

    ``on_nights`` counts the nights on which it was missed; of several zones it is None where it is not known
    which nights these are. ``nights`` are the nights, in order, with the milliseconds of each.
    """

    reason: Cause | None
    lasts_ms: int
    on_nights: int | None = None
    nights: tuple[tuple[date, int], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class DarkGap:
    """One unbroken stretch of planned time without light, with what explains most of it."""

    starts_at_utc: datetime
    lasts_ms: int
    reason: Cause | None


@dataclass(frozen=True, kw_only=True, slots=True)
class DarkGaps:
    """Dark gaps of a stretch: the longest, and those at its very beginning and end, which may go on."""

    longest: DarkGap | None = None
    at_start: DarkGap | None = None
    at_end: DarkGap | None = None

    def __add__(self, later: DarkGaps) -> DarkGaps:
        """Put two stretches of one zone together, where one follows the other or comes later."""
        first, second = self.at_end, later.at_start
        joined = None
        if first and second and utc_of(ms_of(first.starts_at_utc) + first.lasts_ms) == second.starts_at_utc:
            reason = max(first, second, key=lambda gap: gap.lasts_ms).reason
            joined = replace(first, lasts_ms=first.lasts_ms + second.lasts_ms, reason=reason)
        return DarkGaps(
            longest=_longest(self.longest, joined, later.longest),
            at_start=joined if joined and self.at_start == first else self.at_start,
            at_end=joined if joined and later.at_end == second else later.at_end,
        )


def _longest(*gaps: DarkGap | None) -> DarkGap | None:
    return max(filter(None, gaps), key=lambda gap: gap.lasts_ms, default=None)


class Recorded(StrEnum):
    """How much of a period up to now lies in the time that the journal knows."""

    ALL = "all"
    PART = "part"
    NONE = "none"


@dataclass(frozen=True, kw_only=True, slots=True)
class Figures:
    """What two periods are compared by."""

    lit_ms: int = 0
    missed_ms: int = 0
    lamps_j: Decimal = Decimal(0)
    meter_j: Decimal = Decimal(0)
    cost: Decimal | None = None

    def __add__(self, other: Figures) -> Figures:
        """Add up two; the cost is known where either is, as that of nothing is not."""
        return Figures(
            lit_ms=self.lit_ms + other.lit_ms,
            missed_ms=self.missed_ms + other.missed_ms,
            lamps_j=self.lamps_j + other.lamps_j,
            meter_j=self.meter_j + other.meter_j,
            cost=_of_known(add, self.cost, other.cost),
        )

    def __sub__(self, other: Figures) -> Figures:
        """Give by how much this is more; the cost is known where either is."""
        return Figures(
            lit_ms=self.lit_ms - other.lit_ms,
            missed_ms=self.missed_ms - other.missed_ms,
            lamps_j=self.lamps_j - other.lamps_j,
            meter_j=self.meter_j - other.meter_j,
            cost=_of_known(sub, self.cost, other.cost),
        )


def _of_known(
    combine: Callable[[Decimal, Decimal], Decimal], one: Decimal | None, other: Decimal | None
) -> Decimal | None:
    """Combine two; one that is not known is nothing, and nothing is known where neither is."""
    return None if one is None and other is None else combine(one or Decimal(0), other or Decimal(0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """What was in another period, or was expected in the same, and how much more there is now.

    Of several zones or periods, the sum over those of which both sides are known.

    Attributes:
        period: the other period; None of several.
        change: this period less the other; None where the journal does not know all of the other.
        at_least: whether the energy of the other is a lower bound.
    """

    period: Period | None
    other: Figures
    change: Figures | None
    at_least: bool = False


def _add_comparisons(comparisons: Iterable[Comparison | None]) -> Comparison | None:
    """Add up those that can be compared; None where there is none."""
    known = [(each, each.change) for each in comparisons if each is not None and each.change is not None]
    if not known:
        return None
    return Comparison(
        period=None,
        other=reduce(add, (each.other for each, _ in known)),
        change=reduce(add, (change for _, change in known)),
        at_least=any(each.at_least for each, _ in known),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class HourSum:
    """What a zone did in a period, or several did in several; times in milliseconds.

    Of several zones, or over several periods, there is no zone or period.

    Attributes:
        is_over: whether the period is over; what comes later is not planned or missed yet.
        recorded: whether the journal had begun.
        lit_ms: how long it was lit; the sum of the next three.
        program_ms: of these because of the program or a special night.
        override_ms: because a person asked for it.
        unknown_ms: for another reason, or none that is known.
        untrusted_ms: of ``lit_ms``, in runs of boots whose clock was never trusted: its length is certain,
            its date is not.
        daylight_ms: of ``lit_ms``, with the sun above the angle of dusk.
        starts: how often it was switched on; a run that began before the period is not counted again.
        planned_ms: time for which the program asked for light, up to now.
        planned_nights: the nights on which it did, in order.
        missed: of these, what was not lit, by reason, in the order of ``REASONS``.
        gaps: the longest unbroken part of what was missed, and what may go on before or after the period.
        lamps_j: energy at the lamps.
        loads: the rated loads at which it was lit, in the order in which they held: watts, or None where not
            known, and where each comes from.
        losses: where the losses of the transformers come from.
        at_least: whether the energy is a lower bound: a load, or a transformer's losses, are not known.
        assumed: whether transformers and cables are assumed, because the journal was not told of them.
        year_earlier: the same a year earlier, where that was asked for and the journal knows it.
        forecast: what the present program was expected to use, where that was asked for.
    """

    zone: str | None = None
    period: Period | None = None
    is_over: bool = True
    recorded: Recorded = Recorded.ALL
    lit_ms: int = 0
    program_ms: int = 0
    override_ms: int = 0
    unknown_ms: int = 0
    untrusted_ms: int = 0
    daylight_ms: int = 0
    starts: int = 0
    planned_ms: int = 0
    planned_nights: tuple[date, ...] = ()
    missed_ms: int = 0
    missed: tuple[Missed, ...] = ()
    gaps: DarkGaps = DarkGaps()
    lamps_j: Decimal = Decimal(0)
    energy: Energy = _NO_ENERGY
    without_load_ms: int = 0
    loads: tuple[tuple[float | None, str], ...] = ()
    losses: tuple[str, ...] = ()
    at_least: bool = False
    assumed: bool = False
    year_earlier: Comparison | None = None
    forecast: Comparison | None = None

    @property
    def longest_gap(self) -> DarkGap | None:
        """The longest unbroken part of what was missed; None if nothing was."""
        return self.gaps.longest

    @property
    def meter_j(self) -> Decimal:
        """Energy at the meter."""
        return self.energy.meter_j

    @property
    def bands(self) -> tuple[BandEnergy, ...]:
        """Energy at the meter by price, where there is any."""
        return tuple(band for band in self.energy.bands if band.meter_j)

    @property
    def cost(self) -> Decimal | None:
        """Cost, not rounded; None without a tariff."""
        return self.energy.cost

    @property
    def figures(self) -> Figures:
        """What is compared with other periods."""
        return Figures(
            lit_ms=self.lit_ms,
            missed_ms=self.missed_ms,
            lamps_j=self.lamps_j,
            meter_j=self.meter_j,
            cost=self.cost,
        )


def add_up(sums: Iterable[HourSum], *, zone: str | None = None, period: Period | None = None) -> HourSum:
    """Add up sums: those of a zone in the order of time, or over a period, where these are named."""
    sums = list(sums)
    missed: dict[Cause | None, list[Missed]] = defaultdict(list)
    for part in (part for each in sums for part in each.missed):
        missed[part.reason].append(part)
    if zone is None:
        # Dark gaps of several zones do not go on in each other.
        gaps = DarkGaps(longest=_longest(*(each.longest_gap for each in sums)))
    else:
        gaps = reduce(add, (each.gaps for each in sums)) if sums else DarkGaps()
    recorded = {each.recorded for each in sums}
    return HourSum(
        zone=zone,
        period=period,
        is_over=all(each.is_over for each in sums),
        recorded=recorded.pop() if len(recorded) == 1 else Recorded.PART if recorded else Recorded.ALL,
        lit_ms=sum(each.lit_ms for each in sums),
        program_ms=sum(each.program_ms for each in sums),
        override_ms=sum(each.override_ms for each in sums),
        unknown_ms=sum(each.unknown_ms for each in sums),
        untrusted_ms=sum(each.untrusted_ms for each in sums),
        daylight_ms=sum(each.daylight_ms for each in sums),
        starts=sum(each.starts for each in sums),
        planned_ms=sum(each.planned_ms for each in sums),
        planned_nights=tuple(sorted({night for each in sums for night in each.planned_nights})),
        missed_ms=sum(each.missed_ms for each in sums),
        missed=tuple(_join(missed[reason], zone) for reason in REASONS if reason in missed),
        gaps=gaps,
        lamps_j=sum((each.lamps_j for each in sums), Decimal(0)),
        energy=sum((each.energy for each in sums), Energy()),
        without_load_ms=sum(each.without_load_ms for each in sums),
        loads=tuple(dict.fromkeys(load for each in sums for load in each.loads)),
        losses=tuple(dict.fromkeys(origin for each in sums for origin in each.losses)),
        at_least=any(each.at_least for each in sums),
        assumed=any(each.assumed for each in sums),
        year_earlier=_add_comparisons(each.year_earlier for each in sums),
        forecast=_add_comparisons(each.forecast for each in sums),
    )


def _join(parts: Sequence[Missed], zone: str | None) -> Missed:
    """Add up what was missed for one reason, night by night where the nights are known."""
    by_night: dict[date, int] = defaultdict(int)
    for night, lasts_ms in (each for part in parts for each in part.nights):
        by_night[night] += lasts_ms
    on_nights = len(by_night) or None
    if zone is not None and not by_night:
        # Periods share no night, as zones do.
        on_nights = sum(part.on_nights or 0 for part in parts)
    return Missed(
        reason=parts[0].reason,
        lasts_ms=sum(part.lasts_ms for part in parts),
        on_nights=on_nights,
        nights=tuple(sorted(by_night.items())),
    )


def without_nights(each: HourSum) -> HourSum:
    """Leave out which nights it were, so that a sum takes no more memory the more nights it is about."""
    missed = tuple(replace(part, nights=()) for part in each.missed)
    return replace(each, planned_nights=(), missed=missed)
