"""Sums over zones and periods: of what was lit, missed and used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from controller.calendar.intervals import MS_PER_S
from controller.calendar.periods import Period
from controller.energy.values import BandEnergy, Energy, watts
from controller.history.account import ZoneAccount
from controller.history.run_hours import REASONS_FOR_DARK, LongestOutage, Missed
from controller.records.entries import Cause
from controller.records.totals import ZoneSum

# In the order in which they are shown, what nothing explains last.
REASONS: tuple[Cause | None, ...] = (*REASONS_FOR_DARK, None)


@dataclass(frozen=True, kw_only=True, slots=True)
class HourSum:
    """A sum of accounts; the attributes mean what they mean in ZoneHours, ZoneAccount and Energy.

    Of several zones, or over several periods, there is no zone or period. The totals that the journal keeps
    (``lifetime_sum``) hold fewer figures; what they do not hold is None.
    """

    zone: str | None = None
    period: Period | None = None
    lit_ms: int
    program_ms: int | None = None
    override_ms: int | None = None
    unknown_ms: int | None = None
    untrusted_ms: int | None = None
    daylight_ms: int | None = None
    starts: int
    planned_ms: int | None = None
    missed_ms: int | None = None
    missed: tuple[Missed, ...] = ()
    longest_gap: LongestOutage | None = None
    lamps_j: Decimal
    energy: Energy | None = None
    without_load_ms: int
    loads: tuple[tuple[float | None, str], ...]
    losses: tuple[str, ...] = ()
    at_least: bool

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


def add_up(
    accounts: Iterable[ZoneAccount], *, zone: str | None = None, period: Period | None = None
) -> HourSum:
    """Add up accounts: of a zone, over a period, where these are named."""
    accounts = list(accounts)
    hours = [account.hours for account in accounts]
    energy = sum((account.energy for account in accounts), Energy())
    missed_ms: dict[Cause | None, int] = defaultdict(int)
    for part in (part for each in hours for part in each.missed):
        missed_ms[part.reason] += part.lasts_ms
    gaps = [each.longest_gap for each in hours if each.longest_gap is not None]
    return HourSum(
        zone=zone,
        period=period,
        lit_ms=sum(each.lit_ms for each in hours),
        program_ms=sum(each.program_ms for each in hours),
        override_ms=sum(each.override_ms for each in hours),
        unknown_ms=sum(each.unknown_ms for each in hours),
        untrusted_ms=sum(each.untrusted_ms for each in hours),
        daylight_ms=sum(each.daylight_ms for each in hours),
        starts=sum(each.starts for each in hours),
        planned_ms=sum(each.planned_ms for each in hours),
        missed_ms=sum(missed_ms.values()),
        missed=tuple(Missed(reason=each, lasts_ms=missed_ms[each]) for each in REASONS if missed_ms[each]),
        longest_gap=max(gaps, key=lambda gap: gap.lasts_ms, default=None),
        lamps_j=energy.lamps_j,
        energy=energy,
        without_load_ms=energy.without_load_ms,
        loads=tuple(dict.fromkeys(load for account in accounts for load in account.loads)),
        losses=tuple(dict.fromkeys(account.losses.origin for account in accounts)),
        at_least=any(account.at_least for account in accounts),
    )


def lifetime_sum(
    zones: Iterable[ZoneSum], *, zone: str | None = None, period: Period | None = None
) -> HourSum:
    """Add up the totals that the journal keeps of some zones."""
    parts = [part for zone in zones for part in zone.by_load]
    unknown_ms = round(sum(part.lit_s for part in parts if part.load_w is None) * MS_PER_S)
    joules = ((watts(part.load_w) or Decimal(0)) * Decimal(repr(part.lit_s)) for part in parts)
    return HourSum(
        zone=zone,
        period=period,
        lit_ms=round(sum(part.lit_s for part in parts) * MS_PER_S),
        starts=sum(part.starts for part in parts),
        lamps_j=sum(joules, Decimal(0)),
        without_load_ms=unknown_ms,
        loads=tuple(dict.fromkeys((part.load_w, part.load_from) for part in parts)),
        at_least=unknown_ms > 0,
    )
