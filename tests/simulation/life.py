"""One life of the program: put together as the daemon puts it together, ended by a stop, a kill or a cut."""

from __future__ import annotations

import contextlib
from pathlib import Path

from config.errors import JournalError
from config.site import Site
from controller.clock_trust import RELEASED_UTC, Trust
from controller.journal import Journal
from controller.keeper import Keeper
from controller.past import read_past
from controller.relays import Relays

from tests.simulation.world import SimulatedBoard, World, WorldClock

# Longest time between two rounds on nights when nothing happens; the real tick when something does.
CALM_TICK_S = 6 * 3600.0
BUSY_TICK_S = 30.0
# While something is lit a calm keeper is woken for its sign of life.
CALM_BEAT_S = 270.0


class Life:
    """A keeper with its clock, relays and journal, in the simulated world."""

    def __init__(self, world: World, site: Site, state: Path) -> None:
        """Start the program: lights first, then the care of the journal."""
        self.world = world
        self.journal = Journal(state)
        with contextlib.suppress(JournalError):
            self.journal.open()
        past = read_past(self.journal)
        self._past_known = past is not None
        floor_utc = past.last_instant_utc if past and past.last_instant_utc else RELEASED_UTC
        trusted_boot = past.trusted_boot_id if past else None
        boot_id = f"boot-{world.boots}"
        self.clock = WorldClock(
            world, Trust(believe="synchronised", floor_utc=floor_utc, found_earlier=trusted_boot == boot_id)
        )
        self.keeper = Keeper(
            site,
            clock=self.clock,
            relays=Relays(lambda: SimulatedBoard(world)),
            journal=self.journal,
            past=past,
            tick_s=CALM_TICK_S,
        )
        self.due_s = world.now_s
        self.round()
        self.check()

    def round(self, *, busy: bool = True) -> None:
        """Make a round, then write, then say when the next round is due."""
        due_in_s = self.keeper.round()
        status = self.keeper.status()
        if status.at.trusted:
            self.clock.trust.raise_floor(status.at.utc)
        if busy:
            due_in_s = min(due_in_s, BUSY_TICK_S)
        elif any(zone.lit for zone in status.zones):
            due_in_s = min(due_in_s, CALM_BEAT_S)
        self.due_s = self.world.now_s + due_in_s
        self.write()

    def write(self) -> None:
        """Have the journal written, unless the disk hangs; what an earlier keeper left is taken late."""
        if self.world.disk == "slow" or not self.journal.waiting:
            return
        try:
            self.journal.flush()
        except JournalError:
            return
        if not self._past_known and (past := read_past(self.journal)) is not None:
            self._past_known = True
            self.keeper.take_back(past.overrides)

    def check(self) -> None:
        """Look after the journal, as the daemon does once the lights are right."""
        if self.world.disk:
            return
        with contextlib.suppress(JournalError):
            self.journal.check(self.clock.read())

    def stop(self) -> None:
        """End as asked, by SIGTERM."""
        self.world.ending = True
        self.keeper.stop()
        self.write()
        self.journal.close()
        self.world.release_pins()
        self.world.ending = False

    def end(self) -> None:
        """End without a word: what was not committed is gone, and the kernel lets the pins go."""
        self.journal.close()
        self.world.release_pins()
