"""What the clock said at one instant: the value that the clock hands to everybody else."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One look at the clock.

    Attributes:
        utc: wall-clock instant, aware, in UTC.
        boot_s: seconds since boot, suspend included; never steps.
        boot_id: names the boot that ``boot_s`` counts from.
        trusted: whether ``utc`` may be believed.
        trust: why it is or is not believed, in words for a person.
    """

    utc: datetime
    boot_s: float
    boot_id: str
    trusted: bool
    trust: str

    def __post_init__(self) -> None:
        """Refuse a local or naive time: only UTC travels between rooms."""
        if self.utc.tzinfo is not UTC:
            raise ValueError(f"a reading's time must be in UTC, got {self.utc!r}")
