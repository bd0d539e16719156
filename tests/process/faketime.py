"""Faked time for a process of its own: libfaketime, a rate, an instant to start at, and steps.

The wall clock is libfaketime's. The boot-time clock is the kernel's own times the rate (environment/
sitecustomize.py says why), so this process knows at any moment what it says in the other one.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

ENVIRONMENT = Path(__file__).with_name("environment")
MISSING = "libfaketime is not installed (Debian: apt install faketime), so no clock can be faked"


def find_libfaketime() -> Path | None:
    """Find the library where Debian puts it; None where it is not installed."""
    return next(iter(sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))), None)


def boot_now_s() -> float:
    """Read the kernel's boot-time clock."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass(frozen=True, kw_only=True)
class FakeTime:
    """A wall clock that stands at an instant when a process starts, and runs at a rate from there.

    Attributes:
        rate: faked seconds in a real one.
        file: the timestamp file; None where the clock is never stepped.
    """

    rate: int
    file: Path | None = None

    def environment(self, starts_at_utc: datetime) -> dict[str, str]:
        """Give the variables that fake the time of a process, by libfaketime's README and sitecustomize.py.

        Raises:
            FileNotFoundError: libfaketime is not installed.
        """
        library = find_libfaketime()
        if library is None:
            raise FileNotFoundError(MISSING)
        found = {
            "LD_PRELOAD": str(library),
            "PYTHONPATH": str(ENVIRONMENT),
            "CLOCKS_RUN_TIMES": str(self.rate),
            # Timestamps are read as local time.
            "TZ": "UTC",
            # Else a wait on a condition would end by the real clock, in 2027: never.
            "FAKETIME_FORCE_MONOTONIC_FIX": "1",
            # The dates of files decide whether a compiled module is used.
            "NO_FAKE_STAT": "1",
            # Every timestamp counts from the start of the process, also one that is read later.
            "FAKETIME_DONT_RESET": "1",
        }
        if self.file is None:
            return found | {"FAKETIME": self._text(starts_at_utc)}
        self.set_start(starts_at_utc)
        return found | {"FAKETIME_TIMESTAMP_FILE": str(self.file), "FAKETIME_NO_CACHE": "1"}

    def set_start(self, starts_at_utc: datetime) -> None:
        """Have the process believe that it started at another instant: a step by the difference."""
        assert self.file is not None, "only a clock with a file can be stepped"
        # libfaketime ends a process that finds the file half written.
        fresh = self.file.with_name(self.file.name + ".new")
        fresh.write_text(self._text(starts_at_utc) + "\n", encoding="ascii")
        fresh.replace(self.file)

    def boot_s(self) -> float:
        """Say what the boot-time clock of a process says now."""
        return boot_now_s() * self.rate

    def real_s(self, faked_s: float) -> float:
        """Turn faked seconds into real ones."""
        return faked_s / self.rate

    def _text(self, at_utc: datetime) -> str:
        return f"@{at_utc:%Y-%m-%d %H:%M:%S}.{at_utc.microsecond:06d} x{self.rate}"


@dataclass(kw_only=True)
class Course:
    """A faked time that goes on over many processes: where it stands when the next one starts."""

    fake: FakeTime
    begins_at_utc: datetime
    begins_boot_s: float

    @classmethod
    def begin(cls, fake: FakeTime, at_utc: datetime) -> Course:
        """Begin now, at an instant."""
        return cls(fake=fake, begins_at_utc=at_utc, begins_boot_s=fake.boot_s())

    def now_utc(self) -> datetime:
        """Say where it stands."""
        return self.begins_at_utc + timedelta(seconds=self.fake.boot_s() - self.begins_boot_s)
