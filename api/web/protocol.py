"""One connection to the web server: uvicorn's, with limits that it does not have.

uvicorn waits for ever for the head of a request and for a reader that does not read, turns nobody away, and
answers what is no HTTP in plain text. Imported by the web server's own thread only.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.web.problems.handlers import problem_body
from api.web.problems.types import KINDS, PROBLEM_TYPE

# A browser keeps six connections to one server: room for ten of them. Twice as many are told that it is too
# busy; the rest are cut off unheard, so that the process keeps files to open for its journal.
MOST_CONNECTIONS = 64
# How long a connection may stay without asking anything, and the head of a request take to arrive.
PATIENCE_S = 10.0
# How long the other side may leave an answer unread.
UNREAD_S = 20.0


class LimitedH11Protocol(H11Protocol):
    """Serves one connection, and ends it where it asks nothing, does not read, or is one too many."""

    most = MOST_CONNECTIONS
    patience_s = PATIENCE_S
    unread_s = UNREAD_S

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - uvicorn's own
        """Wait for a connection."""
        super().__init__(*args, **kwargs)
        self._patience: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self._one_too_many = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin, unless there are far too many."""
        super().connection_made(transport)  # type: ignore[arg-type]  # a Transport, always
        self._one_too_many = len(self.connections) > self.most
        if len(self.connections) > 2 * self.most:
            self.transport.abort()
        else:
            self._be_patient()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        for timer in (self._patience, self._unread):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what the other side says, or tell it that there are too many."""
        if self._one_too_many:
            self._end_with("too-busy", f"{self.most} connections are open already; close some, or wait")
        else:
            super().data_received(data)

    def on_response_complete(self) -> None:
        """Wait for the next request, but not for ever."""
        super().on_response_complete()
        self._be_patient()

    def pause_writing(self) -> None:
        """Wait for the other side to read, but not for ever."""
        super().pause_writing()
        self._unread = self.loop.call_later(self.unread_s, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: the other side reads."""
        if self._unread is not None:
            self._unread.cancel()
        super().resume_writing()

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP with a problem, where an answer is possible."""
        self._end_with("not-http", f"{msg.rstrip('.').lower()}; speak HTTP/1.1 to this port")

    def _be_patient(self) -> None:
        """Give the other side time."""
        if self._patience is not None:
            self._patience.cancel()
        self._patience = self.loop.call_later(self.patience_s, self._lose_patience)

    def _lose_patience(self) -> None:
        """Close a connection that asks nothing, and cut off one that is closed and still there.

        One whose request is being answered is looked at again later.
        """
        if self.transport.is_closing():
            self.transport.abort()
            return
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()
        self._be_patient()

    def _end_with(self, name: str, words: str) -> None:
        """Send a problem without any request, and close."""
        kind = KINDS[name]
        body = problem_body(kind, words, "/")
        headers = [
            ("content-type", PROBLEM_TYPE),
            ("content-length", str(len(body))),
            ("cache-control", "no-store"),
            ("connection", "close"),
        ]
        try:
            head = h11.Response(status_code=kind.status, headers=headers, reason=kind.title.encode())
            for event in (head, h11.Data(data=body), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:
            # An answer is on its way already, or the line is broken: nothing more can be said on it.
            self.transport.abort()
        else:
            self.transport.close()
