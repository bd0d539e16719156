"""A clock for the demonstration: hours pass in seconds."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from controller.records.reading import Reading


class FastClock:
    """Stands still until ``start``, then runs ``pace`` times as fast as real time.

    Wall clock and boot-time clock run at the same pace, so that it never looks as if one had been set.

    Args:
        starts_at_utc: where it begins, aware.
        pace: seconds of this clock in one real second, above 0.
        real_s: returns real seconds; never steps.
    """

    def __init__(
        self, starts_at_utc: datetime, *, pace: float, real_s: Callable[[], float] = time.monotonic
    ) -> None:
        if not 0 < pace < float("inf"):
            raise ValueError(f"a fast clock has a pace above 0, got {pace}")
        self.pace = pace
        self._starts_at_utc = starts_at_utc.astimezone(UTC)
        self._real_s = real_s
        self._started_at_s: float | None = None

    def start(self) -> None:
        """Begin to run; a second call does nothing."""
        if self._started_at_s is None:
            self._started_at_s = self._real_s()

    def read(self) -> Reading:
        """Return the time now."""
        passed_s = 0.0 if self._started_at_s is None else (self._real_s() - self._started_at_s) * self.pace
        return Reading(
            utc=self._starts_at_utc + timedelta(seconds=passed_s),
            boot_s=passed_s,
            boot_id="demonstration",
            trusted=True,
            trust="the demonstration's own clock",
        )

    def confirm(self) -> Reading:
        """Return the time now: it is trusted already."""
        return self.read()
