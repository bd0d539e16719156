"""A site for the web's tests: a real keeper, mock pins, a real journal, and no control loop."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx

from api.web.app import make_app
from api.web.gateway import KeeperGateway
from api.web.hub import EventHub
from api.web.problems.types import PROBLEM_TYPES
from config.file.loader import load_site
from controller.clock.clock import SteppedClock
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.relays import open_relays

# An invented lodge; 2027-06-21 is a Monday, and its dusk there is 20:56:40 local time, 00:56:40 UTC.
SITE = """\
[site]
name = "Saltmarsh Lodge"
latitude = 41.4901
longitude = -71.3128
time_zone = "America/New_York"

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[[transformers]]
id = "boathouse"
rated_va = 200

[[zones]]
id = "jetty"                    # the long one
name = "Jetty and steps"
transformer = "boathouse"
pin = 17
program = ["dusk to midnight"]  # as every neighbour

  [[zones.special_nights]]
  nights = "Fri, Sat"
  program = ["dusk to 01:30"]

  [[zones.fixtures]]
  kind = "path"
  count = 6
  watts = 4.5

[[zones]]
id = "orchard"
pin = 27
program = ["21:15 to 23:45"]
"""

# Half past nine in the evening of 21 June, local time: dusk is over, both zones are lit.
EVENING_UTC = datetime(2027, 6, 22, 1, 30, tzinfo=UTC)


class LoopHere:
    """A control loop without a thread: what is requested is done at once, in the thread that calls."""

    def __init__(self, keeper: Keeper, on_round=lambda _status: None) -> None:
        self.keeper = keeper
        self.on_round = on_round
        self.run_once()

    def call(self, work, *, wait_s: float = 5.0):
        result = work(self.keeper)
        self.run_once()
        return result

    def run_once(self) -> None:
        self.keeper.reconcile()
        self.look_again()
        self.on_round(self.status)

    def look_again(self) -> None:
        self.status = self.keeper.status()


class SilentLoop(LoopHere):
    """A control loop that never answers, as that of a keeper that is stuck."""

    error: type[Exception] = TimeoutError

    def call(self, work, *, wait_s: float = 5.0):
        raise self.error


class House:
    """A site whose time stands still until a test moves its clock."""

    def __init__(
        self, folder: Path, *, site: str = SITE, at_utc: datetime = EVENING_UTC, **clock: Any
    ) -> None:
        self.site_path = folder / "site.toml"
        self.site_path.write_text(site, encoding="utf-8")
        self.clock = SteppedClock(at_utc, **clock)
        self.journal = Journal(folder / "state")
        self.journal.open()
        self.relays = open_relays("simulated")
        self.keeper = Keeper(
            load_site(self.site_path).site, clock=self.clock, relays=self.relays, journal=self.journal
        )
        self.hub = EventHub()
        self.loop = LoopHere(self.keeper, self.hub.publish)
        self.gateway = KeeperGateway(
            loop=self.loop,
            reader=JournalReader(folder / "state"),
            site_path=self.site_path,
            append=self.journal.append,
            unwritten=self.journal.unwritten,
            recent=self.journal.recent,
            hub=self.hub,
        )
        self.app = self.make_app()

    def make_app(self, **more):
        path = self.journal.directory / "access.json"
        return make_app(self.gateway, boot_s=lambda: self.clock.boot_s, access_path=path, **more)

    def pass_time(self, seconds: float) -> None:
        """Let time pass, with a round at its end and what happened written into the journal."""
        self.clock.advance(seconds)
        self.loop.run_once()
        self.journal.flush()
        self.loop.look_again()

    def ask(self, method: str, url: str, **more: Any) -> httpx.Response:
        """Send one request to the application, inside this process; ``peer`` is the address it comes from."""
        return asyncio.run(self.ask_in_loop(method, url, **more))

    async def ask_in_loop(
        self, method: str, url: str, *, peer: str = "127.0.0.1", **more: Any
    ) -> httpx.Response:
        transport = httpx.ASGITransport(app=self.app, client=(peer, 40000))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8010") as client:
            return await client.request(method, url, **more)

    def get(self, url: str, **more: Any) -> Any:
        """Get something that exists, and return its JSON."""
        response = self.ask("GET", url, **more)
        assert response.status_code == 200, response.text
        assert response.headers["content-type"] == "application/json"
        return response.json()

    def close(self) -> None:
        self.keeper.stop()
        self.journal.close()


def problem(response: httpx.Response, name: str, *, at: str, **more: Any) -> dict[str, Any]:
    """Read a problem document, check every member that RFC 9457 names, and give the whole of it.

    Args:
        response: the answer.
        name: name of the type that it must be of.
        at: the path that it must be about.
        more: further members, and nothing but these.
    """
    expected_type = PROBLEM_TYPES[name]
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["x-content-type-options"] == "nosniff"
    document = response.json()
    assert isinstance(document.pop("detail"), str)
    expected = {
        "type": f"/problems/{name}",
        "title": expected_type.title,
        "status": expected_type.status,
        "instance": at,
        **more,
    }
    assert document == expected
    assert response.status_code == expected_type.status
    if expected_type.retry_after_s is not None:
        assert response.headers["retry-after"] == str(expected_type.retry_after_s)
    return response.json()


def pointed_at(body: Any, pointer: str) -> Any:
    """Follow a JSON pointer in fragment form, by RFC 6901, sections 4 and 6 (our keys have no escapes)."""
    assert pointer.startswith("#")
    for step in pointer[1:].split("/")[1:]:
        body = body[int(step)] if isinstance(body, list) else body[step]
    return body
