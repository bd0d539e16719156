"""One connection to the web server: uvicorn's HTTP/1.1 protocol, with limits that it does not have.

uvicorn waits for ever for the head of a request and for a client that does not read, refuses no connection
(its `limit_concurrency` answers in plain text), and answers what is not HTTP in plain text.
"""

import asyncio
import contextlib
import socket
import sys
from collections.abc import Callable
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.web.connections import Connection
from api.web.headers import SECURITY_HEADERS
from api.web.problems.types import PROBLEM_MEDIA_TYPE, PROBLEM_TYPES, ProblemError

# How long a connection may stay idle, and the head of a request take to arrive.
IDLE_TIMEOUT_S = 10.0
# How long a client may leave a response unread.
WRITE_TIMEOUT_S = 20.0
# How long the kernel waits for a client to take what was sent: a little less, as it looks seconds apart.
SILENCE_S = 15.0
# How long a connection that is refused may take to ask what it is then answered.
REFUSED_S = 2.0
# The largest head of a request, target included; it is counted in pieces, as what came at once is not.
LARGEST_HEAD_BYTES = 16 * 1024
_PIECE_BYTES = 4 * 1024
# A body may come in so many pieces: each takes much longer to read than a byte of it.
MOST_PIECES = 1024
# What goes on coming after it was refused is thrown away for so long, and so much of it: a connection that is
# closed with something unread is reset, and the answer may be lost with it (RFC 9112, section 9.6).
READ_ON_S = 2.0
READ_ON_BYTES = 1024 * 1024


class _LimitedConnection(h11.Connection):
    """Reads requests, but none whose body comes in crumbs."""

    _pieces = 0

    def next_event(self) -> h11.Event | type[h11.NEED_DATA] | type[h11.PAUSED]:
        """Give what is read next.

        Raises:
            h11.RemoteProtocolError: it is no HTTP, or no more of it is read.
        """
        event = super().next_event()
        if isinstance(event, h11.Request):
            self._pieces = 0
        elif isinstance(event, h11.Data):
            self._pieces += 1
            if self._pieces > MOST_PIECES:
                raise h11.RemoteProtocolError(f"the body comes in more than {MOST_PIECES} pieces")
        return event


class LimitedH11Protocol(H11Protocol):
    """Serves one connection, and ends it where it is idle or does not read.

    A request finds its connection in its scope, under ``scope["state"]["connection"]``.
    """

    idle_timeout_s = IDLE_TIMEOUT_S
    write_timeout_s = WRITE_TIMEOUT_S
    silence_s = SILENCE_S

    def __init__(self, connection: Connection, **uvicorns: Any) -> None:  # noqa: ANN401 - uvicorn's own
        super().__init__(**uvicorns, app_state={"connection": connection})
        self.conn = _LimitedConnection(h11.SERVER, LARGEST_HEAD_BYTES)
        self._connection = connection
        self._idle: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self._read_on_bytes: int | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin, with a time to ask something."""
        super().connection_made(transport)  # type: ignore[arg-type]  # a Transport, always
        self._limit_silence()
        self._connection.cut = self.transport.abort
        self._connection.is_waiting = self._is_waiting
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
        self._connection.end()
        for timer in (self._idle, self._unread):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read what came, and throw away what comes after it was refused."""
        for start in range(0, len(data), _PIECE_BYTES):
            if self._read_on_bytes is not None:
                self._read_on_bytes -= _PIECE_BYTES
                if self._read_on_bytes <= 0:
                    self.transport.close()
            elif not self.transport.is_closing():
                super().data_received(data[start : start + _PIECE_BYTES])

    def on_response_complete(self) -> None:
        """Wait for the next request, but not for ever."""
        super().on_response_complete()
        self._restart_idle_timer()

    def pause_writing(self) -> None:
        """Wait for the client to read, but not for ever."""
        super().pause_writing()
        self._connection.since_s = self.loop.time()
        self._unread = self.loop.call_later(self.write_timeout_s, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: the client reads."""
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None
        super().resume_writing()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP with a problem, where a response is possible."""
        problem = ProblemError("not-http", f"{msg.rstrip('.').lower()}; speak HTTP/1.1 to this port")
        if self.conn.their_state is h11.SEND_BODY:
            words = f"the body comes in more than {MOST_PIECES} pieces; send larger ones"
            problem = ProblemError("not-http", words)
        too_large = PROBLEM_TYPES["header-too-large"]
        # It is called where the error is caught, and not told which.
        if getattr(sys.exception(), "error_status_hint", None) == too_large.status:
            words = (
                f"the head of the request is larger than {LARGEST_HEAD_BYTES // 1024} kB; send a shorter one"
            )
            problem = ProblemError(too_large.name, words)
        self._end_with(problem)

    def _is_waiting(self) -> bool:
        """Whether the client is to do the next thing: ask, send the rest of its request, or read."""
        cycle = self.cycle
        return cycle is None or cycle.response_complete or cycle.more_body or self._unread is not None

    def _restart_idle_timer(self) -> None:
        self._connection.since_s = self.loop.time()
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
        head = h11.Response(
            status_code=problem.type.status,
            headers=list(_headers(problem, body).items()),
            reason=problem.type.title.encode(),
        )
        try:
            for event in (head, h11.Data(data=body), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:
            # A response is on its way already, or the connection is broken: nothing more can be sent on it.
            self.transport.abort()
        else:
            self._read_on_bytes = READ_ON_BYTES
            if self.transport.can_write_eof():
                self.transport.write_eof()
            self.loop.call_later(READ_ON_S, self.transport.close)


class RefusingProtocol(asyncio.Protocol):
    """Answers whatever comes first with a problem, and ends the connection; ``on_end`` is then called."""

    _transport: asyncio.Transport

    def __init__(self, problem: ProblemError, on_end: Callable[[], None]) -> None:
        self._problem = problem
        self._on_end = on_end
        self._timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin, with a moment to ask something."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._timer = asyncio.get_running_loop().call_later(REFUSED_S, transport.abort)

    def data_received(self, _data: bytes) -> None:
        """Answer; a response without a request would be taken for a broken connection."""
        body = self._problem.document("/")
        lines = [f"HTTP/1.1 {self._problem.type.status} {self._problem.type.title}"]
        lines += [f"{name}: {value}" for name, value in _headers(self._problem, body).items()]
        self._transport.write("\r\n".join([*lines, "", ""]).encode() + body)
        self._transport.close()

    def connection_lost(self, _exc: Exception | None) -> None:
        """End the timer."""
        if self._timer is not None:
            self._timer.cancel()
        self._on_end()


def _headers(problem: ProblemError, body: bytes) -> dict[str, str]:
    headers = {**SECURITY_HEADERS, "content-type": PROBLEM_MEDIA_TYPE, "content-length": str(len(body))}
    if problem.type.retry_after_s is not None:
        headers["retry-after"] = str(problem.type.retry_after_s)
    return {**headers, "connection": "close"}
