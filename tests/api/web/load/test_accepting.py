"""Who is let in, over real sockets: 127.0.0.2 and beyond stand for the machines of the home network."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import socket
import ssl
import threading
import time

import pytest
import trustme

from api.web import accepting
from api.web.listening import Listening
from api.web.middleware import RequestGuardMiddleware
from config.models.network import NetworkSettings
from tests.api.lines import LONG_S, connect, many, read_response, read_to_end, serving

CA = trustme.CA()
REQUEST = b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n"


class App:
    """Answers who asked; ``/wait`` only once it is let go on."""

    def __init__(self):
        self.go_on = threading.Event()
        self.waiting = 0

    async def __call__(self, scope, receive, send):
        if scope["path"] == "/wait":
            self.waiting += 1
            while not self.go_on.is_set():
                await asyncio.sleep(0.01)
        while (await receive()).get("more_body"):
            pass
        body = json.dumps({"client": scope["client"][0], "scheme": scope["scheme"]}).encode()
        headers = [(b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})


@pytest.fixture
def app():
    """An application that keeps requests waiting."""
    app = App()
    yield app
    app.go_on.set()


@pytest.fixture
def web(app):
    """A server of that application, on the board's own address."""
    with serving(lambda: RequestGuardMiddleware(app)) as server:
        yield server


@pytest.fixture
def encrypted(app, tmp_path):
    """The same on 127.9.0.2 as well, by TLS."""
    made = CA.issue_cert("127.9.0.2")
    made.private_key_and_cert_chain_pem.write_to_path(tmp_path / "both.pem")
    settings = NetworkSettings(listen=("127.9.0.2",), certificate=str(tmp_path / "both.pem"))
    with serving(lambda: app, listening=Listening(lambda: settings, port=0)) as server:
        yield server


def answered(line) -> bytes:
    """Ask on a connection; nothing where it is closed."""
    with contextlib.suppress(ConnectionError):
        line.sendall(REQUEST)
        return read_response(line)
    return b""


def is_served(server, source) -> bool:
    with connect(server, source=source) as line:
        return answered(line).startswith(b"HTTP/1.1 200 ")


def test_the_place_of_one_that_ended_is_free(web):
    """An address whose connections end may open others."""
    with many(web, 8, source="127.0.0.2"):
        assert not is_served(web, "127.0.0.2")
    until_s = time.monotonic() + LONG_S
    while not is_served(web, "127.0.0.2"):  # until the server has seen their ends
        assert time.monotonic() < until_s
        time.sleep(0.2)


def test_those_that_are_being_answered_are_not_cut_off(app, web):
    """Where all connections are being answered, the next one is told to come back, and none of them ends."""
    ask = b"GET /wait HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with contextlib.ExitStack() as opened:
        lines = []
        for number in range(8):
            lines += opened.enter_context(many(web, 8, source=f"127.0.1.{number + 1}", said=ask))
        until_s = time.monotonic() + LONG_S
        while app.waiting < 64:
            assert time.monotonic() < until_s
            time.sleep(0.01)
        with connect(web, source="127.0.0.3") as line:
            assert answered(line).startswith(b"HTTP/1.1 503 ")
        assert is_served(web, "127.0.0.1")
        app.go_on.set()
        assert all(read_response(line).startswith(b"HTTP/1.1 200 ") for line in lines)


def ask_encrypted(server, source):
    context = ssl.create_default_context()
    CA.configure_trust(context)
    with (
        connect(server, source=source, to="127.9.0.2") as bare,
        context.wrap_socket(bare, server_hostname="127.9.0.2") as line,
    ):
        line.sendall(REQUEST)
        return json.loads(read_response(line).partition(b"\r\n\r\n")[2])


def test_the_home_network_is_served_by_tls(encrypted):
    """A client that checks the certificate is answered over TLS; the board's own address stays plain http."""
    assert ask_encrypted(encrypted, "127.0.0.3") == {"client": "127.0.0.3", "scheme": "https"}
    assert is_served(encrypted, "127.0.0.1")


def test_plain_http_is_told_to_use_https(encrypted):
    """Plain http to an address with a certificate is answered with what to write, and nothing is served."""
    with connect(encrypted, source="127.0.0.3", to="127.9.0.2") as line:
        line.sendall(REQUEST)
        heard = read_to_end(line)
    assert heard.startswith(b"HTTP/1.1 400 ")
    assert "https://" in json.loads(heard.partition(b"\r\n\r\n")[2])["detail"]


def test_the_ninth_handshake_of_one_address_is_cut_off(encrypted):
    """Connections are counted when they are accepted, before any handshake."""
    with many(encrypted, 9, source="127.0.0.5", to="127.9.0.2") as lines:
        with contextlib.suppress(ConnectionError):
            assert lines[8].recv(1) == b""
        assert ask_encrypted(encrypted, "127.0.0.3")


def test_a_handshake_that_fails_is_counted_no_longer(encrypted):
    """Clients that trust nothing break off their handshakes; that leaves no connection behind."""
    for _ in range(20):
        with connect(encrypted, source="127.0.0.5", to="127.9.0.2") as bare, pytest.raises(ssl.SSLError):
            ssl.create_default_context().wrap_socket(bare, server_hostname="127.9.0.2")
    assert ask_encrypted(encrypted, "127.0.0.5")["client"] == "127.0.0.5"


def test_connecting_has_a_rate(web):
    """An address that connects and hangs up over and over is cut off after a while; another one is not."""
    outcomes = [is_served(web, "127.0.0.2") for _ in range(200)]
    assert outcomes[:120] == [True] * 120
    assert not all(outcomes)
    assert is_served(web, "127.0.0.3")
    assert all(is_served(web, "127.0.0.1") for _ in range(200))


def test_whoever_is_not_of_the_home_network_is_refused(web, monkeypatch, caplog):
    """A client from the internet, as by a forwarded port, is cut off unread, and the log says so once."""
    caplog.set_level(logging.WARNING)
    monkeypatch.setattr(accepting, "is_home_address", lambda address: address != "127.0.0.9")
    for _ in range(3):
        with connect(web, source="127.0.0.9") as line:
            assert answered(line) == b""
    assert is_served(web, "127.0.0.3")
    (said,) = [each.getMessage() for each in caplog.records]
    assert said.startswith("refused a connection from 127.0.0.9, which is not of the home network; ")


def test_without_files_to_open_it_waits_and_goes_on(web, monkeypatch):
    """Where the process has no more files to open, accepting pauses, and what waited is then served."""
    monkeypatch.setattr(accepting, "OUT_OF_FILES_S", 0.05)
    accept = socket.socket.accept
    fail = [True]

    def accept_later(listener):
        if fail.pop() if fail else False:
            raise OSError(24, "Too many open files")
        return accept(listener)

    monkeypatch.setattr(socket.socket, "accept", accept_later)
    assert is_served(web, "127.0.0.3")
    assert not fail
