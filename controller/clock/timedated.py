"""Asking systemd-timedated whether the clock is synchronised, where a sandbox keeps the kernel's answer away.

A sandboxed service may not call adjtimex(2), not even to read. systemd-timedated calls it for anybody who
asks for the property NTPSynchronized of org.freedesktop.timedate1 on the system bus, whichever daemon keeps
the clock. A fork of a bus tool would inherit the relays' lines, so the one question is spoken here, after the
D-Bus specification: everything is sent in one piece, and the answer is picked up whenever it has arrived.
Nothing here raises or, unless asked to, waits.
"""

from __future__ import annotations

import socket
import struct
import sys
import time
from pathlib import Path

BUS_SOCKET = "run/dbus/system_bus_socket"

ASK_EVERY_S = 10.0
"""Pause between two questions, on the boot-time clock; timedated leaves by itself 30 s after the last."""

GIVE_UP_S = 30.0
"""An answer may take this long: the bus gives a service 25 s to start before it answers for it."""

_MOST_BYTES = 65_536
_CALL, _RETURN, _ERROR = 1, 2, 3
_ORDER = "<" if sys.byteorder == "little" else ">"
_MARK = {"<": b"l", ">": b"B"}
_FIXED_HEADER = 16
"""Message types, byte order marks and length of the fixed header: D-Bus Specification, "Message Format"."""


class TimeBus:
    """One question to the bus, asked again and again, with the last answer kept."""

    def __init__(self, root: Path = Path("/")) -> None:
        """Ask the bus whose socket lies under ``root``."""
        self._address = str(root / BUS_SOCKET)
        self._link: socket.socket | None = None
        self._asked_at_s: float | None = None
        self._heard = b""
        self._answer: bool | None = None

    def synchronised(self, boot_s: float, *, wait_s: float = 0.0) -> bool | None:
        """Give the latest answer, and ask anew when it is time.

        Args:
            boot_s: the boot-time clock, in seconds.
            wait_s: how long to wait for an answer that is on its way, in seconds.

        Returns:
            True or False; None while there is no answer, or nobody to ask.
        """
        if self._link is None and self._may_ask(boot_s):
            self._ask(boot_s)
        if self._link is not None:
            self._listen(wait_s)
        if self._link is not None and self._asked_at_s is not None and boot_s - self._asked_at_s > GIVE_UP_S:
            self._finish(None)
        return self._answer

    def close(self) -> None:
        """Hang up; twice does no harm."""
        if self._link is not None:
            self._link.close()
            self._link = None

    def _may_ask(self, boot_s: float) -> bool:
        return self._asked_at_s is None or boot_s - self._asked_at_s >= ASK_EVERY_S

    def _ask(self, boot_s: float) -> None:
        self._asked_at_s = boot_s
        self._heard = b""
        link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        link.settimeout(0.0)
        try:
            link.connect(self._address)
            link.sendall(_whole_question())
        except OSError:
            link.close()
            self._answer = None
            return
        self._link = link

    def _listen(self, wait_s: float) -> None:
        until_s = time.monotonic() + wait_s
        while self._link is not None:
            self._link.settimeout(max(0.0, until_s - time.monotonic()))
            try:
                piece = self._link.recv(4096)
            except (BlockingIOError, TimeoutError):
                return
            except OSError:
                piece = b""
            self._heard += piece
            if not piece or len(self._heard) > _MOST_BYTES:
                self._finish(None)
                return
            try:
                done, answer = _find_answer(self._heard)
            except (struct.error, ValueError):
                done, answer = True, None
            if done:
                self._finish(answer)

    def _finish(self, answer: bool | None) -> None:  # noqa: FBT001 - an answer is no switch
        self._answer = answer
        self.close()


def _whole_question() -> bytes:
    """Greeting, Hello and the question in one piece, which the bus reads in order."""
    greeting = b"\0AUTH EXTERNAL\r\nDATA\r\nBEGIN\r\n"
    bus = "org.freedesktop.DBus"
    hello = _call(1, to=bus, path="/org/freedesktop/DBus", interface=bus, member="Hello")
    question = _call(
        2,
        to="org.freedesktop.timedate1",
        path="/org/freedesktop/timedate1",
        interface="org.freedesktop.DBus.Properties",
        member="Get",
        texts=("org.freedesktop.timedate1", "NTPSynchronized"),
    )
    return greeting + hello + question


def _call(
    serial: int, *, to: str, path: str, interface: str, member: str, texts: tuple[str, ...] = ()
) -> bytes:
    """One method call whose arguments, if any, are strings."""
    body = b""
    for text in texts:
        body = _pad(body, 4) + _string(text)
    fields = b""
    for code, kind, value in ((1, b"o", path), (2, b"s", interface), (3, b"s", member), (6, b"s", to)):
        fields = _pad(fields, 8) + bytes((code, 1)) + kind + b"\0" + _string(value)
    if texts:
        signature = b"s" * len(texts)
        fields = _pad(fields, 8) + b"\x08\x01g\0" + bytes((len(signature),)) + signature + b"\0"
    head = _MARK[_ORDER] + bytes((_CALL, 0, 1)) + struct.pack(_ORDER + "III", len(body), serial, len(fields))
    return _pad(head + fields, 8) + body


def _string(text: str) -> bytes:
    raw = text.encode()
    return struct.pack(_ORDER + "I", len(raw)) + raw + b"\0"


def _pad(data: bytes, to: int) -> bytes:
    return data + b"\0" * (-len(data) % to)


def _find_answer(heard: bytes) -> tuple[bool, bool | None]:
    """Look through what has arrived; (done, answer)."""
    replies = 0
    at = 0
    while not heard.startswith(b"OK ", at):
        end = heard.find(b"\r\n", at)
        if end < 0:
            return False, None
        if not heard.startswith(b"DATA", at):
            raise ValueError("the bus does not let us in")
        at = end + 2
    at = heard.find(b"\r\n", at) + 2
    if at < 2:  # noqa: PLR2004 - the line is not complete yet
        return False, None
    while len(heard) >= at + _FIXED_HEADER:
        order = "<" if heard[at : at + 1] == b"l" else ">"
        kind = heard[at + 1]
        body_length, _, fields_length = struct.unpack_from(order + "III", heard, at + 4)
        body_at = at + _FIXED_HEADER + fields_length + -fields_length % 8
        if len(heard) < body_at + body_length:
            return False, None
        # Replies come in the order of the calls: the first is to Hello, the second to the question.
        replies += kind in (_RETURN, _ERROR)
        if kind == _ERROR:
            return True, None
        if kind == _RETURN and replies == 2:  # noqa: PLR2004
            return True, _boolean_in(heard[body_at : body_at + body_length], order)
        at = body_at + body_length
    return False, None


def _boolean_in(body: bytes, order: str) -> bool:
    """Read a variant that holds a boolean: its signature, padding to four, a word that is 0 or 1."""
    if body[:3] != b"\x01b\0":
        raise ValueError("not a boolean")
    return bool(struct.unpack_from(order + "I", body, 4)[0])
