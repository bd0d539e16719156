"""One reading of the clock, which every other module gets as an argument."""

from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One reading of the clock.

    Attributes:
        boot_s: seconds since boot, suspend included; never steps.
        boot_id: names the boot that ``boot_s`` counts from.
        trusted: whether ``utc`` may be believed.
        trust: why it is or is not believed.
    """

    utc: datetime
    boot_s: float
    boot_id: str
    trusted: bool
    trust: str

    def __post_init__(self) -> None:
        if self.utc.tzinfo is not UTC:
            raise ValueError(f"a reading's time must be in UTC, got {self.utc!r}")
