"""Now, and whether to trust it: the one place in the program that reads the clock.

Everything else takes the time as an argument, as a Reading. Tests and the simulation drive a SteppedClock.
"""

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol

from controller.clock.evidence import ClockEvidence
from controller.clock.kernel import read_boot_id
from controller.clock.trust import (
    CONFIRMED,
    FROM_NETWORK,
    STEP_TOLERANCE_S,
    Belief,
    ClockTrust,
    Evidence,
)
from controller.records.reading import Reading

_SAME_MOMENT_S = 0.01
_TRIES = 3


def now_utc() -> datetime:
    """Give this machine's time, unchecked: a default for what a person left out of a command."""
    return datetime.now(UTC)


def read_boot_s() -> float:
    """Give the seconds since boot, suspend included; nobody sets this clock."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Clock(Protocol):
    """Gives the time, and whether it is trusted."""

    def read(self) -> Reading:
        """Read the clock once."""

    def confirm(self) -> Reading:
        """Read it, and trust it from now on, because a person vouches for it.

        Raises:
            ValueError: it says a time that cannot be; says what to do.
        """


class SystemClock:
    """The clock of this machine, checked each time that it is read.

    Args:
        believe: what the site file says of the clock.
        floor_utc: the journal's last instant, aware; the release date where there is none.
        trusted_boot_id: id of the boot in which the clock was last trusted, from the journal.
        confirmed: what a person last confirmed, from the journal; it counts in the same boot only.
    """

    def __init__(
        self,
        *,
        believe: Belief = "synchronised",
        floor_utc: datetime,
        trusted_boot_id: str | None = None,
        confirmed: Reading | None = None,
        evidence: ClockEvidence | None = None,
    ) -> None:
        self.boot_id = read_boot_id()
        self.trust = ClockTrust(
            believe=believe, floor_utc=floor_utc, found_earlier=trusted_boot_id == self.boot_id
        )
        self._evidence = evidence if evidence is not None else ClockEvidence()
        self.restore_confirmation(confirmed)

    def read(self) -> Reading:
        """Read both clocks, and evaluate their trust."""
        utc, boot_s = _read_both()
        was_held = self.trust.held
        evidence = Evidence()
        # Where the network set the clock, no more evidence could change even the words.
        if was_held != FROM_NETWORK or self.trust.is_behind(utc):
            evidence = self._evidence.collect(utc, boot_s)
        trusted, words = self.trust.evaluate(utc, evidence, boot_s=boot_s)
        if was_held and not self.trust.held:
            self._evidence.forget()
        return Reading(utc=utc, boot_s=boot_s, boot_id=self.boot_id, trusted=trusted, trust=words)

    def confirm(self) -> Reading:
        """Trust it from now on, because a person vouches for it; see ``Clock``."""
        self.trust.confirm(*_read_both())
        return self.read()

    def restore_confirmation(self, confirmed: Reading | None) -> None:
        """Hold on to what a person confirmed earlier in this boot, where that is known."""
        if confirmed is not None and confirmed.boot_id == self.boot_id:
            self.trust.restore_confirmation(confirmed.utc, confirmed.boot_s)


class SteppedClock:
    """A clock that moves only when it is advanced: the stand-in for tests and the simulation."""

    def __init__(
        self,
        utc: datetime,
        *,
        boot_s: float = 0.0,
        boot_id: str = "boot-1",
        trusted: bool = True,
        trust: str = "stepped clock",
    ) -> None:
        self.utc = utc.astimezone(UTC)
        self.boot_s = boot_s
        self.boot_id = boot_id
        self.trusted = trusted
        self.trust = trust
        self._boots = 1

    def read(self) -> Reading:
        """Give the time that it was set to."""
        return Reading(
            utc=self.utc, boot_s=self.boot_s, boot_id=self.boot_id, trusted=self.trusted, trust=self.trust
        )

    def confirm(self) -> Reading:
        """Be trusted from now on."""
        self.trusted, self.trust = True, CONFIRMED
        return self.read()

    def advance(self, seconds: float) -> None:
        """Let time pass: both clocks go on, also while the machine is suspended."""
        if seconds < 0:
            raise ValueError(f"time passes forward only, got {seconds} s; step() moves the wall clock back")
        self.utc += timedelta(seconds=seconds)
        self.boot_s += seconds

    def step(self, seconds: float) -> None:
        """Set the wall clock forward, or back where negative; the boot-time clock knows nothing of it."""
        self.utc += timedelta(seconds=seconds)

    def reboot(self, *, utc: datetime | None = None, off_s: float = 0.0) -> None:
        """Start again under a new boot id, ``off_s`` later or with the wall clock at ``utc``."""
        self.utc = self.utc + timedelta(seconds=off_s) if utc is None else utc.astimezone(UTC)
        self.boot_s = 0.0
        self._boots += 1
        self.boot_id = f"boot-{self._boots}"


def step_between(earlier: Reading, later: Reading) -> float | None:
    """Give by how many seconds the wall clock was set between two readings, forward positive.

    None where it was not set, or where the readings are of different boots.
    """
    if earlier.boot_id != later.boot_id:
        return None
    wall_s = (later.utc - earlier.utc).total_seconds()
    step_s = wall_s - (later.boot_s - earlier.boot_s)
    return step_s if abs(step_s) > STEP_TOLERANCE_S else None


def _read_both() -> tuple[datetime, float]:
    """Read both clocks at one moment; again where something came between the two."""
    for _ in range(_TRIES):
        before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        utc = datetime.now(UTC)
        after_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        if after_s - before_s < _SAME_MOMENT_S:
            break
    return utc, (before_s + after_s) / 2
