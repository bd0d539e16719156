"""The second opinion on the clock: whether it may be believed, by the promises alone.

A clock is believed once the network or a hardware clock has set it, or a person vouched for it, until the
board is switched off, or it falls more than five minutes behind what was believed last. What a person vouched
for ends where somebody else sets the clock. The network's word counts in any case, but no time before the
release does. And where the site file says "always", the clock is believed whatever it says.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.clock.trust import RELEASED_UTC
from controller.records.reading import Reading
from tests.simulation.violation import Violation
from tests.simulation.world import World

RELEASED_S = RELEASED_UTC.timestamp()
BEHIND_S = 300.0
# So near to five minutes that a moment decides.
MOMENT_S = 2.0


@dataclass(kw_only=True)
class KnownTime:
    """What the journal says of the time, as the next process can know it.

    Attributes:
        last_s: the instant that a believed clock gave last; None where there is none.
        trusted_boot: the boot in which the last sign of life was believed, and not only for a person's word.
        confirmed: the boot in which a person vouched for the clock, if that was the last word, and when by
            both of its clocks.
    """

    last_s: float | None = None
    trusted_boot: str = ""
    confirmed: tuple[str, float, float] | None = None


class Belief:
    """What must be believed of the board's clock, reading by reading.

    Attributes:
        believe: what the site file says; both where it has just been changed.
        by_person: whether the clock is believed only because a person vouched for it.
    """

    def __init__(self, world: World, believe: str) -> None:
        """Begin with nothing known."""
        self._world = world
        self.believe = {believe}
        self._found = ""
        self._confirmed_s = 0.0
        self._floor_s = RELEASED_S
        self._is_known = True

    @property
    def by_person(self) -> bool:
        """Whether the clock is believed only because a person vouched for it."""
        return self._found == "person"

    def start(self, known: KnownTime | None) -> None:
        """A process starts and knows what the journal says; None where nobody can say what it knows."""
        self._is_known = known is not None
        known = known or KnownTime()
        self._floor_s = max(RELEASED_S, known.last_s or 0.0)
        self._found = "evidence" if known.trusted_boot == self._world.boot_id else ""
        if known.confirmed is not None and known.confirmed[0] == self._world.boot_id and not self._found:
            _, at_s, boot_s = known.confirmed
            self._found, self._confirmed_s = "person", at_s - boot_s

    def doubt(self) -> None:
        """What the program knows of the time may be more from now on, which nobody can say."""
        self._is_known = False

    def confirm(self) -> None:
        """A person vouches for the clock."""
        at_s = self._world.clock_utc.timestamp()
        if at_s >= RELEASED_S - BEHIND_S:
            self._is_known = True
            self._floor_s = max(at_s, RELEASED_S)
            self._found, self._confirmed_s = "person", at_s - (self._world.now_s - self._world.boot_at_s)

    def read(self, now: Reading) -> None:
        """The program has read the clock."""
        at_s, world = now.utc.timestamp(), self._world
        behind_s = self._floor_s - BEHIND_S - at_s
        too_old, behind = at_s < RELEASED_S - BEHIND_S, behind_s > 0
        if world.synchronised and not too_old:
            # The network's word says all that need be known.
            self._is_known = True
        if too_old or (behind and not world.synchronised):
            self._found = ""
        elif world.synchronised or (world.hardware and not behind):
            self._found = "evidence"
        elif self._found == "person" and abs(at_s - now.boot_s - self._confirmed_s) > 1:
            self._found = ""
        must = {bool(self._found) or each == "always" for each in self.believe}
        if self._is_known and now.trusted not in must and abs(behind_s) > MOMENT_S:
            raise Violation(f"a clock is {'' if now.trusted else 'not '}believed: {now}")
        if now.trusted and behind:
            self._floor_s = max(at_s, RELEASED_S)

    def round(self, now: Reading) -> None:
        """The program has made a round; what it believed then is not forgotten."""
        if now.trusted:
            self._floor_s = max(self._floor_s, now.utc.timestamp())
