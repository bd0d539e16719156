"""What the journal answers about the past: runs, overrides, and the totals of a zone."""

from dataclasses import dataclass, replace
from datetime import datetime

from controller.records.entries import Cause, Override, OverrideEnded


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """One stretch of light of one zone, made of two switchings; still lit, it has no end yet: None.

    Attributes:
        on_utc: when it really began, also where the clock was wrong then, if any clock of that boot was right
            at another time; ``off_utc`` is ``lit_s`` later.
        lit_s: seconds lit, measured on the boot-time clock where both ends share a boot, else the
            difference of the wall-clock instants.
        cause: why it was lit; ``words`` is the same in words.
        load_w: rated load in watts when it was lit; None where not known.
        trusted: whether a trusted clock says when it was.
    """

    zone: str
    on_utc: datetime
    off_utc: datetime | None
    lit_s: float | None
    cause: Cause
    words: str
    ended_by: Cause | None
    load_w: float | None
    load_from: str
    trusted: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class PastOverride:
    """An override, and its end; None while it is in force."""

    override: Override
    ended: OverrideEnded | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadAt:
    """The rated load of a zone in watts, None where not known, at an instant at which it was lit."""

    lit_at_utc: datetime
    load_w: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadSum:
    """What a zone burned at one load.

    Attributes:
        load_w: rated load of the zone in watts, as it was then; None where not known.
        lit_s: seconds lit, over runs that have ended.
        starts: how often it was lit.
        cycles: how often its relay closed and opened again.
    """

    load_w: float | None
    load_from: str
    lit_s: float
    starts: int
    cycles: int

    def plus(self, other: "LoadSum") -> "LoadSum":
        """Add what was burned at the same load."""
        return replace(
            self,
            lit_s=self.lit_s + other.lit_s,
            starts=self.starts + other.starts,
            cycles=self.cycles + other.cycles,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneSum:
    """What a zone burned, in all and at each load; the attributes mean what they mean in LoadSum."""

    zone: str
    by_load: tuple[LoadSum, ...]

    @property
    def lit_s(self) -> float:
        """Seconds lit, over runs that have ended."""
        return sum(part.lit_s for part in self.by_load)

    @property
    def starts(self) -> int:
        """How often it was lit."""
        return sum(part.starts for part in self.by_load)

    @property
    def cycles(self) -> int:
        """How often its relay closed and opened again."""
        return sum(part.cycles for part in self.by_load)
