"""Totals of a zone over the whole journal: how long it was lit, how often, and at what load."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadSum:
    """What a zone burned at one load.

    Attributes:
        load_w: rated load of the zone in watts, as it was then; None where not known.
        load_from: where that figure came from.
        lit_s: seconds lit, over runs that have ended.
        starts: how often it was lit.
        cycles: how often its relay closed and opened again.
    """

    load_w: float | None
    load_from: str
    lit_s: float
    starts: int
    cycles: int


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
