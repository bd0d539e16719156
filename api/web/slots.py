"""How many requests run at once and how many wait, and whether one that has waited is still wanted."""

import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from contextvars import ContextVar

from anyio import CancelScope, CapacityLimiter, current_time

from api.web.connections import Connection
from api.web.problems.types import ProblemError
from config.phrase import Phrase

# More threads would only wait for each other: a planner works for one at a time, and so does the keeper.
MOST_SHORT_RUNNING = 4
# Of long work one runs at a time; a second one may do what needs no turn, such as the wiring.
MOST_LONG_RUNNING = 2
# Of each kind; any more are told to come back.
MOST_WAITING = 8
# A change that was not made by then is not made any more: whoever asked looks at the lights, and asks again.
CHANGE_S = 5.0
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class ClientGoneError(Exception):
    """The client has gone: nobody is left to answer, and what it asked for is not to be done."""


class PendingRequest:
    """A request that has arrived whole, and is to be answered while its client waits.

    Args:
        connection: that it came by; None where nobody knows whether the client is there.
        changes: whether it changes something, and so may not be late.
        now_s: a clock that nobody sets, in seconds.
    """

    def __init__(
        self,
        connection: Connection | None = None,
        *,
        changes: bool = False,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.connection = connection
        self._now_s = now_s
        self._until_s = now_s() + CHANGE_S if changes else None

    @property
    def left_s(self) -> float | None:
        """Seconds in which it may still be carried out; None where that is no matter."""
        return None if self._until_s is None else self._until_s - self._now_s()

    def require_wanted(self) -> None:
        """Refuse to go on where nobody wants it any more; from any thread.

        Raises:
            ClientGoneError: the client has hung up.
            ProblemError: it is a change, and too late.
        """
        if self.connection is not None and self.connection.is_gone():
            raise ClientGoneError
        if self.left_s is not None and self.left_s <= 0:
            words = Phrase(
                "the change had waited for {waited:g} s, and was not made; send it again", waited=CHANGE_S
            )
            raise ProblemError("too-busy", words)


_PENDING: ContextVar[PendingRequest] = ContextVar("_PENDING")


def begin_request(connection: Connection | None, method: str, now_s: Callable[[], float]) -> None:
    """Take note of the request that this task works for, and of when it arrived."""
    _PENDING.set(PendingRequest(connection, changes=method not in _SAFE, now_s=now_s))


def pending_request() -> PendingRequest:
    """Give the request that this task, or this thread of the pool, works for."""
    return _PENDING.get(None) or PendingRequest()


class RequestSlots:
    """Bounds how many requests of one kind run in the thread pool, and how many more wait for that."""

    def __init__(self, *, running: int, waiting: int = MOST_WAITING) -> None:
        self._limiter = CapacityLimiter(running)
        self._waiting = waiting

    @asynccontextmanager
    async def take(self, *, even_if_busy: bool = False) -> AsyncIterator[None]:
        """Hold a slot; wait for it where all are taken, while the request is wanted.

        What has begun to be answered waits ``even_if_busy``: it can no longer be refused.

        Raises:
            ProblemError: too many wait already, or a change has waited too long.
            ClientGoneError: the client has hung up meanwhile.
        """
        if not even_if_busy and not self._limiter.available_tokens:
            now = self._limiter.statistics()
            if now.tasks_waiting >= self._waiting:
                words = Phrase(
                    "{running} requests are being answered, {waiting} are waiting; "
                    "ask again in a few seconds",
                    running=now.borrowed_tokens,
                    waiting=now.tasks_waiting,
                )
                raise ProblemError("too-busy", words)
        await self._wait(pending_request())
        try:
            yield
        finally:
            self._limiter.release()

    async def _wait(self, pending: PendingRequest) -> None:
        left_s = pending.left_s
        with CancelScope() as waiting:
            if left_s is not None:
                waiting.deadline = current_time() + left_s
            forget = None if pending.connection is None else pending.connection.on_gone(waiting.cancel)
            try:
                await self._limiter.acquire()
            finally:
                if forget is not None:
                    forget()
        if waiting.cancelled_caught:
            pending.require_wanted()
            raise ClientGoneError
        try:
            pending.require_wanted()
        except BaseException:
            self._limiter.release()
            raise
