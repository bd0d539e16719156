"""Accounts of zones and periods added up: to totals of zones, of periods and of all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from controller.energy.values import Energy
from controller.history.account import ZoneAccount
from controller.history.run_hours import REASONS_FOR_DARK, LongestOutage
from controller.records.entries import Cause

# In the order in which they are shown, what nothing explains last.
REASONS: tuple[Cause | None, ...] = (*REASONS_FOR_DARK, None)


@dataclass(kw_only=True)
class HourSum:
    """A sum of accounts; the attributes mean what they mean in ZoneHours and ZoneAccount."""

    lit_ms: int = 0
    program_ms: int = 0
    override_ms: int = 0
    unknown_ms: int = 0
    untrusted_ms: int = 0
    daylight_ms: int = 0
    starts: int = 0
    planned_ms: int = 0
    missed_ms: dict[Cause | None, int] = field(default_factory=dict)
    longest_gap: LongestOutage | None = None
    energy: Energy = field(default_factory=Energy)
    loads: tuple[tuple[float | None, str], ...] = ()
    losses: tuple[str, ...] = ()
    at_least: bool = False

    def add(self, account: ZoneAccount) -> None:
        """Add one account."""
        hours = account.hours
        self.lit_ms += hours.lit_ms
        self.program_ms += hours.program_ms
        self.override_ms += hours.override_ms
        self.unknown_ms += hours.unknown_ms
        self.untrusted_ms += hours.untrusted_ms
        self.daylight_ms += hours.daylight_ms
        self.starts += hours.starts
        self.planned_ms += hours.planned_ms
        for part in hours.missed:
            self.missed_ms[part.why] = self.missed_ms.get(part.why, 0) + part.lasts_ms
        gap = hours.longest_gap
        if gap is not None and (self.longest_gap is None or gap.lasts_ms > self.longest_gap.lasts_ms):
            self.longest_gap = gap
        self.energy += account.energy
        self.loads = tuple(dict.fromkeys((*self.loads, *account.loads)))
        self.losses = tuple(dict.fromkeys((*self.losses, account.losses.origin)))
        self.at_least = self.at_least or account.at_least

    @property
    def missed(self) -> list[tuple[Cause | None, int]]:
        """What was missed, by reason, in the order in which reasons are shown."""
        return [(why, self.missed_ms[why]) for why in REASONS if self.missed_ms.get(why)]


def add_up(accounts: Iterable[ZoneAccount]) -> HourSum:
    """Add up accounts."""
    total = HourSum()
    for account in accounts:
        total.add(account)
    return total
