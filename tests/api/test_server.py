"""The web server in its own thread, over real sockets of this machine."""

import asyncio
import contextlib
import errno
import http.client
import json
import logging
import socket
import subprocess
import sys
import threading

import pytest

from api.server import WebServer, _explain

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


@pytest.fixture
def server(house):
    with serving(house.make_app) as server:
        yield server


def ask(server, method, path, body=None, **headers):
    """Send one request as any program would, and give status, headers and document."""
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S)
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


def say(server, *pieces: bytes) -> bytes:
    """Say something on a bare line, and give all that is answered until the other side closes."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S) as line:
        for piece in pieces:
            line.sendall(piece)
        return hear_to_the_end(line)


def say_for_ever(line, piece: bytes) -> None:
    while True:
        line.sendall(piece)


def hear_answer(line) -> bytes:
    """Hear one answer to its end; it tells its length."""
    heard = b""
    while b"\r\n\r\n" not in heard:
        heard += line.recv(1)
    length = int(heard.lower().partition(b"content-length: ")[2].partition(b"\r\n")[0])
    while length:
        piece = line.recv(length)
        heard, length = heard + piece, length - len(piece)
    return heard


def hear_to_the_end(line) -> bytes:
    heard = b""
    while piece := line.recv(65536):
        heard += piece
    return heard


def test_it_serves_on_a_port_of_its_own(server):
    """Port 0 takes a free port, which the server then names; requests are answered there."""
    assert server.port > 0
    assert server.url == f"http://127.0.0.1:{server.port}/"
    assert server.fault is None
    status, headers, document = ask(server, "GET", "/health")
    assert (status, document["status"], document["lit"]) == (200, "ok", 2)
    assert "server" not in {name.lower() for name in headers}


def test_the_whole_way_from_the_line_to_the_relay(server, house):
    """An override that comes over the line moves the relay, and its end moves it back."""
    body = json.dumps({"light": "off", "for": "1h"})
    status, _, document = ask(
        server, "PUT", "/v1/zones/jetty/override", body, content_type="application/json"
    )
    assert (status, document["light"]) == (200, "off")
    pins = {wire.pin: device for wire, device in house.relays._devices.items()}
    assert pins[17].value == 0
    assert ask(server, "DELETE", "/v1/zones/jetty/override")[0] == 204
    assert pins[17].value == 1


def test_a_name_that_is_not_ours_is_refused_on_the_line(server):
    """A request to another name is refused over a real line too, and the line is closed."""
    status, headers, document = ask(server, "GET", "/v1/status", host="garden.example")
    assert (status, document["type"]) == (421, "/problems/wrong-host")
    assert headers["connection"] == "close"
    assert headers["content-type"] == "application/problem+json"


def test_another_sites_page_is_refused_on_the_line(server, house):
    """What another site's page sends is refused over a real line too."""
    body = json.dumps({"light": "off"})
    more = {
        "content_type": "application/json",
        "origin": "https://garden.example",
        "sec_fetch_site": "cross-site",
    }
    status, _, document = ask(server, "PUT", "/v1/zones/jetty/override", body, **more)
    assert (status, document["type"]) == (403, "/problems/cross-site")
    assert house.get("/v1/zones/jetty")["override"] is None


@pytest.mark.parametrize("size_bytes", [70_000, 900_000, 8_000_000])
def test_a_body_that_is_too_large_is_refused_on_the_line(server, size_bytes):
    """A body that is too large is refused; the one that sends it to the end still hears why."""
    head = (
        f"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        f"Content-Length: {size_bytes}\r\n\r\n"
    ).encode()
    with socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S) as line:
        # Where far too much is sent the line is cut, which the sender may meet before the answer.
        with contextlib.suppress(ConnectionError):
            line.sendall(head + b" " * size_bytes)
        with contextlib.suppress(ConnectionError):
            heard = hear_to_the_end(line)
            assert heard.startswith(b"HTTP/1.1 413 ")
            assert b"/problems/too-large" in heard
    assert ask(server, "GET", "/health")[0] == 200


def test_a_large_body_in_chunks_is_refused_on_the_line(server):
    """A body in chunks that tells no length is counted all the same."""
    head = (
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n"
    )
    chunk = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    heard = say(server, head, chunk, chunk, chunk, b"0\r\n\r\n")
    assert heard.startswith(b"HTTP/1.1 413 ")


@pytest.mark.parametrize(
    "said",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03 hello by TLS\r\n\r\n",
        b"HELO garden\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",  # HTTP/1.1 wants a Host: RFC 9112, section 3.2
        b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: garden.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"X-Long: " + b"x" * 200_000 + b"\r\n\r\n",
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Length: many\r\n\r\n",
    ],
)
def test_what_is_no_http_is_answered_with_a_problem(server, said):
    """What is not HTTP/1.1 is answered with a problem document and a closed line."""
    with contextlib.suppress(ConnectionError):
        heard = say(server, said)
        head, _, body = heard.partition(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 400 ")
        assert b"application/problem+json" in head
        document = json.loads(body)
        assert (document["type"], document["status"]) == ("/problems/not-http", 400)
    assert ask(server, "GET", "/health")[0] == 200


def test_a_request_without_a_host_is_refused(server):
    """HTTP/1.0 knows no Host; such a request is refused, because its name cannot be checked."""
    assert say(server, b"GET /v1/status HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.1 421 ")


# -- patience ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "said", [b"", b"GET /health HT", b"GET /health HTTP/1.1\r\nHost: localhost\r\nX-Slow: "]
)
def test_a_connection_that_asks_nothing_is_closed(house, monkeypatch, said):
    """A line on which no whole head of a request arrives is closed."""
    monkeypatch.setattr("api.connection.Connection.patience_s", 0.05)
    with serving(house.make_app) as server:
        assert say(server, said) == b""


def test_a_connection_that_was_answered_is_closed_after_a_while(house, monkeypatch):
    """After an answer the line stays for another request, but not for ever, dripping or not."""
    monkeypatch.setattr("api.connection.Connection.patience_s", 0.05)
    with serving(house.make_app) as server:
        heard = say(server, b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\nGET /he")
        assert heard.count(b"HTTP/1.1 200 ") == 1
        assert heard.endswith(b"}")


def test_two_requests_go_over_one_line(server):
    """A line may carry one request after the other, also when both are sent at once."""
    one = b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n"
    last = b"GET /v1/zones HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    assert say(server, one + last).count(b"HTTP/1.1 200 ") == 2


def test_a_body_that_drips_is_refused(house, monkeypatch):
    """A body that does not arrive in time is refused, and its line closed."""
    monkeypatch.setattr(
        "api.guard.Guard.__init__.__kwdefaults__", {"names": ("localhost",), "receive_s": 0.05}
    )
    head = (
        b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Content-Length: 20\r\n\r\n{"
    )
    with serving(house.make_app) as server:
        heard = say(server, head)
    assert heard.startswith(b"HTTP/1.1 408 ")
    assert b"/problems/too-slow" in heard


def test_a_reader_that_does_not_read_is_cut_off(house, monkeypatch):
    """Who asks for much and reads nothing is cut off, so that the line is free for others."""
    monkeypatch.setattr("api.connection.Connection.unread_s", 0.05)
    request = b"GET /v1/nights?from=2027-01-01&to=2029-01-01 HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with serving(house.make_app) as server, socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.settimeout(LONG_S)
        line.connect(("127.0.0.1", server.port))
        # More answers than any buffer between us holds; the line ends before all of them were asked for.
        with pytest.raises(ConnectionError):
            say_for_ever(line, request)
        assert ask(server, "GET", "/health")[0] == 200


def test_one_connection_too_many_is_told_so(house, monkeypatch):
    """Beyond the most connections a request is answered as too busy; far beyond, the line is cut."""
    monkeypatch.setattr("api.connection.Connection.most", 3)
    request = b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with serving(house.make_app) as server, contextlib.ExitStack() as lines:

        def open_line():
            line = socket.create_connection(("127.0.0.1", server.port), timeout=LONG_S)
            return lines.enter_context(line)

        first = [open_line() for _ in range(3)]
        for line in first:
            line.sendall(request)
            assert hear_answer(line).startswith(b"HTTP/1.1 200 ")
        more = [open_line() for _ in range(3)]
        cut = open_line()
        with contextlib.suppress(ConnectionError):
            assert cut.recv(1) == b""
        more[0].sendall(request)
        heard = hear_to_the_end(more[0])
        assert heard.startswith(b"HTTP/1.1 503 ")
        assert json.loads(heard.partition(b"\r\n\r\n")[2])["type"] == "/problems/too-busy"
        first[0].sendall(request)
        assert hear_answer(first[0]).startswith(b"HTTP/1.1 200 ")


# -- faults --------------------------------------------------------------------------------------------------


def test_a_port_that_is_taken_is_told_once_and_taken_when_free(house, caplog):
    """A taken port is a fault that says so, is logged once, and ends when the port is free."""
    caplog.set_level(logging.INFO, logger="api.server")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        server = WebServer(house.make_app, port=port, first_pause_s=0.01)
        tries = count_tries(server)
        server.start()
        tries.wait_for(3)
        expected = (
            f"web server: port {port} on 127.0.0.1 is taken by another program; "
            "end that one, or choose another port"
        )
        assert server.fault == expected
    assert server.wait_until_serving(LONG_S)
    assert server.fault is None
    assert ask(server, "GET", "/health")[0] == 200
    said = [record.getMessage() for record in caplog.records if record.name == "api.server"]
    assert said == [expected, "the web server works again", f"listening on http://127.0.0.1:{port}/"]
    assert server.stop(LONG_S)


class count_tries:  # noqa: N801 - reads as a verb where it is used
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


def test_an_application_that_cannot_be_made_is_tried_again(house, caplog):
    """A fault while the application is made is logged with its traceback once, and tried again."""
    faults = iter(
        [ImportError("no module named fastapi"), SystemExit(3), ImportError("no module named fastapi")]
    )

    def make_app():
        for fault in faults:
            raise fault
        return house.make_app()

    with serving(make_app) as server:
        assert ask(server, "GET", "/health")[0] == 200
    errors = [each for each in caplog.records if each.levelno == logging.ERROR and each.name == "api.server"]
    assert [each.getMessage().partition(" is not served: ")[2] for each in errors] == [
        "no module named fastapi",
        "3",
        "no module named fastapi",
    ]
    assert all(each.exc_info for each in errors)


def test_a_loop_that_cannot_be_had_is_tried_again(house, monkeypatch):
    """Even where no event loop can be made, nothing leaves the thread and it is tried again."""
    run = asyncio.run
    faults = iter([OSError(errno.EMFILE, "Too many open files")])

    def run_later(work):
        for fault in faults:
            work.close()
            raise fault
        run(work)

    monkeypatch.setattr("api.server.asyncio.run", run_later)
    monkeypatch.setattr("api.server.LONGEST_PAUSE_S", 0.01)
    with serving(house.make_app) as server:
        assert ask(server, "GET", "/health")[0] == 200


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.EADDRINUSE, ""), "is taken by another program"),
        (OSError(errno.EADDRNOTAVAIL, ""), "this machine has no address 10.9.8.7; choose one that it has"),
        (PermissionError(errno.EACCES, ""), "may not be opened; choose a port from 1024 on"),
        (OSError(errno.EMFILE, "Too many open files"), "is not served: too many open files"),
        (RuntimeError(), "is not served: RuntimeError"),
    ],
)
def test_every_fault_has_its_words(error, words):
    """What keeps the server from serving is told in words, with the place and what would do."""
    assert words in _explain(error, "10.9.8.7", 80)


def test_a_fault_of_one_request_leaves_the_others(server, house, monkeypatch):
    """An exception in one request is answered as a fault; the next request is answered as ever."""
    monkeypatch.setattr("api.clerk.nights_as_json", lambda *_: 1 / 0)
    status, _, document = ask(server, "GET", "/v1/nights")
    assert (status, document["type"]) == (500, "/problems/fault")
    assert ask(server, "GET", "/health")[0] == 200


# -- the end -------------------------------------------------------------------------------------------------


def test_it_stops_with_lines_open_and_a_request_that_never_ends(house, monkeypatch):
    """Open lines and a request that hangs hold up nothing: the one is closed, the other told the reason."""
    begun, go_on = threading.Event(), threading.Event()

    def hang(_name):
        begun.set()
        go_on.wait(LONG_S)
        return "rules"

    monkeypatch.setattr("api.clerk.tz_data_version", hang)
    server = WebServer(house.make_app, port=0)
    server.start()
    assert server.wait_until_serving(LONG_S)
    address = ("127.0.0.1", server.port)
    with socket.create_connection(address, LONG_S) as idle, socket.create_connection(address, LONG_S) as busy:
        busy.sendall(b"GET /v1/status HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert begun.wait(LONG_S)
        assert server.stop(LONG_S)
        assert idle.recv(1) == b""
        heard = hear_to_the_end(busy)
        assert heard.startswith(b"HTTP/1.1 503 ")
        assert b"/problems/stopping" in heard
    go_on.set()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address, LONG_S)


def test_it_stops_while_it_waits_to_try_again(house):
    """A server that waits for its port stops at once when told to."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        server = WebServer(house.make_app, port=other.getsockname()[1], first_pause_s=10 * LONG_S)
        tries = count_tries(server)
        server.start()
        tries.wait_for(1)
        assert server.stop(LONG_S)


def test_it_stops_before_it_has_begun(house):
    """A server that was never started, and one that has only just been, stop as well."""
    assert WebServer(house.make_app).stop()
    server = WebServer(house.make_app, port=0)
    server.start()
    assert server.stop(LONG_S)
    assert server.stop()


def test_the_end_of_the_process_waits_for_no_request(tmp_path):
    """A process whose web server still has a request under way ends all the same, with its own exit code."""
    script = f"""
import sys, threading, socket
from pathlib import Path
from api.server import WebServer
from tests.api.stand_in import House
import api.clerk
begun = threading.Event()
def hang(_name):
    begun.set()
    threading.Event().wait()
api.clerk.tz_data_version = hang
house = House(Path({str(tmp_path)!r}))
server = WebServer(house.make_app, port=0)
server.start()
assert server.wait_until_serving(30)
line = socket.create_connection(("127.0.0.1", server.port))
line.sendall(b"GET /v1/status HTTP/1.1\\r\\nHost: localhost\\r\\n\\r\\n")
assert begun.wait(30)
server.stop(0.0)
sys.exit(7)
"""
    done = subprocess.run([sys.executable, "-c", script], timeout=60, capture_output=True, check=False)
    assert done.returncode == 7, done.stderr.decode()


def test_the_web_stack_is_imported_by_the_server_alone():
    """To make a server imports neither FastAPI nor uvicorn: they come in with its thread."""
    script = (
        "import sys, api.server; api.server.WebServer(lambda: None);"
        "print(sorted({'fastapi', 'uvicorn', 'starlette', 'pydantic', 'h11', 'anyio'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], timeout=60, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
