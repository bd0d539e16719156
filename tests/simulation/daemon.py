"""One run of the daemon: put together as `api/daemon` does it, ended by a stop, a kill or a power cut.

In some runs the control loop is the program's own, scheduler and all, on an event loop that goes by the
world's clock; in the others a few lines stand for it, which are faster. What it starts in a thread of its own
waits here until the story lets it run, one thing after the other.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import cache, lru_cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any, TypeVar
from unittest.mock import patch

from api.daemon.hooks import DaemonHooks
from api.daemon.last_good import load_or_last_good
from api.daemon.site_file import LOOK_EVERY_S, SiteFile
from config.errors import JournalError, SiteFileError
from config.file.loader import LoadedSite, load_site, parse_site
from config.validation.place import read_places
from controller.clock.clock import SystemClock
from controller.journal.journal import Journal
from controller.journal.lock import StateLock
from controller.journal.maintenance import JournalMaintenance
from controller.journal.previous_run import PreviousRun
from controller.keeper.keeper import TICK_S, Keeper
from controller.keeper.loop import ControlLoop
from controller.keeper.state import KeeperStatus
from controller.records.entries import Entry, Heartbeat
from controller.records.reading import Reading
from controller.relays import Relays
from tests.simulation.event_loop import LATE_S, StepWatch, WorldLoop, clock_of
from tests.simulation.world import Killed, SimulatedBoard, World, connect_through

T = TypeVar("T")

# Longest time between two rounds on nights when nothing happens; the real tick when something does.
CALM_TICK_S = 6 * 3600.0
# How often the clocks are compared, where two seconds are meant: it is the most frequent thing of all.
COMPARE_S = 15.0
# While something is lit the keeper is woken for its heartbeat, late by half a tick ...
BEAT_EVERY_S = 285.0
# ... but on a calm night only within this time of what happens next: nobody reads the beats before.
BEATS_BEFORE_S = 900.0
# Days of the month on which the backup is really made.
BACKUP_EVERY = 5
# Threads that wait for the disk.
# Threads that nothing here depends on, and the one that looks at the site file for ever: see ``look_at_s``.
UNSEEN = ("site file warnings", "site file")
ON_DISK = ("journal", "journal check", "last entries", "last good copy", "noon")


class WatchedJournal(Journal):
    """A journal that shows when the last heartbeat was written."""

    beat_boot_s = 0.0

    def append(self, entry: Entry) -> None:
        """Take an entry, and note a beat."""
        if isinstance(entry, Heartbeat):
            self.beat_boot_s = entry.at.boot_s
        super().append(entry)


class WatchedClock(SystemClock):
    """The program's clock, each reading of which is shown to the judge."""

    on_read: Callable[[Reading], None]
    on_confirmed: Callable[[], None]

    def confirm(self) -> Reading:
        """Have a person vouch for it."""
        self.on_confirmed()
        return super().confirm()

    def read(self) -> Reading:
        """Read it."""
        reading = super().read()
        self.on_read(reading)
        return reading


class WatchedMaintenance(JournalMaintenance):
    """The care of a journal, which shows for which nights it made backups."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Begin."""
        super().__init__(*args, **kwargs)
        self.nights: set[date] = set()

    def back_up(self, night: date) -> None:
        """Note the night; a backup itself takes long, so that only some are made."""
        self.nights.add(night)
        if night.day % BACKUP_EVERY == 0:
            super().back_up(night)


class Background:
    """Stands for a thread that has been started and has not run yet."""

    def __init__(self, daemon: SimulatedDaemon, work: Callable[[], None], name: str) -> None:
        """Wait."""
        self._daemon = daemon
        self._work = work
        self.name = name
        self._done = False

    def run(self) -> None:
        """Run to the end; a disk that fails is logged by the real one."""
        self._done = True
        with contextlib.suppress(OSError):
            self._work()

    def join(self, _timeout_s: float | None = None) -> None:
        """Wait for it: everything runs that can."""
        self._daemon.run_threads()

    def is_alive(self) -> bool:
        """Whether it has not run."""
        return not self._done


class DirectControl:
    """Stands for the control loop where there is no event loop: the same rounds, called by the story."""

    def __init__(
        self, daemon: SimulatedDaemon, *, flush: Callable[[], object], on_noon: Callable[[], None]
    ) -> None:
        """Begin; the first round is still to be made."""
        self._daemon = daemon
        self._flush = flush
        self._on_noon = on_noon
        self.keeper = daemon.keeper
        self.status = self.keeper.status()
        self._night = self.keeper.planner.night_at(self.status.at.utc)
        self._flushing = self._stopped = False
        self.due_at_s = 0.0

    def call(self, work: Callable[[Keeper], T], *, wait_s: float = 5.0) -> T:
        """Have the keeper do something, and make a round."""
        result = work(self.keeper)
        self.run_once()
        return result

    def stop(self) -> None:
        """Switch every light off, and have the journal written."""
        self._stopped = True
        self.keeper.stop()
        self._flush_soon("last entries")
        self._daemon.run_threads()

    def run_once(self) -> None:
        """Make a round, but not after the end."""
        if self._stopped:
            return
        due_in_s = self.keeper.reconcile()
        self.status = self.keeper.status()
        self._daemon.after_round(self.status)
        at_utc, night = self.status.at.utc, self._night
        if not night.holds(at_utc):
            night = self.keeper.planner.night_at(at_utc)
        if night.date != self._night.date and self.status.at.trusted:
            self._daemon.in_background(self._on_noon, name="noon")
        self._night = night
        noon_in_s = (night.ends_at_utc - at_utc).total_seconds()
        self.due_at_s = self._daemon.world.awake_s + min(due_in_s, noon_in_s)
        if not self.keeper.site_is_recorded:
            self._daemon.in_background(self.keeper.record_site, name="site record")
        if not self._flushing:
            self._flush_soon("journal")

    def _flush_soon(self, name: str) -> None:
        def flush() -> None:
            self._flushing = False
            self._flush()

        self._flushing = True
        self._daemon.in_background(flush, name=name)


class SimulatedDaemon:
    """The daemon in the simulated world: started here, advanced by the story.

    Args:
        driven: whether the program's own control loop drives it.
    """

    def __init__(
        self,
        world: World,
        site_path: Path,
        state: Path,
        *,
        driven: bool = True,
        on_round: Callable[[SimulatedDaemon], None] = lambda _daemon: None,
    ) -> None:
        """Start the program: lights first, then everything else."""
        self.world = world
        self.watch = StepWatch()
        self.loop = WorldLoop(world, self.watch) if driven else None
        self._threads: deque[Background] = deque()
        self._on_round = on_round
        self.journal: WatchedJournal | None = None
        # When the site file is looked at next, by the world's time: not again while it stays as it is.
        self.look_at_s = world.now_s + LOOK_EVERY_S
        world.daemon = self
        try:
            self._start(site_path, state)
            self.advance(busy=True)
        except BaseException:
            self.end()
            raise

    def _start(self, site_path: Path, state: Path) -> None:
        loaded, refused = load_or_last_good(site_path, state)
        lock = StateLock(state)
        with contextlib.suppress(JournalError):
            lock.keep()
        self.journal = WatchedJournal(state, lock=lock)
        past = self.journal.previous_run()
        self.clock = (past or PreviousRun()).make_clock(loaded.site.clock.believe)
        self.keeper = Keeper(
            loaded.site,
            clock=self.clock,
            relays=Relays(lambda: SimulatedBoard(self.world)),
            journal=self.journal,
            past=past,
        )
        if refused:
            self.keeper.refuse_site(refused)
        self.keeper.reconcile()
        self.hooks = DaemonHooks(
            site_path=site_path, state=state, clock=self.clock, loaded=loaded, refusal=refused
        )
        self.hooks.maintenance = self.maintenance = WatchedMaintenance(
            self.journal,
            clock=self.clock,
            past=past,
            learn=self.hooks.on_previous_run,
            on_replaced=self.hooks.on_journal_replaced,
        )
        self.control: ControlLoop | DirectControl
        flush, on_noon = self.maintenance.flush, self.hooks.on_noon
        self.in_background(self.maintenance.check, name="journal check")
        if self.loop is None:
            self.control = self.hooks.loop = DirectControl(self, flush=flush, on_noon=on_noon)  # type: ignore[assignment]
            self.control.run_once()
            self.hooks.on_started()
        else:
            self.control = self.hooks.loop = ControlLoop(
                self.keeper, clock=self.clock, flush=flush, on_round=self.after_round, on_noon=on_noon
            )
            self._running = self.loop.create_task(self.control.run(on_started=self.hooks.on_started))

    def after_round(self, status: KeeperStatus) -> None:
        """A round has been made."""
        self.hooks.on_round(status)
        self._on_round(self)

    # -- time passes -----------------------------------------------------------------------------------------

    def wait_s(self, now: Reading | None, *, busy: bool, calm_until_s: float = 0.0) -> float:
        """Give in how many seconds the program must be woken.

        Args:
            now: the clock, where it has just been read.
            busy: whether something happened just now, so that every tick counts.
            calm_until_s: before this moment of the world nothing happens.
        """
        self.keeper.tick_s = TICK_S if busy else CALM_TICK_S
        if self.watch.was_set:
            return 0.0
        return min(self.look_at_s - self.world.now_s, self._wait_s(now, busy=busy, calm_until_s=calm_until_s))

    def _wait_s(self, now: Reading | None, *, busy: bool, calm_until_s: float) -> float:
        if busy and self.loop is not None:
            return self.loop.next_s
        world = self.world
        if self.loop is not None:
            wait_s = self.loop.next_job_s
        else:
            wait_s = max(self.control.due_at_s - world.awake_s, 0.0) + LATE_S
            if busy:
                since_s = world.now_s - world.boot_at_s - self.control.status.at.boot_s
                return min(wait_s, max(TICK_S - since_s, 0.0) + LATE_S)
        now = now or self.clock.read()
        wait_s = min(wait_s, CALM_TICK_S)
        if not now.trusted and (world.hardware or world.synchronised):
            wait_s = min(wait_s, self._untrusted_for_s(now))
        elif any(pin.lit for pin in world.pins.values()):
            assert self.journal is not None
            beat_in_s = self.journal.beat_boot_s + BEAT_EVERY_S - now.boot_s
            if world.fuse is None:
                beat_in_s = max(beat_in_s, calm_until_s - BEATS_BEFORE_S - world.now_s)
            wait_s = min(wait_s, max(beat_in_s, TICK_S))
        return wait_s

    def _untrusted_for_s(self, now: Reading) -> float:
        """Give a time for which a clock that is behind the journal stays so; else a tick."""
        for_s = TICK_S
        while for_s < CALM_TICK_S and self.clock.trust.is_behind(now.utc + timedelta(seconds=2 * for_s)):
            for_s *= 2
        return for_s

    def advance(self, *, busy: bool) -> None:
        """Run what is due; on a calm night the journal is written later, since nobody looks at it before."""
        self._run_due()
        if self.world.now_s >= self.look_at_s:
            self._look()
        self.run_threads(journal=busy or self.world.fuse is not None)

    def _look(self) -> None:
        """Look at the site file, and again only where it is being changed."""
        pause_s = self.hooks.site_file.look()
        again = pause_s < LOOK_EVERY_S or self.control.status.site_changed_at is not None
        self.look_at_s = self.world.now_s + pause_s if again else float("inf")

    def run_threads(self, *, journal: bool = True) -> None:
        """Run the threads that wait, one after the other, but for those that a disk that hangs holds up."""
        held: deque[Background] = deque()
        while self._threads:
            thread = self._threads.popleft()
            hangs = self.world.disk == "slow" and thread.name in ON_DISK
            if hangs or (thread.name == "journal" and not journal):
                held.append(thread)
                continue
            thread.run()
            if self.loop is not None and not self.loop.is_running():
                self._run_due()
        self._threads = held

    def write(self) -> None:
        """Have everything done that waits: a quiet disk, and a moment's peace."""
        self._run_due()
        while self._threads:
            self.run_threads()
        assert self.journal is not None
        if self.loop is not None and self.journal.waiting and not self.journal.fault:
            # What the thread that came last has to tell is written after the next round.
            self.loop.call_soon(self.control.run_once)
            self._run_due()
            while self._threads:
                self.run_threads()

    def in_background(self, work: Callable[[], None], *, name: str) -> Background:
        """Start a thread: it waits for its turn."""
        thread = Background(self, work, name)
        if name not in UNSEEN:
            self._threads.append(thread)
        return thread

    def _run_due(self) -> None:
        if self.loop is not None:
            self.loop.run_due()
        elif self.watch.rearm() or self._is_due():
            self.control.run_once()
        if self.world.killed:
            raise Killed

    def _is_due(self) -> bool:
        """Whether a round is due where the story makes them."""
        since_s = self.world.now_s - self.world.boot_at_s - self.control.status.at.boot_s
        return self.world.awake_s >= self.control.due_at_s or since_s >= TICK_S

    # -- ends ------------------------------------------------------------------------------------------------

    def stop(self) -> list[int]:
        """End as asked, by SIGTERM; give the pins that are lit after it."""
        self.world.ending = True
        self.hooks.on_stop()
        self._run_due()
        if self.loop is not None:
            self._running.result()
        lit = [number for number, pin in self.world.pins.items() if pin.lit]
        self.world.ending = False
        self.end()
        return lit

    def end(self) -> None:
        """End without a word: what was not committed is gone, and the kernel lets the pins go."""
        self.world.release_pins()
        if self.loop is not None:
            self.world.is_dead = True
            self.loop.abandon()
            self.world.is_dead = False
        if self.journal is not None:
            with contextlib.suppress(sqlite3.Error):
                self.journal.close()


@lru_cache(maxsize=64)
def _parse(text: str, file_name: str) -> LoadedSite | SiteFileError:
    try:
        return parse_site(text, file_name)
    except SiteFileError as error:
        return error


def parse_once(text: str, file_name: str = "garden.toml") -> LoadedSite:
    """Read a text once: the same is read at every start and by the judge."""
    found = _parse(text, file_name)
    if isinstance(found, SiteFileError):
        raise found.with_traceback(None)
    return found


# The tables of the time zone data are the same in every garden.
read_once = cache(read_places)


@contextlib.contextmanager
def in_this_world(world: World) -> Iterator[None]:
    """Give the program this world's clock, disk and threads."""
    real = __import__("asyncio").run_coroutine_threadsafe

    def run_coroutine_threadsafe(work: Any, loop: WorldLoop) -> Any:
        future = real(work, loop)
        loop.run_due()
        return future

    def load_once(path: Path) -> LoadedSite:
        return parse_once(path.read_text(), str(path)) if path.exists() else load_site(path)

    def make_clock(**known: Any) -> WatchedClock:
        clock = WatchedClock(**known)
        clock.on_read, clock.on_confirmed = world.on_read, world.on_confirmed
        return clock

    def in_background(work: Callable[[], None], *, name: str) -> Background:
        daemon: SimulatedDaemon = world.daemon
        return daemon.in_background(work, name=name)

    changes = {
        "sqlite3.connect": connect_through(world),
        "asyncio.run_coroutine_threadsafe": run_coroutine_threadsafe,
        "apscheduler.schedulers.base.datetime": clock_of(world),
        # What a job takes is looked up each time one is added, which is after every round.
        "apscheduler.job.check_callable_args": lambda *_: None,
        "controller.clock.clock._read_both": world.read_clocks,
        "controller.clock.clock.read_boot_id": lambda: world.boot_id,
        "controller.clock.clock.ClockEvidence": lambda: world,
        "controller.journal.previous_run.SystemClock": make_clock,
        "controller.keeper.loop.COLLECT_EVERY_S": COMPARE_S,
        "controller.keeper.loop.ClockStepWatch": SimpleNamespace(open=lambda: world.daemon.watch),
        "controller.keeper.loop.in_background": in_background,
        "api.daemon.hooks.in_background": in_background,
        "api.daemon.hooks.tz_data_stamp": lambda _zone: world.zone_data,
        "api.daemon.hooks.use_newest_zone_data": lambda: None,
        "api.daemon.hooks.SiteFile": partial(SiteFile, now_s=lambda: world.awake_s),
        "api.daemon.site_file.parse_site": parse_once,
        "api.daemon.last_good.load_site": load_once,
        "config.validation.place.read_places": read_once,
    }
    with contextlib.ExitStack() as stack:
        for name, value in changes.items():
            stack.enter_context(patch(name, value))
        yield
