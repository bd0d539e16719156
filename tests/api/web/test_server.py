"""The web server in its own thread, over real sockets of this machine: how it serves, and how it ends."""

import json
import socket
import subprocess
import sys
import threading

import pytest

from api.web.server import WebServer
from tests.api.lines import LONG_S, Tries, ask, read_to_end


def test_it_serves_on_a_port_of_its_own(server):
    """Port 0 takes a free port, which the server then names; requests are answered there."""
    assert server.port > 0
    assert server.url == f"http://127.0.0.1:{server.port}/"
    assert server.fault is None
    status, headers, document = ask(server, "GET", "/health")
    assert (status, document["status"], document["lit"]) == (200, "ok", 2)
    assert "server" not in {name.lower() for name in headers}


def test_the_whole_way_from_the_line_to_the_relay(server, house):
    """An override sent over HTTP switches the relay, and ending it switches the relay back."""
    body = json.dumps({"light": "off", "for": "1h"})
    status, _, document = ask(
        server, "PUT", "/v1/zones/jetty/override", body, content_type="application/json"
    )
    assert (status, document["light"]) == (200, "off")
    pins = {wire.pin: device for wire, device in house.relays._devices.items()}
    assert pins[17].value == 0
    assert ask(server, "DELETE", "/v1/zones/jetty/override")[0] == 204
    assert pins[17].value == 1


# -- the end -------------------------------------------------------------------------------------------------


def test_it_stops_with_lines_open_and_a_request_that_never_ends(house, monkeypatch):
    """Open connections and a request that hangs do not delay the end; the request is answered."""
    begun, go_on = threading.Event(), threading.Event()

    def hang(*_args):
        begun.set()
        go_on.wait(LONG_S)
        raise RuntimeError("nobody waits for this any more")

    monkeypatch.setattr("api.web.routes.zones.zone_response", hang)
    server = WebServer(house.make_app, port=0)
    server.start()
    assert server.wait_until_serving(LONG_S)
    address = ("127.0.0.1", server.port)
    with socket.create_connection(address, LONG_S) as idle, socket.create_connection(address, LONG_S) as busy:
        busy.sendall(b"GET /v1/zones/jetty HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert begun.wait(LONG_S)
        assert server.stop(LONG_S)
        assert idle.recv(1) == b""
        heard = read_to_end(busy)
        assert heard.startswith(b"HTTP/1.1 503 ")
        assert b"/problems/stopping" in heard
    go_on.set()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address, LONG_S)


def test_it_stops_while_it_waits_to_try_again(house):
    """A server that waits for its port stops at once."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        server = WebServer(house.make_app, port=other.getsockname()[1], first_pause_s=10 * LONG_S)
        tries = Tries(server)
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
from api.web.server import WebServer
from tests.api.stand_in import House
import api.web.schemas.status
begun = threading.Event()
def hang(_name):
    begun.set()
    threading.Event().wait()
api.web.schemas.status.tz_data_version = hang
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
        "import sys, api.web.server; api.web.server.WebServer(lambda: None);"
        "print(sorted({'fastapi', 'uvicorn', 'starlette', 'pydantic', 'h11', 'anyio'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], timeout=60, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
