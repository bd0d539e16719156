"""An event loop on the world's clock: it does what is due, and returns instead of waiting."""

from __future__ import annotations

import asyncio
import contextlib
import contextvars
import selectors
from collections.abc import Callable, Mapping
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.simulation.world import World

# A timer is due this much late, so that no rounding makes it due a moment before its time.
LATE_S = 1e-6


class StepWatch:
    """The kernel's notice that the clock was set, as ``ClockStepWatch`` gives it; it has no descriptor."""

    def __init__(self) -> None:
        """Watch."""
        self.was_set = False

    def fileno(self) -> int:
        """Give what stands for a descriptor."""
        return 1_000_000

    def rearm(self) -> bool:
        """Watch again."""
        was_set, self.was_set = self.was_set, False
        return was_set

    def close(self) -> None:
        """Watch no longer."""


class WorldSelector(selectors.BaseSelector):
    """Waits for nothing: where the loop would wait, it is stopped."""

    def __init__(self, watch: StepWatch) -> None:
        """Begin with nothing to look at."""
        self.watch = watch
        self.wait_s = 0.0
        self.stop: Callable[[], None] = lambda: None
        self._keys: dict[Any, selectors.SelectorKey] = {}

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        """Take what is to be looked at."""
        key = fileobj if isinstance(fileobj, int) else fileobj.fileno()
        self._keys[key] = selectors.SelectorKey(fileobj, key, events, data)
        return self._keys[key]

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        """Look at it no longer."""
        return self._keys.pop(fileobj if isinstance(fileobj, int) else fileobj.fileno())

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """Give the notice of a clock that was set, or nothing."""
        watched = self._keys.get(self.watch.fileno())
        if self.watch.was_set and watched is not None:
            return [(watched, selectors.EVENT_READ)]
        if timeout is None or timeout > 0:
            self.wait_s = float("inf") if timeout is None else timeout
            self.stop()
        return []

    def get_map(self) -> Mapping[Any, selectors.SelectorKey]:
        """Give all that is looked at."""
        return self._keys


class WorldLoop(asyncio.SelectorEventLoop):
    """Runs what is due at one moment of the world, then stops.

    Attributes:
        jobs: timers of everything but coroutines that sleep.
    """

    def __init__(self, world: World, watch: StepWatch) -> None:
        """Go by the clock of a world."""
        self._world = world
        self._waits = WorldSelector(watch)
        self.jobs: list[asyncio.TimerHandle] = []
        super().__init__(self._waits)
        self._waits.stop = self.stop
        self.set_exception_handler(self._on_exception)
        self.raised: BaseException | None = None
        self._due_at_s = 0.0

    def time(self) -> float:
        """Give the world's time; it stands still while the loop runs."""
        return self._world.awake_s

    def call_at(
        self,
        when: float,
        callback: Callable[..., object],
        *args: Any,
        context: contextvars.Context | None = None,
    ) -> asyncio.TimerHandle:
        """Set a timer, and remember those that are no coroutine's sleep."""
        handle = super().call_at(when, callback, *args, context=context)
        if getattr(callback, "__name__", "") != "_set_result_unless_cancelled":
            self.jobs = [job for job in self.jobs if job.when() > self.time() and not job.cancelled()]
            self.jobs.append(handle)
        return handle

    def call_soon_threadsafe(
        self, callback: Callable[..., object], *args: Any, context: contextvars.Context | None = None
    ) -> asyncio.Handle:
        """Call something soon: here every thread runs in this one, so that nobody has to be woken."""
        return self.call_soon(callback, *args, context=context)

    def run_due(self) -> None:
        """Run all that is due now, and all that comes of it."""
        self.run_forever()
        self._due_at_s = self.time() + self._waits.wait_s
        if self.raised is not None:
            raise self.raised

    @property
    def next_s(self) -> float:
        """In how many seconds the next timer of any kind is due."""
        return max(self._due_at_s - self.time(), 0.0) + LATE_S

    @property
    def next_job_s(self) -> float:
        """The same, coroutines that sleep left out."""
        waits = [job.when() for job in self.jobs if not job.cancelled()]
        return max(min(waits, default=float("inf")) - self.time(), 0.0) + LATE_S

    def abandon(self) -> None:
        """Let all of it go, as a process does that is killed: nothing more is run."""
        for task in asyncio.all_tasks(self):
            with contextlib.suppress(BaseException):
                task.get_coro().close()  # type: ignore[union-attr]
        self.close()

    def _on_exception(self, _loop: object, context: dict[str, Any]) -> None:
        """Keep what a callback raised; a task that is abandoned is no error."""
        self.raised = self.raised or context.get("exception")


def clock_of(world: World) -> type[datetime]:
    """Make a datetime whose ``now`` is what the world's board says."""

    class WorldTime(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> WorldTime:
            return world.clock_utc.astimezone(tz)  # type: ignore[return-value]

    return WorldTime
