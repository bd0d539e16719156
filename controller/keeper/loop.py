"""The control loop: when the keeper checks its relays. APScheduler is used here and nowhere else.

Four things start a round, each enough by itself: the timetable (APScheduler), a tick that knows no wall
clock, the kernel's notice that the clock was set, and a comparison of wall clock and boot-time clock. Each is
only a hint: the round works out the state from the present instant alone.
"""

import asyncio
import contextlib
import logging
import signal
import threading
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.base import BaseTrigger

from config.phrase import Phrase
from controller.calendar.night import Night
from controller.clock.clock import Clock, step_between
from controller.clock.evidence import COLLECT_EVERY_S
from controller.clock.kernel import ClockStepWatch
from controller.keeper.keeper import TICK_S, Keeper
from controller.keeper.state import KeeperStatus

log = logging.getLogger(__name__)
T = TypeVar("T")

# How often the clocks are compared where the kernel does not report a set clock.
COMPARE_S = 0.5
# The least pause: APScheduler enumerates what is due up to now, and must come to an end.
LEAST_PAUSE_S = 0.001
# So much after the tick the scheduler does its work, where nothing changes before it.
AFTER_TICK_S = 1.0
# A round that raises, which none should, is repeated after this pause.
AFTER_ERROR_S = 5.0
# The journal's last entries may take this long at the end; the lights are dark by then.
LAST_FLUSH_S = 0.8


class After(BaseTrigger):  # type: ignore[misc]  # APScheduler ships no types
    """Fires so many seconds from now, not from the last firing: a clock that jumps makes it due once."""

    def __init__(self, seconds: float) -> None:
        self._pause_s = max(seconds, LEAST_PAUSE_S)

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:  # noqa: ARG002
        """Give the instant to fire at, by APScheduler's contract."""
        return now + timedelta(seconds=self._pause_s)


class ControlLoop:
    """Runs the keeper in an event loop of its own thread, and has the journal written beside it.

    Args:
        clock: the keeper's clock, compared between two rounds.
        flush: writes what waits in the journal and looks whether its file is there, after every round; runs
            in a thread of its own and may be slow or raise OSError.
        on_round: called after every completed round, such as to feed a watchdog.
        on_noon: called once in each night, from noon on, while the clock is trusted; in a thread of its own.
        pace: how many seconds of the keeper's clock pass in one of real time; 1 but in a demonstration.

    Attributes:
        status: the keeper's status after the last round; may be read from any thread.
    """

    def __init__(
        self,
        keeper: Keeper,
        *,
        clock: Clock,
        flush: Callable[[], object],
        on_round: Callable[[KeeperStatus], None] = lambda _status: None,
        on_noon: Callable[[], None] = lambda: None,
        pace: float = 1.0,
    ) -> None:
        self.keeper = keeper
        self._clock = clock
        self._flush = flush
        self._on_round = on_round
        self._on_noon = on_noon
        self._pace = pace
        self.status = keeper.status()
        # The night that has its noon ahead, and the one whose noon is in the timetable.
        self._night = keeper.planner.night_at(self.status.at.utc)
        self._noon_of: Night | None = None
        self._written = threading.Event()  # set while no thread writes the journal
        self._written.set()
        self._recording = threading.Lock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._scheduler: Any = None
        self._stop: asyncio.Event | None = None
        self._stopped = False

    # -- from other threads ----------------------------------------------------------------------------------

    def call(self, work: Callable[[Keeper], T], *, wait_s: float = 5.0) -> T:
        """Have the keeper do something, and run a round at once; for other threads.

        Raises:
            TimeoutError: the keeper did not answer in time.
            Exception: whatever ``work`` raises.
        """
        loop = self._loop
        if loop is None or loop.is_closed() or self._stopped:
            raise TimeoutError(Phrase("Leerie is stopping or not yet running; try again in a moment"))
        given_up = threading.Event()

        async def do() -> T:
            if self._stopped:
                raise TimeoutError(Phrase("Leerie is stopping; the lights are off"))
            if given_up.is_set():
                raise TimeoutError(Phrase("the caller waits no longer; it must not be done later"))
            result = work(self.keeper)
            self.run_once()
            self._record_site_soon()
            return result

        try:
            return asyncio.run_coroutine_threadsafe(do(), loop).result(wait_s)
        finally:
            given_up.set()

    def stop(self) -> None:
        """End ``run``; from any thread or a signal handler."""
        if self._loop is not None and self._stop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stop.set)

    # -- in the event loop -----------------------------------------------------------------------------------

    async def run(self, *, on_started: Callable[[], None] = lambda: None) -> None:
        """Run rounds until ``stop``; then switch every light off and have the journal written once more."""
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        self._scheduler = AsyncIOScheduler(timezone=UTC)
        self._scheduler.start()
        watch = ClockStepWatch.open()
        if watch is not None:
            self._loop.add_reader(watch.fileno(), self._on_clock_set, watch)
        # Where the kernel reports it, a comparison finds only new evidence of trust.
        compare_s = COMPARE_S if watch is None else COLLECT_EVERY_S
        tasks = [asyncio.create_task(self._tick()), asyncio.create_task(self._compare_clocks(compare_s))]
        self.run_once()
        try:
            on_started()
            self._record_site_soon()
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
            self._flush_last()

    def run_once(self) -> None:
        """Run a round now, and set the timetable; nothing once the lights were switched off for good."""
        if self._stopped:
            return
        due_in_s = AFTER_ERROR_S
        try:
            due_in_s = self.keeper.reconcile()
            self.status = self.keeper.status()
            self._on_round(self.status)
        except Exception:
            log.exception("a round failed; the next one follows in %.0f s", due_in_s)
        try:
            self._set_timetable(due_in_s)
        except Exception:
            log.exception("the timetable could not be set; the tick goes on")
        self._flush_soon()

    def _set_timetable(self, due_in_s: float) -> None:
        """Add every job that happens at a time: the daemon's whole timetable.

        The next change is set anew after each round, from the present instant alone, so that a clock that is
        set cannot leave it behind; noon is, where the clock has left the night that had its noon. The tick
        and the comparison of the clocks are not in it: they run on the event loop's own monotonic timers, and
        keep the lights right if the scheduler fails. It does the same for the tick, which comes a moment
        sooner.
        """
        in_time = due_in_s < self.keeper.tick_s
        self._add_job("boundary", self._at_boundary, due_in_s if in_time else due_in_s + AFTER_TICK_S)
        now_utc, night = self.status.at.utc, self._night
        ahead = night.holds(now_utc)
        if not ahead or night is not self._noon_of:
            # Backup, check for new time zone data: see ``on_noon``.
            noon_in_s = (night.ends_at_utc - now_utc).total_seconds() if ahead else 0.0
            self._add_job("noon", self._at_noon, noon_in_s)
            self._noon_of = night if ahead else None

    def _add_job(self, job_id: str, job: Callable[[], Awaitable[None]], in_s: float) -> None:
        self._scheduler.add_job(
            job,
            trigger=After(in_s / self._pace),
            id=job_id,
            replace_existing=True,
            misfire_grace_time=None,
            coalesce=True,
            max_instances=2,  # the one that runs may itself make the next one due
        )

    async def _at_boundary(self) -> None:
        self.run_once()

    async def _at_noon(self) -> None:
        now, before = self._clock.read(), self._night
        self._night = self.keeper.planner.night_at(now.utc)
        self.run_once()
        if self._night.date != before.date and now.trusted:
            in_background(self._on_noon, name="noon")

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK_S / self._pace)
            self.run_once()

    def _on_clock_set(self, watch: ClockStepWatch) -> None:
        watch.rearm()
        self.run_once()

    async def _compare_clocks(self, every_s: float) -> None:
        while True:
            await asyncio.sleep(every_s)
            last, now = self.status.at, self._clock.read()
            if now.trusted is not last.trusted or step_between(last, now) is not None:
                self.run_once()

    # -- the journal beside it -------------------------------------------------------------------------------

    def _record_site_soon(self) -> None:
        """Have the journal told what the site is, where that changed."""

        def record() -> None:
            with self._recording:
                self.keeper.record_site()

        if not self.keeper.site_is_recorded:
            in_background(record, name="site record")

    def _flush_soon(self) -> None:
        """Have the journal written in its own thread, one write at a time; a slow disk delays nobody."""
        if self._written.is_set():
            self._written.clear()
            in_background(self._flush_now, name="journal")

    def _flush_now(self) -> None:
        """Write what waits, in the journal's thread; what fails is tried again after the next round."""
        try:
            self._flush()
        except OSError as error:
            log.warning("journal: %s", error)
        finally:
            self._written.set()
            # The loop is closed where the disk took longer than the end of the program.
            with contextlib.suppress(RuntimeError):
                if self._loop is not None:
                    self._loop.call_soon_threadsafe(self._on_flushed)

    def _on_flushed(self) -> None:
        self.status = self.keeper.status()
        if self.status.waiting and self.status.journal_fault is None and not self._stopped:
            self._flush_soon()

    def _flush_last(self) -> None:
        """Have the last entries written; the lights are dark by now, and this loop has nothing else to do."""

        def flush() -> None:
            self._written.wait(LAST_FLUSH_S)
            self._flush_now()

        thread = in_background(flush, name="last entries")
        thread.join(LAST_FLUSH_S)
        if thread.is_alive():
            log.warning("journal: %d entries could not be written in time", self.keeper.status().waiting)


def in_background(work: Callable[[], None], *, name: str) -> threading.Thread:
    """Run something in a daemon thread, which never delays the end; what it raises is logged."""

    def run() -> None:
        # Signals are for the main thread: one that comes late, with no handler left, must not end us here.
        signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
        try:
            work()
        except Exception:
            log.exception("%s", name)

    thread = threading.Thread(target=run, name=name, daemon=True)
    thread.start()
    return thread
