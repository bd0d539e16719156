"""Passes on what happens to the open streams of server-sent events; without any it costs nothing.

It knows no socket, thread or clock: whoever sends a stream says what time it is, and how to wake it up.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Iterable

from controller.keeper.state import KeeperStatus

log = logging.getLogger(__name__)

# Streams at once, for everybody together and for one client on the home network.
MOST_STREAMS = 16
MOST_EACH = 2
# Messages that may wait for one slow reader; it is told the rest when it comes back.
MOST_WAITING = 100
# How often a stream shows that it is alive, and its client's permission is looked at again.
PING_S = 15.0


class NoStreamError(Exception):
    """No stream can be opened now; says why."""


class Stream:
    """What waits to be sent to one client.

    Args:
        client: names who it is for; None for the board itself, which has no bound of its own.
        wake: called when there is something to send, or it has ended.
        ping: makes the message that shows that the stream is alive; None where its client may not have it any
            longer.

    Attributes:
        ended: nothing more will be sent.
    """

    def __init__(
        self, client: str | None, *, wake: Callable[[], None], ping: Callable[[], bytes | None], now_s: float
    ) -> None:
        self.client = client
        self.ended = False
        self.ping_due_s = now_s + PING_S
        self._wake = wake
        self._ping = ping
        self._waiting: list[bytes] = []

    def put(self, messages: Iterable[bytes]) -> None:
        """Have messages sent, or end the stream where its reader is too slow; what waits is dropped then."""
        if len(self._waiting) >= MOST_WAITING:
            self.end()
        elif not self.ended:
            self._waiting += messages
            self._wake()

    def end(self) -> None:
        """Send nothing more."""
        self.ended = True
        self._waiting.clear()
        self._wake()

    def take(self, now_s: float) -> bytes:
        """Give what is to be sent now; nothing where it should wait until it is woken, or ``ping_due_s``."""
        if not self.ended and now_s >= self.ping_due_s:
            self.ping_due_s = now_s + PING_S
            ping = self._ping()
            if ping is None:
                self.end()
            else:
                self._waiting.append(ping)
        messages, self._waiting = self._waiting, []
        return b"".join(messages)


class EventHub:
    """Holds the open streams. Only ``publish`` and ``close`` may be called from other threads; neither waits.

    Attributes:
        is_closed: no stream can be opened any more.
        describe: makes the messages for all streams of a status that was published.
    """

    describe: Callable[[KeeperStatus], list[bytes]] = staticmethod(lambda _status: [])

    def __init__(self) -> None:
        self._streams: list[Stream] = []
        self._call_soon: Callable[..., object] = lambda *_args: None
        self.is_closed = False

    def publish(self, status: KeeperStatus) -> None:
        """Tell every stream what a round found; without streams nothing is done."""
        if self._streams:
            self._hand_over(self.deliver, status)

    def close(self) -> None:
        """End every stream, and let none be opened any more."""
        self.is_closed = True
        self._hand_over(self._end_all)

    def open(self, stream: Stream, call_soon: Callable[..., object]) -> None:
        """Add a stream.

        Args:
            stream: it belongs to the thread that calls.
            call_soon: has a function run in that thread, as ``loop.call_soon_threadsafe`` does.

        Raises:
            NoStreamError: too many are open, or they are being closed.
        """
        if self.is_closed:
            raise NoStreamError("Leerie is shutting down; try again once it is running")
        if len(self._streams) >= MOST_STREAMS:
            raise NoStreamError(f"{MOST_STREAMS} event streams are open already; close one, or wait")
        if stream.client is not None and self._count(stream.client) >= MOST_EACH:
            raise NoStreamError(f"this client has {MOST_EACH} event streams already; close one, or wait")
        self._call_soon = call_soon
        self._streams.append(stream)

    def leave(self, stream: Stream) -> None:
        """Remove a stream, whose client has gone or has all that it gets."""
        stream.ended = True
        if stream in self._streams:
            self._streams.remove(stream)

    def deliver(self, status: KeeperStatus) -> None:
        """Put the messages about a status into every stream."""
        try:
            messages = self.describe(status)
        except Exception:
            log.exception("event streams: what happened could not be described; all are ended")
            self._end_all()
            return
        if messages:
            for stream in self._streams:
                stream.put(messages)

    @property
    def count(self) -> int:
        """How many streams are open."""
        return len(self._streams)

    def _count(self, client: str) -> int:
        return sum(each.client == client for each in self._streams)

    def _end_all(self) -> None:
        for stream in self._streams:
            stream.end()

    def _hand_over(self, work: Callable[..., object], *args: object) -> None:
        with contextlib.suppress(RuntimeError):  # the web's loop has ended
            self._call_soon(work, *args)
