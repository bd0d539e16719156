"""Whether the clock is trusted, from the evidence that controller.clock.evidence collects. Pure."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from config.phrase import Phrase

Belief = Literal["synchronised", "always"]
"""What the site file may say: believe a clock that something has set, or believe it whatever it says."""

RELEASED_UTC = datetime(2026, 11, 1, tzinfo=UTC)
"""This program did not exist before; a clock that says so is wrong. Moved forward with every release."""

BEHIND_ALLOWED = timedelta(minutes=5)
"""How far the clock may be behind the floor. Our own choice: wider than a network clock's correction of a
board that ran on its own for a month (100 ppm, 4.3 min), narrower than any wrong hour."""

CONFIRMED_WITHIN = timedelta(minutes=1)
"""How far the time that a person sees may be from the clock that they vouch for."""

STEP_TOLERANCE_S = 1.0
"""Two readings may disagree by this much without a step. The kernel slews both clocks alike, so that only a
step parts them; what is left is the moment between the two calls, and a leap second."""

NOT_SET = Phrase("the clock is not set")
SET_SINCE = Phrase("the clock was set after a person confirmed it")
CONFIRM = "leerie clock SITE.toml --confirm"
REMEDY = Phrase("Connect the network, or confirm the time ({command})", command=CONFIRM)
SET_REMEDY = Phrase("Connect the network, or set the clock and confirm it ({command})", command=CONFIRM)
FROM_NETWORK = Phrase("set from the network")
FROM_HARDWARE = Phrase("set from the hardware clock")
EARLIER = Phrase("found right before, since the board started")
CONFIRMED = Phrase("confirmed by a person")
BY_SITE_FILE = Phrase("believed because the site file says so")
IMPOSSIBLE = f"{BY_SITE_FILE}, but "
"""So begins what is said of a clock that is followed, as its owner asked, although it cannot be right: the
lights go by it, and the journal marks what it says as not trusted."""


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

    A clock behind the journal's last entry is wrong, unless the network keeps it or a person vouches for it:
    then a wrong clock wrote that entry, such as one that ran months ahead before the network was found.
    Without that exception one bad hour would keep the garden dark until the time has caught up. A clock
    behind the release of this program is wrong, whoever vouches for it.

    What a person confirmed holds until something other than the network sets the clock: they vouched for that
    time, not for what somebody types later. And where the site file says "always", the clock is believed
    whatever it says, as its owner asked.

    Args:
        believe: what the site file says.
        floor_utc: the journal's last instant, aware; the release date counts where it is later.
        found_earlier: True where the clock was trusted before in this same boot.

    Attributes:
        floor_utc: the instant that the clock must not be behind, never before the release date.
        held: why the clock is trusted for this boot; empty before it is, and after that ended.
    """

    def __init__(self, *, believe: Belief, floor_utc: datetime, found_earlier: bool = False) -> None:
        if believe not in ("synchronised", "always"):
            raise ValueError(f"believe is “synchronised” or “always”, got {believe!r}")
        self.believe: Belief = believe
        self.held = EARLIER if found_earlier else ""
        self._not_set = NOT_SET
        # When this boot began, by the clock that a person confirmed.
        self._began_utc: datetime | None = None
        self.floor_utc = RELEASED_UTC
        self.raise_floor(floor_utc)

    def is_behind(self, utc: datetime) -> bool:
        """Whether an instant is so far behind the floor that it takes the network or a person to trust it."""
        return utc < self.floor_utc - BEHIND_ALLOWED

    def raise_floor(self, utc: datetime) -> None:
        """Move the floor up to ``utc``; an earlier instant moves nothing."""
        if utc.tzinfo is None:
            raise ValueError(f"the floor must be an aware instant, got {utc!r}")
        self.floor_utc = max(self.floor_utc, utc.astimezone(UTC))

    def confirm(self, utc: datetime, boot_s: float) -> None:
        """Trust the clock from now on because a person vouches for it; the floor comes down to it.

        Raises:
            ValueError: it says a time before this program was made.
        """
        if _is_before_release(utc):
            raise ValueError(self._behind(utc))
        self.floor_utc = max(utc, RELEASED_UTC)
        self.held = ""
        self.restore_confirmation(utc, boot_s)

    def restore_confirmation(self, utc: datetime, boot_s: float) -> None:
        """Hold on to what a person confirmed earlier in this boot, unless it is trusted already."""
        if not self.held:
            self.held, self._began_utc = CONFIRMED, utc - timedelta(seconds=boot_s)

    def evaluate(self, utc: datetime, evidence: Evidence, *, boot_s: float = 0.0) -> tuple[bool, str]:
        """Give whether the clock is trusted, and why, in words that do not change from minute to minute."""
        before_release, behind = _is_before_release(utc), self.is_behind(utc)
        if before_release or (behind and not evidence.synchronised):
            self.held = ""
            if self.believe != "always":
                return False, self._behind(utc)
        if behind:
            self.floor_utc = max(utc, RELEASED_UTC)
        if before_release:
            return True, Phrase("believed because the site file says so, but {why}", why=self._behind(utc))
        if evidence.synchronised:
            self.held = FROM_NETWORK
        elif evidence.hardware and self.held != FROM_NETWORK and not behind:
            self.held = FROM_HARDWARE
        elif self.held == CONFIRMED and self._was_set(utc, boot_s):
            self.held, self._not_set = "", SET_SINCE
        if self.held:
            self._not_set = NOT_SET
            return True, self.held
        if self.believe == "always":
            return True, BY_SITE_FILE
        if not evidence.remark:
            return False, Phrase("{what}. {remedy}", what=self._not_set, remedy=REMEDY)
        remark = evidence.remark
        return False, Phrase("{what} ({remark}). {remedy}", what=self._not_set, remark=remark, remedy=REMEDY)

    def _was_set(self, utc: datetime, boot_s: float) -> bool:
        """Whether the clock was set since a person confirmed it."""
        if self._began_utc is None:
            return True
        return abs((utc - self._began_utc).total_seconds() - boot_s) > STEP_TOLERANCE_S

    def _behind(self, utc: datetime) -> Phrase:
        says = f"{utc:%Y-%m-%d}"
        if self.floor_utc == RELEASED_UTC or _is_before_release(utc):
            return Phrase(
                "the clock says {says}, before this program was made ({made}). {remedy}",
                says=says,
                made=f"{RELEASED_UTC:%Y-%m-%d}",
                remedy=SET_REMEDY,
            )
        last = f"{self.floor_utc:%Y-%m-%d %H:%M}"
        if utc.date() == self.floor_utc.date():
            return Phrase(
                "the clock is behind the last entry of the journal ({last} UTC). {remedy}",
                last=last,
                remedy=REMEDY,
            )
        return Phrase(
            "the clock says {says}, before the last entry of the journal ({last} UTC). {remedy}",
            says=says,
            last=last,
            remedy=REMEDY,
        )


def _is_before_release(utc: datetime) -> bool:
    return utc < RELEASED_UTC - BEHIND_ALLOWED
