"""The rounds: when the keeper looks after its relays. APScheduler lives here and nowhere else.

Four things lead to a round, each enough by itself: the next boundary, by APScheduler, to the millisecond; a
bounded tick that knows nothing of wall clocks; the kernel's word that the clock was set; and two clocks that
no longer go together. A timer is a hint: whichever comes first, or not at all, the round works out the state
from the instant alone.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.base import BaseTrigger

from controller.clock.clock import Clock, step_between
from controller.clock.kernel import ClockStepWatch
from controller.keeper.keeper import TICK_S, Keeper
from controller.keeper.state import KeeperStatus

log = logging.getLogger(__name__)
T = TypeVar("T")

# How often the two clocks are compared. The kernel's word of a step comes sooner, where it comes: not every
# kernel has it, and nothing tells when it has gone silent. A comparison costs some 5 us.
COMPARE_S = 0.5
# What is due at once is due after this pause: APScheduler enumerates what is due up to now, and must come to
# an end.
LEAST_PAUSE_S = 0.001
# A round that raises, which none should, is made again after this pause.
AFTER_A_RAISE_S = 5.0
# The journal's last entries may take this long at the end; the lights are dark by then.
LAST_FLUSH_S = 0.8


class NextBoundary(BaseTrigger):  # type: ignore[misc]  # APScheduler ships no types
    """Fires once the keeper's next round is due, counted from now alone and never from the last firing.

    A clock that jumps by months therefore makes one round due, not a round for every boundary in between.
    """

    def __init__(self, due_in_s: float) -> None:
        """Remember in how many seconds the next round is due; at least a millisecond lies ahead."""
        self._due_in_s = max(due_in_s, LEAST_PAUSE_S)

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:  # noqa: ARG002
        """Say when to fire, by APScheduler's contract."""
        return now + timedelta(seconds=self._due_in_s)


class ControlLoop:
    """Makes the keeper's rounds in an event loop of its own thread, and has the journal written beside it.

    Args:
        keeper: makes each round.
        clock: the keeper's clock, looked at for steps between two rounds.
        flush: writes what waits in the journal; runs in a thread of its own and may be slow or raise OSError.
        on_round: told of every round that was completed, such as to feed a watchdog.
        on_noon: told when a new night has begun; runs in a thread of its own.
        pace: how many seconds of the keeper's clock pass in one of real time; 1 but in a demonstration.
    """

    def __init__(
        self,
        keeper: Keeper,
        *,
        clock: Clock,
        flush: Callable[[], None],
        on_round: Callable[[KeeperStatus], None] = lambda _status: None,
        on_noon: Callable[[], None] = lambda: None,
        pace: float = 1.0,
    ) -> None:
        """Take the keeper; nothing moves before ``run``."""
        self.keeper = keeper
        self._clock = clock
        self._flush = flush
        self._on_round = on_round
        self._on_noon = on_noon
        self._pace = pace
        self._status = keeper.status()
        self._night = keeper.planner.night_at(self._status.at.utc)
        self._writing = False
        self._written = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._scheduler: Any = None
        self._stop: asyncio.Event | None = None
        self._stopped = False

    @property
    def status(self) -> KeeperStatus:
        """The keeper's state after the last round; may be read from any thread."""
        return self._status

    # -- from other threads ----------------------------------------------------------------------------------

    def call(self, work: Callable[[Keeper], T], *, wait_s: float = 5.0) -> T:
        """Have the keeper do something, and make a round at once; for other threads.

        Raises:
            TimeoutError: the keeper did not answer in time.
            Exception: whatever ``work`` raises.
        """
        loop = self._loop
        if loop is None or loop.is_closed() or self._stopped:
            raise TimeoutError("Leerie is stopping or not yet running; try again in a moment")

        given_up = threading.Event()

        async def do() -> T:
            if self._stopped:
                raise TimeoutError("Leerie is stopping; the lights are out")
            if given_up.is_set():
                raise TimeoutError("nobody waits for it any more; it must not be done later")
            result = work(self.keeper)
            self.run_once()
            return result

        try:
            return asyncio.run_coroutine_threadsafe(do(), loop).result(wait_s)
        finally:
            given_up.set()

    def stop(self) -> None:
        """End the rounds; from any thread or a signal handler."""
        if self._loop is not None and self._stop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stop.set)

    # -- in the loop -----------------------------------------------------------------------------------------

    async def run(self, *, on_started: Callable[[], None] = lambda: None) -> None:
        """Make rounds until ``stop``; then put out every light and have the journal written once more."""
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        self._scheduler = AsyncIOScheduler(timezone=UTC)
        self._scheduler.start()
        watch = ClockStepWatch.open()
        if watch is not None:
            self._loop.add_reader(watch.fileno(), self._clock_was_set, watch)
        tasks = [asyncio.create_task(self._tick()), asyncio.create_task(self._compare_clocks())]
        self.run_once()
        try:
            on_started()
            await self._stop.wait()
        finally:
            for task in tasks:
                task.cancel()
            if watch is not None:
                self._loop.remove_reader(watch.fileno())
                watch.close()
            self._stopped = True
            self._scheduler.shutdown(wait=False)
            self.keeper.stop()
            await self._write_last()

    def run_once(self) -> None:
        """Make a round now, and see to the next one; none once the lights were put out for good."""
        if self._stopped:
            return
        due_in_s = AFTER_A_RAISE_S
        try:
            due_in_s = self.keeper.reconcile()
            self._status = self.keeper.status()
            self._on_round(self._status)
            self._turn_night()
        except Exception:
            log.exception("a round failed; the next one is made in %.0f s", due_in_s)
        try:
            self._set_timer(due_in_s / self._pace)
        except Exception:
            log.exception("no timer for the next round; the tick makes it")
        self._write_soon()

    def _set_timer(self, due_in_s: float) -> None:
        """Have APScheduler make the next round, in place of the one that it was to make before."""
        self._scheduler.add_job(
            self._boundary,
            trigger=NextBoundary(due_in_s),
            id="boundary",
            replace_existing=True,
            misfire_grace_time=None,
            coalesce=True,
            max_instances=2,  # the one that runs may itself make the next one due
        )

    async def _boundary(self) -> None:
        """APScheduler's word that a boundary has come."""
        self.run_once()

    async def _tick(self) -> None:
        """Make a round every tick, measured on a clock that nobody sets."""
        while True:
            await asyncio.sleep(TICK_S / self._pace)
            self.run_once()

    def _clock_was_set(self, watch: ClockStepWatch) -> None:
        """The kernel's word that the wall clock was set."""
        watch.rearm()
        self.run_once()

    async def _compare_clocks(self) -> None:
        """Find a step by comparing the wall clock with the boot-time clock; or that its trust has changed."""
        while True:
            await asyncio.sleep(COMPARE_S)
            last, now = self._status.at, self._clock.read()
            if now.trusted is not last.trusted or step_between(last, now) is not None:
                self.run_once()

    def _turn_night(self) -> None:
        """Tell once that a new night has begun."""
        night = self.keeper.planner.night_at(self._status.at.utc)
        if night.date != self._night.date:
            self._night = night
            if self._status.at.trusted:
                in_background(self._on_noon, name="noon")

    def _write_soon(self) -> None:
        """Have the journal written in its own thread, one at a time; a slow disk delays nobody."""
        if not self._writing and self._status.waiting:
            self._writing = True
            self._written.clear()
            in_background(self._write_now, name="journal")

    def _write_now(self) -> None:
        """Write what waits, in the journal's thread; what fails is tried again after the next round."""
        try:
            self._flush()
        except OSError as error:
            log.warning("journal: %s", error)
        finally:
            self._writing = False
            self._written.set()
            # The loop is closed where the disk took longer than the end of the program.
            with contextlib.suppress(RuntimeError):
                if self._loop is not None:
                    self._loop.call_soon_threadsafe(self._look_again)

    def _look_again(self) -> None:
        """Show the journal's state as it is after a write."""
        self._status = self.keeper.status()
        if self._status.waiting and self._status.journal_fault is None:
            self._write_soon()

    async def _write_last(self) -> None:
        """Have the last entries written, if the disk is quick enough."""
        done = asyncio.Event()
        loop = asyncio.get_running_loop()

        def write() -> None:
            self._written.wait(LAST_FLUSH_S) if self._writing else None
            try:
                self._flush()
            except OSError as error:
                log.warning("journal: %s", error)
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(done.set)

        in_background(write, name="last entries")
        try:
            await asyncio.wait_for(done.wait(), LAST_FLUSH_S)
        except TimeoutError:
            log.warning("journal: %d entries could not be written in time", self.keeper.status().waiting)


def in_background(work: Callable[[], None], *, name: str) -> threading.Thread:
    """Run something in a daemon thread, which never holds up the end; what it raises is logged."""

    def run() -> None:
        try:
            work()
        except Exception:
            log.exception("%s", name)

    thread = threading.Thread(target=run, name=name, daemon=True)
    thread.start()
    return thread
