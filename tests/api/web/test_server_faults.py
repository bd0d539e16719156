"""Faults of the web server: logged once, tried again, and never outside its thread."""

import asyncio
import errno
import logging
import socket

import pytest

from api.web.listening import explain
from api.web.server import WebServer
from tests.api.lines import LONG_S, Tries, ask, serving


def test_a_port_in_use_is_logged_once_and_taken_when_free(house, caplog):
    """A port in use is a fault that is logged once and ends when the port is free."""
    caplog.set_level(logging.INFO, logger="api.web")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        server = WebServer(house.make_app, port=port, first_pause_s=0.01)
        tries = Tries(server)
        server.start()
        tries.wait_for(3)
        expected = (
            f"web server: port {port} on 127.0.0.1 is in use by another program; "
            "stop that one, or choose another port"
        )
        assert server.fault == expected
    assert server.wait_until_serving(LONG_S)
    assert server.fault is None
    assert ask(server, "GET", "/health")[0] == 200
    said = [record.getMessage() for record in caplog.records if record.name.startswith("api.web.")]
    assert said == [expected, f"listening on http://127.0.0.1:{port}/", "the web server works again"]
    assert server.stop(LONG_S)


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
    ours = [each for each in caplog.records if each.name == "api.web.server"]
    errors = [each for each in ours if each.levelno == logging.ERROR]
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

    monkeypatch.setattr("api.web.server.asyncio.run", run_later)
    monkeypatch.setattr("api.web.server.LONGEST_PAUSE_S", 0.01)
    with serving(house.make_app) as server:
        assert ask(server, "GET", "/health")[0] == 200


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.EADDRINUSE, ""), "is in use by another program"),
        (
            OSError(errno.EADDRNOTAVAIL, ""),
            "this machine has no address 10.9.8.7 now; it is opened once it has",
        ),
        (PermissionError(errno.EACCES, ""), "is not permitted; choose a port from 1024 on"),
        (OSError(errno.EMFILE, "Too many open files"), "is not served: too many open files"),
    ],
)
def test_every_fault_has_its_words(error, words):
    """Every fault has a message with the address and what to do."""
    assert words in explain(error, "10.9.8.7", 80)


def test_a_fault_of_one_request_leaves_the_others(server, house, monkeypatch):
    """An exception in one request is answered as a fault; the next request is answered normally."""
    monkeypatch.setattr("api.web.routes.nights.write_nights_json", lambda *_: 1 / 0)
    status, _, document = ask(server, "GET", "/v1/nights")
    assert (status, document["type"]) == (500, "/problems/fault")
    assert ask(server, "GET", "/health")[0] == 200
