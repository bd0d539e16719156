"""Connections that send too much, nothing or no HTTP, or do not read."""

import asyncio
import contextlib
import inspect
import json
import re
import socket
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from uvicorn import Config, Server
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.server import ServerState

from api.web.protocol import LARGEST_HEAD_BYTES, LimitedH11Protocol
from tests.api.lines import LONG_S, ask, read_to_end, send_forever, send_raw, serving


@pytest.mark.parametrize("size_bytes", [70_000, 900_000, 8_000_000])
def test_a_body_that_is_too_large_is_refused_on_the_line(server, size_bytes):
    """A body that is too large is refused; a client that sends all of it still receives the reason."""
    head = (
        f"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        f"Content-Length: {size_bytes}\r\n\r\n"
    ).encode()
    with socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S) as line:
        # Where far too much is sent the line is cut, which the sender may meet before the answer.
        with contextlib.suppress(ConnectionError):
            line.sendall(head + b" " * size_bytes)
        with contextlib.suppress(ConnectionError):
            heard = read_to_end(line)
            assert heard.startswith(b"HTTP/1.1 413 ")
            assert b"/problems/too-large" in heard
    assert ask(server, "GET", "/health")[0] == 200


def test_a_large_body_in_chunks_is_refused_on_the_line(server):
    """The size of a chunked body without a declared length is counted all the same."""
    head = (
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n"
    )
    chunk = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    heard = send_raw(server, head, chunk, chunk, chunk, b"0\r\n\r\n")
    assert heard.startswith(b"HTTP/1.1 413 ")


@pytest.mark.parametrize(
    "said",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03 hello by TLS\r\n\r\n",
        b"HELO garden\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",  # HTTP/1.1 wants a Host: RFC 9112, section 3.2
        b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: garden.example\r\n\r\n",
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Length: many\r\n\r\n",
    ],
)
def test_what_is_no_http_is_answered_with_a_problem(server, said):
    """What is not HTTP/1.1 is answered with a problem document, and the connection is closed."""
    assert refusal(send_raw(server, said)) == (400, "/problems/not-http")
    assert ask(server, "GET", "/health")[0] == 200


def refusal(heard: bytes) -> tuple[int, str]:
    """Give the status and the type of a problem that ended a connection."""
    head, _, body = heard.partition(b"\r\n\r\n")
    assert b"\r\ncontent-type: application/problem+json\r\n" in head
    assert b"\r\nx-content-type-options: nosniff\r\n" in head
    assert b"\r\nconnection: close" in head
    document = json.loads(body)
    assert head.startswith(f"HTTP/1.1 {document['status']} ".encode())
    return document["status"], document["type"]


def head_of(size_bytes: int, *, target: bytes = b"/health", name: bytes = b"X-Long") -> bytes:
    head = b"GET %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n%s: %%s\r\n\r\n" % (target, name)
    return head % (b"x" * (size_bytes - len(head) + len(b"%s")))


@pytest.mark.parametrize("size_bytes", [LARGEST_HEAD_BYTES + 8192, 200_000, 700_000])
def test_a_head_that_is_too_large_is_refused(server, size_bytes):
    """The head of a request that is too large is answered 431, also where all of it comes at once."""
    assert refusal(send_raw(server, head_of(size_bytes))) == (431, "/problems/header-too-large")
    assert refusal(send_raw(server, head_of(size_bytes, name=b"Cookie")))[0] == 431
    assert refusal(send_raw(server, head_of(500, target=b"/" + b"x" * size_bytes)))[0] == 431
    assert ask(server, "GET", "/health")[0] == 200


def test_a_head_that_is_not_too_large_is_read(server):
    """A head of the largest size is read, in how many pieces it may come."""
    head = head_of(LARGEST_HEAD_BYTES)
    assert len(head) == LARGEST_HEAD_BYTES
    assert send_raw(server, head).startswith(b"HTTP/1.1 200 ")
    assert send_raw(server, *[head[at : at + 999] for at in range(0, len(head), 999)]).startswith(
        b"HTTP/1.1 200 "
    )


def test_who_sends_on_after_a_refusal_is_cut_off(server):
    """A client that never stops is answered and cut off, however much it sends."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S) as line:
        with pytest.raises(ConnectionError):
            send_forever(line, b"x" * 65536)
        assert ask(server, "GET", "/health")[0] == 200


def test_a_request_without_a_host_is_refused(server):
    """HTTP/1.0 knows no Host; such a request is refused, because its name cannot be checked."""
    assert send_raw(server, b"GET /v1/status HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.1 421 ")


@pytest.mark.parametrize(
    "said", [b"", b"GET /health HT", b"GET /health HTTP/1.1\r\nHost: localhost\r\nX-Slow: "]
)
def test_a_connection_that_asks_nothing_is_closed(house, monkeypatch, said):
    """A connection on which no complete request head arrives is closed."""
    monkeypatch.setattr("api.web.protocol.LimitedH11Protocol.idle_timeout_s", 0.05)
    with serving(house.make_app) as server:
        assert send_raw(server, said) == b""


def test_a_connection_that_was_answered_is_closed_after_a_while(house, monkeypatch):
    """After a response the connection stays open for another request, but not for ever."""
    monkeypatch.setattr("api.web.protocol.LimitedH11Protocol.idle_timeout_s", 0.05)
    with serving(house.make_app) as server:
        heard = send_raw(server, b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\nGET /he")
        assert heard.count(b"HTTP/1.1 200 ") == 1
        assert heard.endswith(b"}")


def test_two_requests_go_over_one_line(server):
    """A connection carries one request after the other, also when both are sent at once."""
    one = b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n"
    last = b"GET /v1/zones HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    assert send_raw(server, one + last).count(b"HTTP/1.1 200 ") == 2


def test_a_body_that_drips_is_refused(house, monkeypatch):
    """A body that does not arrive in time is refused, and its connection closed."""
    monkeypatch.setattr(
        "api.web.middleware.RequestGuardMiddleware.__init__.__kwdefaults__",
        {"hosts": ("localhost",), "receive_s": 0.05},
    )
    head = (
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Content-Length: 20\r\n\r\n{"
    )
    with serving(house.make_app) as server:
        heard = send_raw(server, head)
    assert heard.startswith(b"HTTP/1.1 408 ")
    assert b"/problems/too-slow" in heard


def test_a_reader_that_does_not_read_is_cut_off(house, monkeypatch):
    """A client that requests much and reads nothing is cut off, so that others can connect."""
    monkeypatch.setattr("api.web.protocol.LimitedH11Protocol.write_timeout_s", 0.05)
    request = b"GET /v1/nights?from=2027-01-01&to=2029-01-01 HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with serving(house.make_app) as server, socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.settimeout(LONG_S)
        line.connect(("127.0.0.1", server.port))
        # More answers than any buffer between us holds; the line ends before all of them were asked for.
        with pytest.raises(ConnectionError):
            send_forever(line, request)
        assert ask(server, "GET", "/health")[0] == 200


def test_answers_are_sent_at_once(house, monkeypatch):
    """No response waits for the acknowledgement of its own first part (Nagle: RFC 9293, section 3.7.4)."""
    options = []
    connection_made = LimitedH11Protocol.connection_made

    def look(connection, transport):
        options.append(transport.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        connection_made(connection, transport)

    monkeypatch.setattr(LimitedH11Protocol, "connection_made", look)
    with serving(house.make_app) as server:
        assert ask(server, "GET", "/health")[0] == 200
    assert options == [1]


CHUNKED = (
    b"POST /v1/access/tokens HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)


def test_a_body_in_crumbs_is_refused_early(server):
    """Of a body of very many chunks a thousand are read: to read all of them would keep others waiting."""
    heard = send_raw(server, CHUNKED, b"1\r\n \r\n" * 60_000)
    assert refusal(heard) == (400, "/problems/not-http")
    assert b"the body comes in more than 1024 pieces; send larger ones" in heard


def test_a_body_in_a_thousand_pieces_is_read(server):
    """A body of as many pieces as may be is read as one, and the next one on the connection is, too."""
    body = b'{"light": "off"}'
    chunks = b"".join(b"1\r\n%c\r\n" % letter for letter in body) + b"1\r\n \r\n" * (1024 - len(body))
    put = CHUNKED.replace(b"POST /v1/access/tokens", b"PUT /v1/zones/jetty/override") + chunks + b"0\r\n\r\n"
    last = b"GET /health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    assert send_raw(server, put, put, last).count(b"HTTP/1.1 200 ") == 3


# -- what we rely on -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["uvicorn", "h11"])
def test_what_is_overridden_is_pinned(name):
    """What we override or rely on is pinned to one minor version, and that is installed."""
    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8"))
    (pinned,) = [each for each in project["project"]["dependencies"] if re.match(rf"{name}\W", each)]
    low, high = re.fullmatch(rf"{name}>=0\.(\d+),<0\.(\d+)", pinned).groups()
    assert int(high) == int(low) + 1
    assert metadata.version(name).startswith(f"0.{low}.")


def test_uvicorn_has_what_is_overridden():
    """Every method of uvicorn that we override is there, and takes what ours takes."""
    overridden = {
        H11Protocol: (
            *("connection_made", "connection_lost", "data_received", "on_response_complete"),
            *("pause_writing", "resume_writing", "send_400_response"),
        ),
        Server: ("main_loop", "on_tick"),
    }
    for owner, names in overridden.items():
        for name in names:
            assert name in vars(owner), name
            ours = vars(LimitedH11Protocol).get(name)
            if ours is not None:
                theirs = inspect.signature(getattr(owner, name)).parameters
                assert len(inspect.signature(ours).parameters) == len(theirs), name
    ours = {name for name, value in vars(LimitedH11Protocol).items() if inspect.isfunction(value)}
    assert {name for name in ours if hasattr(H11Protocol, name)} - {"__init__"} == set(
        overridden[H11Protocol]
    )


def test_h11_says_that_a_head_is_too_large():
    """An error of h11 carries the status that it means, and is being handled when uvicorn tells of it."""
    seen = []

    class Telling(H11Protocol):
        def send_400_response(self, _msg):
            seen.append(getattr(sys.exception(), "error_status_hint", None))

    async def receive():
        config = Config(app=lambda: None, log_config=None, h11_max_incomplete_event_size=LARGEST_HEAD_BYTES)
        connection = Telling(config, ServerState(), {})
        connection.data_received(b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"x" * LARGEST_HEAD_BYTES)
        Telling(config, ServerState(), {}).data_received(b"HELO garden\r\n\r\n")

    asyncio.run(receive())
    assert seen == [431, 400]
