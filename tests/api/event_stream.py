"""A plain client of server-sent events, by the rules of HTML (WHATWG), sections 9.2.5 and 9.2.6."""

from __future__ import annotations

import contextlib
import json
import re
import socket
from dataclasses import dataclass
from typing import Any

from tests.api.lines import LONG_S


@dataclass
class Message:
    """One event as a browser would dispatch it: its type, its data, and the last id so far."""

    event: str
    data: Any
    last_id: str


class Client:
    """Reads one stream of a server; what it has not got within ``LONG_S`` is an error."""

    def __init__(self, server, *, last_id=None, small=False, source="127.0.0.1", token=None) -> None:
        self.line = socket.socket()
        self.line.settimeout(LONG_S)
        if small:
            self.line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        more = "" if last_id is None else f"Last-Event-ID: {last_id}\r\n"
        more += "" if token is None else f"Authorization: Bearer {token}\r\n"
        try:
            self.line.bind((source, 0))
            self.line.connect(("127.0.0.1", server.port))
            self.line.sendall(f"GET /v1/events HTTP/1.1\r\nHost: localhost\r\n{more}\r\n".encode())
        except OSError:
            self.line.close()
            raise
        self.last_id, self.retry_ms = "", None
        self._raw, self._text, self._ready = b"", b"", []

    def head(self) -> tuple[int, str]:
        """Read the head, and give the status and all of it."""
        while b"\r\n\r\n" not in self._raw:
            piece = self.line.recv(4096)
            assert piece, self._raw
            self._raw += piece
        head, _, self._raw = self._raw.partition(b"\r\n\r\n")
        return int(head.split()[1]), head.decode().lower()

    def begin(self) -> Client:
        """Read the head of a stream that is served."""
        status, head = self.head()
        assert status == 200
        assert "content-type: text/event-stream" in head
        return self

    def next(self) -> Message:
        """Give the next event."""
        while not self._ready:
            assert self._read(), "the stream has ended"
        return self._ready.pop(0)

    def until(self, event: str, **fields: object) -> list[Message]:
        """Give all events up to the first of a type that has these fields in its data."""
        found = [self.next()]
        while found[-1].event != event or not fields.items() <= found[-1].data.items():
            found.append(self.next())
        return found

    def rest(self) -> list[Message]:
        """Give all events up to the end of the stream."""
        with contextlib.suppress(ConnectionError):
            while self._read():
                pass
        return self._ready

    def close(self) -> None:
        self.line.close()

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    def _read(self) -> bool:
        """Read one chunk (RFC 9112, section 7.1); False at the end."""
        while (found := re.match(rb"([0-9a-f]+)\r\n", self._raw)) is None or (
            len(self._raw) < found.end() + int(found[1], 16) + 2
        ):
            piece = self.line.recv(65536)
            if not piece:
                return False
            self._raw += piece
        end = found.end() + int(found[1], 16)
        self._text += self._raw[found.end() : end]
        self._raw = self._raw[end + 2 :]
        self._dispatch()
        return int(found[1], 16) > 0

    def _dispatch(self) -> None:
        *blocks, self._text = re.split(rb"(?:\r\n|\r|\n){2}", self._text)
        for block in blocks:
            event, data = "message", []
            for line in re.split("\r\n|\r|\n", block.decode("utf-8")):
                name, _, value = line.partition(":")
                value = value.removeprefix(" ")
                if name == "event":
                    event = value
                elif name == "data":
                    data.append(value)
                elif name == "id" and "\0" not in value:
                    self.last_id = value
                elif name == "retry" and value.isascii() and value.isdecimal():
                    self.retry_ms = int(value)
            if data:
                self._ready.append(Message(event, json.loads("\n".join(data)), self.last_id))
