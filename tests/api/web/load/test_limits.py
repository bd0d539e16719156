"""How often an address may ask and change: the middleware, by a clock that the test steps."""

from __future__ import annotations

import asyncio
import json

import pytest

from api.web.limits import RateLimitMiddleware
from tests.api.lines import ask, serving

BOARD, PHONE, TABLET = "127.0.0.1", "192.168.1.30", "192.168.1.31"


class Web:
    """The middleware before an application that counts, and time that stands still."""

    def __init__(self):
        self.now_s = 1000.0
        self.reached = 0
        self.limited = RateLimitMiddleware(self.app, now_s=lambda: self.now_s)

    async def app(self, _scope, _receive, send):
        self.reached += 1
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    def ask(self, peer, method="GET", headers=(), path="/v1/zones"):
        """Give the status, the headers and the document that a request is answered with."""
        sent = []

        async def send(message):
            sent.append(message)

        async def receive():
            raise AssertionError("nothing of it may be read")

        scope = {
            "type": "http",
            "method": method,
            "path": path,
            "client": (peer, 50000),
            "server": (peer if peer == BOARD else "192.168.1.20", 8010),
            "headers": list(headers),
        }
        asyncio.run(self.limited(scope, receive, send))
        body = sent[1]["body"]
        return sent[0]["status"], dict(sent[0]["headers"]), json.loads(body) if body else None


@pytest.fixture
def web():
    return Web()


def test_bursts_of_60_and_then_ten_a_second(web):
    """An address may ask 60 times at once, then ten times a second; others are not affected."""
    assert [web.ask(PHONE)[0] for _ in range(61)] == [200] * 60 + [429]
    assert web.ask(TABLET)[0] == 200
    web.now_s += 1
    assert [web.ask(PHONE)[0] for _ in range(11)] == [200] * 10 + [429]
    assert web.reached == 71


def test_a_question_that_is_sent_as_a_form_is_no_change(web):
    """What a program would do is asked at every pause of whoever fills it in; saving stays possible."""
    for _ in range(50):
        assert web.ask(PHONE, "POST", path="/programs/jetty/preview")[0] == 200
        web.now_s += 1
    for _ in range(30):
        assert web.ask(PHONE, "POST", path="/programs/preview")[0] == 200
    assert web.ask(PHONE, "POST", path="/programs/preview")[0] == 429


def test_the_31st_change_in_a_minute(web):
    """Thirty changes go through in a minute, one more does not; reading goes on, and so do others."""
    for _ in range(30):
        assert web.ask(PHONE, "PUT")[0] == 200
        web.now_s += 1
    status, headers, document = web.ask(PHONE, "DELETE")
    assert (status, document["type"]) == (429, "/problems/too-many-requests")
    assert document["detail"] == "more than 30 changes a minute from this address; wait 30 s"
    assert headers[b"retry-after"] == b"30"
    assert headers[b"connection"] == b"close"
    assert headers[b"x-content-type-options"] == b"nosniff"
    assert web.ask(PHONE)[0] == 200
    assert web.ask(TABLET, "POST")[0] == 200
    web.now_s += 30
    assert web.ask(PHONE, "POST")[0] == 200


def test_the_boards_own_programs_may_always(web):
    """Nothing is counted for the board itself; what a proxy on it passes on is."""
    assert {web.ask(BOARD, "PUT")[0] for _ in range(500)} == {200}
    proxied = [(b"x-forwarded-for", b"203.0.113.5")]
    assert web.ask(BOARD, headers=proxied)[0] == 200
    assert {web.ask(BOARD, headers=proxied)[0] for _ in range(100)} == {200, 429}
    assert web.ask(BOARD)[0] == 200


def test_looking_is_no_change(web):
    """HEAD and OPTIONS change nothing, and count as requests alone."""
    assert {web.ask(PHONE, method)[0] for method in ("HEAD", "OPTIONS") for _ in range(30)} == {200}
    assert web.ask(PHONE)[0] == 429


def test_over_real_sockets_one_address_is_limited_and_another_served(house):
    """A machine that asks without end is told to wait; another one, and the board, are answered meanwhile."""
    with serving(house.make_app) as server:
        answers = [ask(server, "GET", "/health", source="127.0.0.2") for _ in range(80)]
        assert 429 in [status for status, _, _ in answers]
        assert [status for status, _, _ in answers].index(429) >= 60
        assert ask(server, "GET", "/health", source="127.0.0.3")[0] != 429
        assert ask(server, "GET", "/health")[0] == 200
