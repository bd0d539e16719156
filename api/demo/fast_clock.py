"""A clock in a hurry, for the demonstration: it begins where it is told to and passes hours in seconds."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from controller.records.reading import Reading


class FastClock:
    """Stands still until ``go``, then runs ``pace`` times as fast as real time.

    Wall clock and boot-time clock hurry alike, so that it never looks as if one of them had been set.
    """

    def __init__(
        self, starts_at_utc: datetime, *, pace: float, real_s: Callable[[], float] = time.monotonic
    ) -> None:
        """Stand at an instant.

        Args:
            starts_at_utc: where it begins, aware.
            pace: seconds of this clock in one of real time, more than zero.
            real_s: tells real seconds; never steps.
        """
        if not 0 < pace < float("inf"):
            raise ValueError(f"a hurried clock has a pace above 0, got {pace}")
        self.pace = pace
        self._starts_at_utc = starts_at_utc.astimezone(UTC)
        self._real_s = real_s
        self._went_at_s: float | None = None

    def go(self) -> None:
        """Begin to run; once is enough."""
        if self._went_at_s is None:
            self._went_at_s = self._real_s()

    def read(self) -> Reading:
        """Say where it stands."""
        passed_s = 0.0 if self._went_at_s is None else (self._real_s() - self._went_at_s) * self.pace
        return Reading(
            utc=self._starts_at_utc + timedelta(seconds=passed_s),
            boot_s=passed_s,
            boot_id="demonstration",
            trusted=True,
            trust="the demonstration's own clock",
        )
