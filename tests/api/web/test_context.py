"""What the routes share: how many requests run at once, and how many wait."""

import asyncio
import threading

import pytest

from api.web.context import MOST_RUNNING, RequestSlots
from tests.api.lines import LONG_S
from tests.api.stand_in import problem

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
        hanging = [asyncio.create_task(house.ask_in_loop("GET", "/v1/hours")) for _ in range(MOST_RUNNING)]
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
    house.app.state.context.long_slots = RequestSlots(waiting=0)
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
                for path in ("/", "/health", "/v1/status", "/v1/zones", "/v1/nights", "/v1/switchings")
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
