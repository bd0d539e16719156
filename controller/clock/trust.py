"""Whether the clock is trusted, from the evidence that controller.clock.evidence collects. Pure."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

Belief = Literal["synchronised", "always"]
"""What the site file may say: believe a clock that something has set, or believe it whatever it says."""

RELEASED_UTC = datetime(2026, 11, 1, tzinfo=UTC)
"""This program did not exist before; a clock that says so is wrong. Moved forward with every release."""

BEHIND_ALLOWED = timedelta(minutes=5)
"""How far the clock may be behind the floor. Our own choice: wider than a network clock's correction of a
board that ran on its own for a month (100 ppm, 4.3 min), narrower than any wrong hour."""

NOT_SET = "the clock is not set"
CONNECT = "Connect the network"
SET_BY_HAND = 'or set the clock by hand and write believe = "always" under [clock] in the site file'
FROM_NETWORK = "set from the network"
FROM_HARDWARE = "set from the hardware clock"
EARLIER = "found right before, since the board started"
BY_SITE_FILE = "believed because the site file says so"


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """What is known of the clock.

    Attributes:
        synchronised: the kernel says that something keeps the clock right.
        hardware: a battery-backed hardware clock set the clock, and the two still agree.
        remark: what is wrong with the hardware clock; empty where nothing is.
    """

    synchronised: bool = False
    hardware: bool = False
    remark: str = ""


class ClockTrust:
    """Trust, once found, holds until the boot ends or the clock falls back.

    A clock behind the journal's latest entry is wrong, unless the network keeps it: then a wrong clock wrote
    that entry, such as one that ran months ahead before the network was found. Without that exception one bad
    hour would keep the garden dark until the time has caught up. A clock behind the release of this program
    is never trusted.

    Args:
        believe: what the site file says.
        floor_utc: the journal's latest instant, aware; the release date counts where it is later.
        found_earlier: True where the clock was trusted before in this same boot.

    Attributes:
        floor_utc: the instant that the clock must not be behind, never before the release date.
        held: why the clock is trusted for this boot, which only a fall behind the floor ends; empty before.
    """

    def __init__(self, *, believe: Belief, floor_utc: datetime, found_earlier: bool = False) -> None:
        if believe not in ("synchronised", "always"):
            raise ValueError(f"believe is “synchronised” or “always”, got {believe!r}")
        self.believe: Belief = believe
        self.held = EARLIER if found_earlier else ""
        self.floor_utc = RELEASED_UTC
        self.raise_floor(floor_utc)

    def is_behind(self, utc: datetime) -> bool:
        """Whether an instant is so far behind the floor that only the network makes it trusted."""
        return utc < self.floor_utc - BEHIND_ALLOWED

    def raise_floor(self, utc: datetime) -> None:
        """Move the floor up to ``utc``; an earlier instant moves nothing."""
        if utc.tzinfo is None:
            raise ValueError(f"the floor must be an aware instant, got {utc!r}")
        self.floor_utc = max(self.floor_utc, utc.astimezone(UTC))

    def evaluate(self, utc: datetime, evidence: Evidence) -> tuple[bool, str]:
        """Give whether the clock is trusted, and why, in words that do not change from minute to minute."""
        before_release = utc < RELEASED_UTC - BEHIND_ALLOWED
        if before_release or (self.is_behind(utc) and not evidence.synchronised):
            self.held = ""
            return False, self._behind(utc)
        if self.is_behind(utc):
            self.floor_utc = max(utc, RELEASED_UTC)
        if evidence.synchronised:
            self.held = FROM_NETWORK
        elif evidence.hardware and self.held != FROM_NETWORK:
            self.held = FROM_HARDWARE
        if self.held:
            return True, self.held
        if self.believe == "always":
            return True, BY_SITE_FILE
        what = f"{NOT_SET} ({evidence.remark})" if evidence.remark else NOT_SET
        return False, f"{what}. {CONNECT}, {SET_BY_HAND}"

    def _behind(self, utc: datetime) -> str:
        if self.floor_utc == RELEASED_UTC or utc < RELEASED_UTC - BEHIND_ALLOWED:
            limit = f"this program was made ({RELEASED_UTC:%Y-%m-%d})"
        else:
            limit = f"the last entry of the journal ({self.floor_utc:%Y-%m-%d %H:%M} UTC)"
            if utc.date() == self.floor_utc.date():
                return f"the clock is behind {limit}. {CONNECT}"
        return f"the clock says {utc:%Y-%m-%d}, before {limit}. {CONNECT}"
