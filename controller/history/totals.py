"""What zones did, as values: hours lit and missed, energy and cost of one zone and period, or added up."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from controller.calendar.intervals import MS_PER_S
from controller.calendar.periods import Period
from controller.energy.values import BandEnergy, Energy, watts
from controller.records.entries import Cause
from controller.records.past import ZoneSum

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
# In the order in which they are shown, what nothing explains last.
REASONS: tuple[Cause | None, ...] = (*REASONS_FOR_DARK, None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Missed:
    """Planned time without light, and the reason; None where nothing explains it.

    ``nights`` are those on which it was missed, in order, with the milliseconds of each.
    """

    reason: Cause | None
    lasts_ms: int
    nights: tuple[tuple[date, int], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class LongestOutage:
    """One unbroken stretch of planned time without light, with what explains most of it."""

    starts_at_utc: datetime
    lasts_ms: int
    reason: Cause | None


@dataclass(frozen=True, kw_only=True, slots=True)
class HourSum:
    """What a zone did in a period, or several did in several; times in milliseconds.

    Of several zones, or over several periods, there is no zone or period. The totals that the journal keeps
    (``lifetime_sum``) hold fewer figures; what they do not hold is None.

    Attributes:
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
        longest_gap: the longest unbroken part of what was missed; None if nothing was.
        lamps_j: energy at the lamps.
        loads: the rated loads at which it was lit, in the order in which they held: watts, or None where not
            known, and where each comes from.
        losses: where the losses of the transformers come from.
        at_least: whether the energy is a lower bound: a load, or a transformer's losses, are not known.
        assumed: whether transformers and cables are assumed, because the journal was not told of them.
    """

    zone: str | None = None
    period: Period | None = None
    lit_ms: int = 0
    program_ms: int | None = None
    override_ms: int | None = None
    unknown_ms: int | None = None
    untrusted_ms: int | None = None
    daylight_ms: int | None = None
    starts: int = 0
    planned_ms: int | None = None
    planned_nights: tuple[date, ...] = ()
    missed_ms: int | None = None
    missed: tuple[Missed, ...] = ()
    longest_gap: LongestOutage | None = None
    lamps_j: Decimal = Decimal(0)
    energy: Energy | None = None
    without_load_ms: int = 0
    loads: tuple[tuple[float | None, str], ...] = ()
    losses: tuple[str, ...] = ()
    at_least: bool = False
    assumed: bool = False

    @property
    def meter_j(self) -> Decimal | None:
        """Energy at the meter."""
        return None if self.energy is None else self.energy.meter_j

    @property
    def bands(self) -> tuple[BandEnergy, ...]:
        """Energy at the meter by price, where there is any."""
        return tuple(band for band in (self.energy or Energy()).bands if band.meter_j)

    @property
    def cost(self) -> Decimal | None:
        """Cost, not rounded; None without a tariff."""
        return None if self.energy is None else self.energy.cost


def add_up(sums: Iterable[HourSum], *, zone: str | None = None, period: Period | None = None) -> HourSum:
    """Add up sums: those of a zone, or over a period, where these are named."""
    sums = list(sums)
    missed: dict[Cause | None, list[Missed]] = defaultdict(list)
    for part in (part for each in sums for part in each.missed):
        missed[part.reason].append(part)
    gaps = [each.longest_gap for each in sums if each.longest_gap is not None]
    energies = [each.energy for each in sums if each.energy is not None]
    return HourSum(
        zone=zone,
        period=period,
        lit_ms=sum(each.lit_ms for each in sums),
        program_ms=_known(each.program_ms for each in sums),
        override_ms=_known(each.override_ms for each in sums),
        unknown_ms=_known(each.unknown_ms for each in sums),
        untrusted_ms=_known(each.untrusted_ms for each in sums),
        daylight_ms=_known(each.daylight_ms for each in sums),
        starts=sum(each.starts for each in sums),
        planned_ms=_known(each.planned_ms for each in sums),
        planned_nights=tuple(sorted({night for each in sums for night in each.planned_nights})),
        missed_ms=_known(each.missed_ms for each in sums),
        missed=tuple(_join(missed[reason]) for reason in REASONS if reason in missed),
        longest_gap=max(gaps, key=lambda gap: gap.lasts_ms, default=None),
        lamps_j=sum((each.lamps_j for each in sums), Decimal(0)),
        energy=sum(energies, Energy()) if len(energies) == len(sums) else None,
        without_load_ms=sum(each.without_load_ms for each in sums),
        loads=tuple(dict.fromkeys(load for each in sums for load in each.loads)),
        losses=tuple(dict.fromkeys(origin for each in sums for origin in each.losses)),
        at_least=any(each.at_least for each in sums),
        assumed=any(each.assumed for each in sums),
    )


def _join(parts: Sequence[Missed]) -> Missed:
    """Add up what was missed for one reason, night by night."""
    by_night: dict[date, int] = defaultdict(int)
    for night, lasts_ms in (each for part in parts for each in part.nights):
        by_night[night] += lasts_ms
    return Missed(
        reason=parts[0].reason,
        lasts_ms=sum(part.lasts_ms for part in parts),
        nights=tuple(sorted(by_night.items())),
    )


def _known(values: Iterable[int | None]) -> int | None:
    """Add up; None where one of them is not known."""
    total = 0
    for value in values:
        if value is None:
            return None
        total += value
    return total


def lifetime_sum(zone: ZoneSum, period: Period) -> HourSum:
    """Take over the totals that the journal keeps of a zone."""
    parts = zone.by_load
    unknown_ms = round(sum(part.lit_s for part in parts if part.load_w is None) * MS_PER_S)
    joules = ((watts(part.load_w) or Decimal(0)) * Decimal(repr(part.lit_s)) for part in parts)
    return HourSum(
        zone=zone.zone,
        period=period,
        lit_ms=round(zone.lit_s * MS_PER_S),
        starts=zone.starts,
        lamps_j=sum(joules, Decimal(0)),
        without_load_ms=unknown_ms,
        loads=tuple(dict.fromkeys((part.load_w, part.load_from) for part in parts)),
        at_least=unknown_ms > 0,
    )
