"""A cottage whose zones are switched over the API, and what the daemon and its journal say of them.

One zone is lit by its program all day, so that a start lights something; the others are for overrides.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from controller.records.entries import Cause, EventKind
from tests.process.daemon import Daemon, running

ALWAYS = "always"
ZONES = ("one", "two", "three", "four")
SITE = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = 0.0
time_zone = "Europe/London"

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[clock]
believe = "always"

[[zones]]
id = "always"
pin = 5
program = ["12:00 for 24h"]
"""
SITE += "".join(
    f'\n[[zones]]\nid = "{zone_id}"\npin = {pin}\nprogram = []\n' for pin, zone_id in enumerate(ZONES, 6)
)


def light(daemon: Daemon, zone_id: str, light: str = "on") -> None:
    """Have a zone lit or dark through the API; the answer comes when it is."""
    daemon.ask("PUT", f"/v1/zones/{zone_id}/override", {"light": light, "for": "2h"})
    assert (zone_id in daemon.lit()) is (light == "on")


def journal_of(daemon: Daemon) -> dict[str, object]:
    """How the journal is doing, by the API."""
    found: dict[str, object] = daemon.ask("GET", "/v1/status")["journal"]
    return found


def wait_for_journal(daemon: Daemon, what: str, holds: Callable[[dict[str, object]], bool]) -> None:
    """Wait until the API says something of the journal."""
    daemon.wait_until(what, lambda: holds(journal_of(daemon)))


def assert_waits(daemon: Daemon, words: str) -> None:
    """See that entries wait for a reason that the API gives, and that nothing is lost."""
    wait_for_journal(daemon, "in trouble", lambda journal: words in str(journal["fault"] or "-"))
    assert int(str(journal_of(daemon)["waiting"])) > 0
    assert journal_of(daemon)["lost"] == 0


def assert_writes_all(daemon: Daemon, zone_ids: tuple[str, ...]) -> None:
    """See that what waited is written after the next round, in its order, with both events."""
    light(daemon, ZONES[-1])
    wait_for_journal(daemon, "written", lambda journal: journal["fault"] is None and journal["waiting"] == 0)
    assert journal_of(daemon)["lost"] == 0
    assert lit_in(daemon)[-len(zone_ids) - 1 :] == [*zone_ids, ZONES[-1]]
    light(daemon, ZONES[-1], "off")
    daemon.wait_until(
        "recorded", lambda: {EventKind.JOURNAL_FAULT, EventKind.JOURNAL_RECOVERED} <= kinds_of(daemon)
    )


def lit_in(daemon: Daemon) -> list[str]:
    """The zones that were lit, in the order of the journal."""
    return [each.zone for each in daemon.switchings if each.on]


def kinds_of(daemon: Daemon) -> set[EventKind]:
    """What kinds of events the journal holds."""
    return {each.kind for each in daemon.events}


def kill_while_lit(site: Path, state: Path) -> None:
    """Let a daemon begin a journal, with one zone lit by its program and one by an override, and kill it."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        light(daemon, "one")
        daemon.wait_until("in the journal", lambda: lit_in(daemon) == [ALWAYS, "one"])
        daemon.kill()


def assert_gap_is_told(daemon: Daemon) -> None:
    """See that the next run records how the last one ended, and closes what it left lit."""
    daemon.wait_until("recorded", lambda: EventKind.DIED in kinds_of(daemon))
    closed = [each for each in daemon.switchings if not each.on]
    assert {(each.zone, each.cause) for each in closed} == {(ALWAYS, Cause.STOPPED), ("one", Cause.STOPPED)}
