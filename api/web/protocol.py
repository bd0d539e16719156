"""One connection to the web server: uvicorn's HTTP/1.1 protocol, with limits that it does not have.

uvicorn waits for ever for the head of a request and for a client that does not read, refuses no connection
(its `limit_concurrency` answers in plain text), and answers what is not HTTP in plain text.
"""

import asyncio
import contextlib
import socket
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.web.problems.types import PROBLEM_MEDIA_TYPE, ProblemError

# A browser keeps six connections to one server: enough for ten browsers. As many again are answered “too many
# requests”; the rest are cut off, so that the process keeps files to open for its journal.
MOST_CONNECTIONS = 64
# How long a connection may stay idle, and the head of a request take to arrive.
IDLE_TIMEOUT_S = 10.0
# How long a client may leave a response unread.
WRITE_TIMEOUT_S = 20.0
# How long the kernel waits for a client to take what was sent: a little less, as it looks seconds apart.
SILENCE_S = 15.0


class LimitedH11Protocol(H11Protocol):
    """Serves one connection, and ends it where it is idle, does not read, or is one too many."""

    most = MOST_CONNECTIONS
    idle_timeout_s = IDLE_TIMEOUT_S
    write_timeout_s = WRITE_TIMEOUT_S
    silence_s = SILENCE_S

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - uvicorn's own
        super().__init__(*args, **kwargs)
        self._idle: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self._one_too_many = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin, unless there are far too many connections."""
        super().connection_made(transport)  # type: ignore[arg-type]  # a Transport, always
        self._limit_silence()
        self._one_too_many = len(self.connections) > self.most
        if len(self.connections) > 2 * self.most:
            self.transport.abort()
        else:
            self._restart_idle_timer()

    def _limit_silence(self) -> None:
        """Have the kernel cut a client that has gone without a word, or whose buffer stays full.

        Little is sent on an event stream: our own buffer would be full, and ``pause_writing`` called, only
        after hours.
        """
        line = self.transport.get_extra_info("socket")
        with contextlib.suppress(OSError, AttributeError):  # a Unix socket has no such limit, and needs none
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(self.silence_s * 1000))

    def connection_lost(self, exc: Exception | None) -> None:
        """End the timers."""
        for timer in (self._idle, self._unread):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read what the client sends, or answer that there are too many connections."""
        if self._one_too_many:
            words = f"{self.most} connections are open already; close some, or wait"
            self._end_with(ProblemError("too-busy", words))
        else:
            super().data_received(data)

    def on_response_complete(self) -> None:
        """Wait for the next request, but not for ever."""
        super().on_response_complete()
        self._restart_idle_timer()

    def pause_writing(self) -> None:
        """Wait for the client to read, but not for ever."""
        super().pause_writing()
        self._unread = self.loop.call_later(self.write_timeout_s, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: the client reads."""
        if self._unread is not None:
            self._unread.cancel()
        super().resume_writing()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP with a problem, where a response is possible."""
        self._end_with(ProblemError("not-http", f"{msg.rstrip('.').lower()}; speak HTTP/1.1 to this port"))

    def _restart_idle_timer(self) -> None:
        if self._idle is not None:
            self._idle.cancel()
        self._idle = self.loop.call_later(self.idle_timeout_s, self._on_idle)

    def _on_idle(self) -> None:
        """Close a connection without a request, and cut off one that is closed and still there.

        One whose request is being answered is looked at again later.
        """
        if self.transport.is_closing():
            self.transport.abort()
            return
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()
        self._restart_idle_timer()

    def _end_with(self, problem: ProblemError) -> None:
        body = problem.document("/")
        headers = [
            ("content-type", PROBLEM_MEDIA_TYPE),
            ("content-length", str(len(body))),
            ("cache-control", "no-store"),
            ("connection", "close"),
        ]
        head = h11.Response(
            status_code=problem.type.status, headers=headers, reason=problem.type.title.encode()
        )
        try:
            for event in (head, h11.Data(data=body), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:
            # A response is on its way already, or the connection is broken: nothing more can be sent on it.
            self.transport.abort()
        else:
            self.transport.close()
