"""Long answers over real sockets: they wait for their readers, hold up nobody, and end with their clients."""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import threading
import time

import pytest

from api.web.slots import RequestSlots
from api.web.streaming import MOST_PIECES_HELD
from config.errors import JournalError
from tests.api.lines import LONG_S, ask, serving

PIECE = "x" * 64 * 1024
# More than the buffers of any two sockets hold.
MANY = 4000


class Pieces:
    """A long answer that counts what was worked out of it, and can fail on the way."""

    def __init__(self, fails_after: int = MANY) -> None:
        self.fails_after = fails_after
        self.made = 0
        self.closed = threading.Event()

    def __call__(self, _stream):
        try:
            while self.made < MANY:
                if self.made == self.fails_after:
                    raise JournalError("the journal is gone")
                self.made += 1
                yield PIECE
        finally:
            self.closed.set()

    def wait_until_it_waits(self) -> int:
        """Wait until nothing more is worked out, and give how many pieces were."""
        until_s, seen = time.monotonic() + LONG_S, -1
        while seen != self.made:
            assert time.monotonic() < until_s
            seen = self.made
            time.sleep(0.2)
        return seen


@pytest.fixture
def answer(monkeypatch):
    """Have the hours be a long answer."""

    def make(**more) -> Pieces:
        pieces = Pieces(**more)
        monkeypatch.setattr("api.web.routes.hours.write_hours_json", pieces)
        return pieces

    return make


@contextlib.contextmanager
def unread(server):
    """Ask for the hours, and read nothing."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S) as line:
        line.sendall(b"GET /v1/hours HTTP/1.1\r\nHost: localhost\r\n\r\n")
        yield line


def test_what_is_not_read_is_not_worked_out(server, answer):
    """A client that does not read holds up its own answer, after what the sockets hold, and nobody else's."""
    pieces = answer()
    with unread(server):
        assert pieces.wait_until_it_waits() < MANY
        # Neither the slots nor the turn of long work are held meanwhile.
        for path in ("/v1/status", "/v1/nights", "/v1/zones/jetty", "/v1/replacements"):
            assert ask(server, "GET", path)[0] == 200
        for _ in range(5):
            status, _, _ = ask(server, "HEAD", "/v1/year.svg?kind=past")
            assert status == 200
    assert pieces.closed.wait(LONG_S), "the work goes on for a client that has gone"
    assert pieces.made < MANY


def test_all_of_it_arrives_in_the_end(server, answer, monkeypatch):
    """A client that reads gets every piece, once and in order."""
    monkeypatch.setattr("tests.api.web.test_streaming.MANY", 50)
    answer()
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S)
    with contextlib.closing(line):
        line.request("GET", "/v1/hours")
        response = line.getresponse()
        assert response.headers["transfer-encoding"] == "chunked"
        assert response.headers["content-type"] == "application/json"
        assert response.headers["cache-control"] == "no-store"
        assert response.read() == PIECE.encode() * 50


def test_a_fault_on_the_way_cuts_the_connection(server, answer):
    """A part is never taken for the whole: the answer breaks off, and the next request is answered."""
    answer(fails_after=MOST_PIECES_HELD + 20)
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S)
    with contextlib.closing(line):
        line.request("GET", "/v1/hours")
        with pytest.raises(http.client.IncompleteRead):
            line.getresponse().read()
    assert ask(server, "GET", "/v1/status")[0] == 200


def test_a_fault_at_the_beginning_is_a_problem(server, answer):
    """What fails before anything was sent is answered with a problem document."""
    answer(fails_after=1)
    status, _, document = ask(server, "GET", "/v1/hours")
    assert (status, document["type"]) == (503, "/problems/journal-unreadable")


def test_the_head_alone_is_not_worked_out_to_the_end(server, answer):
    """A HEAD request is answered with the headers, and the rest is never made."""
    pieces = answer()
    status, headers, body = ask(server, "HEAD", "/v1/hours")
    assert (status, headers["content-type"], body) == (200, "application/json", None)
    assert pieces.closed.wait(LONG_S)
    assert pieces.made <= MOST_PIECES_HELD + 1


def test_past_the_bound_of_long_answers_one_more_is_refused(house, answer):
    """With as many long answers under way as may be, the next is refused, with a time to try again."""
    house.app.state.context.streams = RequestSlots(running=1, waiting=0)
    pieces = answer()
    with serving(lambda: house.app) as server, unread(server):
        pieces.wait_until_it_waits()
        status, headers, document = ask(server, "GET", "/v1/hours")
        assert (status, document["type"]) == (503, "/problems/too-busy")
        assert headers["retry-after"]


def test_a_short_answer_is_one_piece(server):
    """What is complete at once is sent with its length, as any other answer."""
    status, headers, document = ask(server, "GET", "/v1/hours")
    assert status == 200
    assert int(headers["content-length"]) == len(json.dumps(document, separators=(",", ":")).encode())
