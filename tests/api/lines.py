"""A web server that serves, and connections to it: what the tests over real sockets share."""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import threading
import time

from api.web.server import WebServer

# No test waits this long where all is well: it only keeps a broken one from hanging.
LONG_S = 30.0


@contextlib.contextmanager
def serving(make_app, **options):
    server = WebServer(make_app, **{"port": 0, "first_pause_s": 0.01, **options})
    server.start()
    try:
        assert server.wait_until_serving(LONG_S), server.fault
        yield server
    finally:
        assert server.stop(LONG_S)


def ask(server, method, path, body=None, *, source="127.0.0.1", **headers):
    """Send one request as any program would, and return status, headers and document.

    The ``source`` is the address that it comes from; all of 127.0.0.0/8 is this machine, and all but
    127.0.0.1 stand for the home network.
    """
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S, source_address=(source, 0))
    with contextlib.closing(line):
        line.request(
            method,
            path,
            body=body,
            headers={name.replace("_", "-"): value for name, value in headers.items()},
        )
        response = line.getresponse()
        content = response.read()
        return response.status, dict(response.getheaders()), json.loads(content) if content else None


def connect(server, *, source="127.0.0.1", to="127.0.0.1") -> socket.socket:
    """Open a bare connection from an address."""
    return socket.create_connection((to, server.port), timeout=LONG_S, source_address=(source, 0))


@contextlib.contextmanager
def many(server, count, *, source, to="127.0.0.1", said=b""):
    """Open many connections from an address, each of which says something and then nothing."""
    with contextlib.ExitStack() as opened:
        lines = []
        for _ in range(count):
            line = opened.enter_context(connect(server, source=source, to=to))
            with contextlib.suppress(ConnectionError):
                line.sendall(said)
            lines.append(line)
        yield lines


def wait_for_ends(lines) -> None:
    """Read from connections until each is closed by the other side."""
    until_s = time.monotonic() + LONG_S
    for line in lines:
        line.settimeout(max(0.1, until_s - time.monotonic()))
        with contextlib.suppress(ConnectionError):
            while line.recv(65536):
                pass


def send_raw(server, *pieces: bytes) -> bytes:
    """Send bytes on a bare connection, and return everything received until the server closes it."""
    with connect(server) as line:
        for piece in pieces:
            line.sendall(piece)
        return read_to_end(line)


def send_forever(line, piece: bytes) -> None:
    while True:
        line.sendall(piece)


def read_response(line) -> bytes:
    """Read one response to its end, by its Content-Length; nothing where there is none."""
    heard = b""
    while b"\r\n\r\n" not in heard:
        if not (letter := line.recv(1)):
            return heard
        heard += letter
    length = int(heard.lower().partition(b"content-length: ")[2].partition(b"\r\n")[0])
    while length:
        piece = line.recv(length)
        heard, length = heard + piece, length - len(piece)
    return heard


def read_to_end(line) -> bytes:
    heard = b""
    while piece := line.recv(65536):
        heard += piece
    return heard


def wait_until(condition) -> None:
    """Wait for something that another thread brings about."""
    until_s = time.monotonic() + LONG_S
    while not condition():
        assert time.monotonic() < until_s
        time.sleep(0.01)


class Tries:
    """Counts how often a server notes a fault."""

    def __init__(self, server):
        self.condition = threading.Condition()
        self.tries = 0
        note = server._note

        def counted(error):
            note(error)
            with self.condition:
                self.tries += 1
                self.condition.notify_all()

        server._note = counted

    def wait_for(self, tries):
        with self.condition:
            assert self.condition.wait_for(lambda: self.tries >= tries, LONG_S)
