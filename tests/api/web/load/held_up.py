"""Servers that are busy for as long as a test wants, and what waits there."""

from __future__ import annotations

import contextlib
import http.client
import json
import threading

from api.web.schemas.zones import zone_response
from api.web.slots import RequestSlots
from tests.api.lines import LONG_S, serving

OVERRIDE = {"light": "off", "for": "1h"}


class Gate:
    """Holds up every request for long work that runs, and counts how many began."""

    def __init__(self, house):
        self.context = house.app.state.context
        self.open = threading.Event()
        self.begun = threading.Semaphore(0)
        self.count = 0
        self._planner_like = self.context.years.planner_like

    def planner_like(self, current):
        """Stand in for the cache's own, which each such request asks first."""
        self.count += 1
        self.begun.release()
        assert self.open.wait(LONG_S)
        return self._planner_like(current)

    @contextlib.contextmanager
    def closed(self, monkeypatch):
        with monkeypatch.context() as patch:
            patch.setattr(self.context.years, "planner_like", self.planner_like)
            yield
            self.open.set()


def send(server, method, path, body=None, source="127.0.0.1"):
    """Send a request, and give the connection, on which nothing was read yet."""
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S, source_address=(source, 0))
    headers = {} if body is None else {"content-type": "application/json"}
    line.request(method, path, None if body is None else json.dumps(body), headers)
    return line


def waiting(slots):
    return slots._limiter.statistics().tasks_waiting


@contextlib.contextmanager
def one_slot_taken(house, monkeypatch):
    """Serve a house with one short slot that is taken; ``free`` gives it back."""
    house.app.state.context.short_slots = RequestSlots(running=1)
    taken, free = threading.Event(), threading.Event()

    def hang(*args):
        taken.set()
        assert free.wait(LONG_S)
        return zone_response(*args)

    monkeypatch.setattr("api.web.routes.zones.zone_response", hang)
    with (
        serving(lambda: house.app) as server,
        contextlib.closing(send(server, "GET", "/v1/zones/jetty")) as line,
    ):
        assert taken.wait(LONG_S)
        server.free = free.set
        server.slots = house.app.state.context.short_slots
        yield server
        free.set()
        assert line.getresponse().status == 200
