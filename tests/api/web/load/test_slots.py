"""How many requests run at once and how many wait; what nobody waits for any more is not done."""

import asyncio
import contextlib
import json
import threading

import pytest

from api.web.slots import MOST_LONG_RUNNING, MOST_WAITING, RequestSlots
from tests.api.lines import LONG_S, ask, serving, wait_until
from tests.api.stand_in import problem
from tests.api.web.load.held_up import OVERRIDE, Gate, one_slot_taken, send, waiting

LONG_ROUTES = ["hours", "report/2027-summer", "year.svg", "wiring", "sheet"]


@pytest.fixture
def stuck(house, monkeypatch):
    """Call with a coroutine function: it runs while as many long requests are stuck as may run at once."""
    begun, go_on = threading.Semaphore(0), threading.Event()
    now = house.app.state.context.now

    def hang():
        if threading.current_thread().name.startswith("AnyIO"):
            begun.release()
            assert go_on.wait(LONG_S)
        return now()

    async def run(work):
        hanging = [
            asyncio.create_task(house.ask_in_loop("GET", "/v1/hours")) for _ in range(MOST_LONG_RUNNING)
        ]
        with monkeypatch.context() as patch:
            patch.setattr(house.app.state.context, "now", hang)
            for _ in hanging:
                assert await asyncio.to_thread(begun.acquire, timeout=LONG_S)
        try:
            return await asyncio.wait_for(work(), LONG_S)
        finally:
            go_on.set()
            assert {each.status_code for each in await asyncio.gather(*hanging)} == {200}

    return lambda work: asyncio.run(run(work))


@pytest.mark.parametrize("route", LONG_ROUTES)
def test_past_the_bound_long_requests_are_refused(house, stuck, route):
    """With every long slot running and waiting, the next request is refused, with a time to try again."""
    house.app.state.context.long_slots = RequestSlots(running=MOST_LONG_RUNNING, waiting=0)
    response = stuck(lambda: house.ask_in_loop("GET", f"/v1/{route}"))
    problem(response, "too-busy", at=f"/v1/{route}")


def test_stuck_requests_delay_no_short_one(house, stuck):
    """While every long request that may run is stuck, status, overrides and nights are answered."""

    async def ask_short():
        override = {"light": "off", "for": "1h"}
        return [
            await house.ask_in_loop("PUT", "/v1/zones/jetty/override", json=override),
            *[
                await house.ask_in_loop("GET", path)
                for path in ("/v1", "/health", "/v1/status", "/v1/zones", "/v1/nights", "/v1/switchings")
            ],
        ]

    assert {each.status_code for each in stuck(ask_short)} == {200}


def test_a_slot_is_free_again_after_a_fault(house, monkeypatch):
    """A request that fails gives its slot back: any number of them one after another is answered."""
    house.app.state.context.short_slots = RequestSlots(running=1, waiting=0)
    with monkeypatch.context() as patch:
        patch.setattr("api.web.routes.nights.write_nights_json", lambda *_: 1 / 0)
        for _ in range(2):
            problem(house.ask("GET", "/v1/nights"), "fault", at="/v1/nights")
    house.get("/v1/nights")


# -- over real sockets ---------------------------------------------------------------------------------------


@pytest.fixture
def busy(house, monkeypatch):
    """A server with one short slot that is taken; ``free`` gives it back."""
    with one_slot_taken(house, monkeypatch) as server:
        yield server


def test_heavy_requests_that_were_hung_up_are_not_worked_on(house, monkeypatch):
    """Of those that wait and whose clients have gone nothing is worked out, and their places are free."""
    gate = Gate(house)
    with serving(lambda: house.app) as server, gate.closed(monkeypatch):
        running = [send(server, "GET", "/v1/hours") for _ in range(MOST_LONG_RUNNING)]
        for _ in running:
            assert gate.begun.acquire(timeout=LONG_S)
        for _ in range(3):
            lines = [send(server, "GET", "/v1/year.svg") for _ in range(MOST_WAITING)]
            wait_until(lambda: waiting(gate.context.long_slots) == MOST_WAITING)
            for line in lines:
                line.close()
            wait_until(lambda: waiting(gate.context.long_slots) == 0)
        gate.open.set()
        assert [line.getresponse().status for line in running] == [200] * MOST_LONG_RUNNING
        assert ask(server, "GET", "/v1/wiring")[0] == 200
        for line in running:
            line.close()
        assert gate.count == MOST_LONG_RUNNING


def test_a_change_that_waited_five_seconds_is_refused_and_not_made(busy, house, monkeypatch):
    """A change that gets no turn in five seconds is answered so, at once, and not made later."""
    monkeypatch.setattr("api.web.slots.CHANGE_S", 0.2)
    status, headers, document = ask(
        busy, "PUT", "/v1/zones/jetty/override", json.dumps(OVERRIDE), content_type="application/json"
    )
    assert (status, document["type"]) == (503, "/problems/too-busy")
    assert "was not made; send it again" in document["detail"]
    assert headers["retry-after"] == "5"
    assert busy.slots._limiter.borrowed_tokens == 1  # what it waited for goes on
    busy.free()
    assert ask(busy, "GET", "/v1/zones/jetty")[2]["override"] is None


class LateKeeper:
    """A control loop that gets round to what it is asked only after something else has happened."""

    def __init__(self, loop, before):
        self.loop = loop
        self.before = before
        self.waits_s = []

    def __getattr__(self, name):
        return getattr(self.loop, name)

    def call(self, work, *, wait_s):
        self.waits_s.append(wait_s)
        self.before()
        return self.loop.call(work)


def test_the_keeper_makes_no_change_whose_client_hung_up(house):
    """Where the client hangs up while the keeper is busy, the keeper does not do it afterwards."""
    lines = []
    house.gateway.loop = keeper = LateKeeper(house.loop, lambda: lines.pop().close())
    with serving(lambda: house.app) as server:
        for method, path, body in (
            ("PUT", "/v1/zones/jetty/override", OVERRIDE),
            ("POST", "/v1/replacements", {"zone": "jetty", "part": "relay"}),
        ):
            begun = len(keeper.waits_s)
            lines.append(send(server, method, path, body))
            wait_until(lambda begun=begun: len(keeper.waits_s) > begun and not lines)
        assert ask(server, "GET", "/v1/zones/jetty")[2]["override"] is None
        assert ask(server, "GET", "/v1/replacements")[2]["replacements"] == []


def test_the_keeper_makes_no_change_after_five_seconds(house):
    """By a clock that the test steps: what reaches the keeper later than 5 s after it arrived is refused."""
    now_s = [100.0]
    house.app.state.context.now_s = lambda: now_s[0]

    def pass_time():
        now_s[0] += late_s

    house.gateway.loop = keeper = LateKeeper(house.loop, pass_time)
    late_s = 4.9
    assert house.ask("PUT", "/v1/zones/jetty/override", json=OVERRIDE).status_code == 200
    assert house.ask("DELETE", "/v1/zones/jetty/override").status_code == 204
    late_s = 5.0
    problem(
        house.ask("PUT", "/v1/zones/jetty/override", json=OVERRIDE), "too-busy", at="/v1/zones/jetty/override"
    )
    assert house.keeper.overrides == {}
    assert keeper.waits_s == [pytest.approx(5.0)] * 3


def test_no_site_file_is_written_for_a_client_that_hung_up(house):
    """A change of a program that waits for the site file is not written once its client has gone."""
    held = threading.Event()
    line = []

    @contextlib.contextmanager
    def editing():
        held.set()
        line[0].close()
        yield

    house.gateway.editing = editing
    before = house.site_path.read_text(encoding="utf-8")
    with serving(lambda: house.app) as server:
        line.append(send(server, "PUT", "/v1/zones/jetty/program", {"program": ["dusk to 23:00"]}))
        assert held.wait(LONG_S)
        assert ask(server, "GET", "/v1/zones/jetty/program")[2]["program"] == ["dusk to midnight"]
    assert house.site_path.read_text(encoding="utf-8") == before


def test_a_stream_of_pieces_that_waits_is_dropped_with_its_client(house, monkeypatch):
    """A long answer that waits to be sent gives up its place when its client goes."""
    context = house.app.state.context
    context.streams = RequestSlots(running=1)
    monkeypatch.setattr("api.web.routes.hours.write_hours_json", lambda _stream: iter(["x" * 65536] * 4000))
    monkeypatch.setattr("api.web.streaming.MOST_PIECES_HELD", 1)
    with serving(lambda: house.app) as server:
        first = send(server, "GET", "/v1/hours")
        wait_until(lambda: context.streams._limiter.borrowed_tokens == 1)
        second = send(server, "GET", "/v1/hours")
        wait_until(lambda: waiting(context.streams) == 1)
        second.close()
        wait_until(lambda: waiting(context.streams) == 0)
        first.close()
        wait_until(lambda: context.streams._limiter.borrowed_tokens == 0)
