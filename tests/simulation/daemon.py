"""One run of the daemon: put together as `api/daemon` does it, ended by a stop, a kill or a power cut."""

from __future__ import annotations

import contextlib
from datetime import timedelta
from pathlib import Path

from config.errors import JournalError
from config.models.site import Site
from controller.clock.trust import RELEASED_UTC, ClockTrust
from controller.journal.journal import Journal
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.keeper import Keeper
from controller.records.entries import Entry, Heartbeat
from controller.records.reading import Reading
from controller.relays import Relays
from tests.simulation.world import Killed, SimulatedBoard, World, WorldClock

# Longest time between two rounds on nights when nothing happens; the real tick when something does.
CALM_TICK_S = 6 * 3600.0
BUSY_TICK_S = 30.0
# While something is lit the keeper is woken for its heartbeat, late by half a tick ...
BEAT_EVERY_S = 285.0
# ... but on a calm night only within this time of what happens next: nobody reads the beats before.
BEATS_BEFORE_S = 3600.0


class WatchedJournal(Journal):
    """A journal that shows when the last heartbeat was written."""

    beat_boot_s = 0.0
    more_than_beats = False

    def append(self, entry: Entry) -> None:
        """Take an entry, and note a beat."""
        if isinstance(entry, Heartbeat):
            self.beat_boot_s = entry.at.boot_s
        else:
            self.more_than_beats = True
        super().append(entry)


class SimulatedDaemon:
    """A keeper with its clock, relays and journal, in the simulated world."""

    def __init__(self, world: World, site: Site, state: Path) -> None:
        """Start the program: lights first, then the care of the journal."""
        self.world = world
        self.journal = WatchedJournal(state)
        try:
            self._start(site)
        except Killed:
            self.journal.close()
            raise

    def _start(self, site: Site) -> None:
        world = self.world
        with contextlib.suppress(JournalError):
            self.journal.open()
        past = self.journal.previous_run()
        floor_utc = past.last_instant_utc if past and past.last_instant_utc else RELEASED_UTC
        trusted_boot = past.trusted_boot_id if past else None
        boot_id = f"boot-{world.boots}"
        self.clock = WorldClock(
            world,
            ClockTrust(believe="synchronised", floor_utc=floor_utc, found_earlier=trusted_boot == boot_id),
        )
        self.keeper = Keeper(
            site,
            clock=self.clock,
            relays=Relays(lambda: SimulatedBoard(world)),
            journal=self.journal,
            past=past,
            tick_s=CALM_TICK_S,
        )
        self.maintenance = JournalMaintenance(
            self.journal, clock=self.clock, past=past, learn=self.keeper.adopt_previous_run
        )
        self.due_s = world.now_s
        self.round()
        self.keeper.record_site()
        if not world.disk:
            with contextlib.suppress(JournalError):
                self.maintenance.check()

    def round(self, *, busy: bool = True, calm_until_s: float = 0.0) -> None:
        """Make a round, then write, then set when the next round is due.

        Args:
            busy: whether something happened just now, so that every tick counts.
            calm_until_s: before this moment of the world nothing happens.
        """
        world = self.world
        due_in_s = self.keeper.reconcile()
        now = self.clock.read()
        if now.trusted:
            self.clock.trust.raise_floor(now.utc)
        if busy:
            due_in_s = min(due_in_s, BUSY_TICK_S)
        elif not now.trusted and (world.hardware or world.synchronised):
            due_in_s = min(due_in_s, self._untrusted_for_s(now))
        elif any(pin.lit for pin in world.pins.values()):
            beat_in_s = self.journal.beat_boot_s + BEAT_EVERY_S - now.boot_s
            if world.fuse is None:
                beat_in_s = max(beat_in_s, calm_until_s - BEATS_BEFORE_S - world.now_s)
            due_in_s = min(due_in_s, max(beat_in_s, BUSY_TICK_S))
        self.due_s = world.now_s + due_in_s
        if busy or world.fuse is not None or self.journal.more_than_beats:
            self.write()

    def _untrusted_for_s(self, now: Reading) -> float:
        """Give a time for which a clock that is behind the journal stays so; else a tick."""
        for_s = BUSY_TICK_S
        while for_s < CALM_TICK_S and self.clock.trust.is_behind(now.utc + timedelta(seconds=2 * for_s)):
            for_s *= 2
        return for_s

    def write(self) -> None:
        """Have the journal written, unless the disk hangs. On a calm night beats wait, to save work here."""
        if self.world.disk == "slow" or not self.journal.waiting:
            return
        with contextlib.suppress(JournalError):
            self.maintenance.flush()
            self.journal.more_than_beats = False

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
