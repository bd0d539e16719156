"""Work that blocks, done aside so that the web server's loop goes on."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

import anyio
from anyio import CapacityLimiter, to_thread

P = ParamSpec("P")
R = TypeVar("R")

# More threads would only wait for each other: a planner works for one at a time, and so does the keeper.
MOST_THREADS = 4


class Aside:
    """Calls functions in a few threads.

    The threads are daemons wherever the one that serves is, so none of them holds up the end of the process;
    asyncio's own pool would, for as long as its slowest call takes.
    """

    def __init__(self) -> None:
        """No thread is started yet."""
        self._limiter: CapacityLimiter | None = None

    async def __call__(self, work: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Call a function in a thread and wait for it; given up on, it runs on by itself."""
        if self._limiter is None:
            self._limiter = anyio.CapacityLimiter(MOST_THREADS)
        return await to_thread.run_sync(
            lambda: work(*args, **kwargs), abandon_on_cancel=True, limiter=self._limiter
        )
