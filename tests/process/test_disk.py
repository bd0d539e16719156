"""The installed daemon on a disk that is full, read-only, worn out, slow, locked or damaged: lights go on.

At the speed of a real clock; zones are switched by overrides through the API, and one is lit by its program
all day, so that the lights can be told from outside.
"""

from __future__ import annotations

import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from controller.entries import Cause, EventKind
from controller.journal_file import JOURNAL_NAME, beside
from tests.process.daemon import PATIENCE_S, PROGRAM, Daemon, free_port, running
from tests.process.mounting import (
    card,
    fill,
    frozen,
    make_read_only,
    make_writable,
    small_disk,
    wear_out,
)

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


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """The site file, on a disk that is well."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


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
    """See that entries wait for a reason that is told, and that nothing is lost."""
    wait_for_journal(daemon, "in trouble", lambda journal: words in str(journal["fault"] or "-"))
    assert int(str(journal_of(daemon)["waiting"])) > 0
    assert journal_of(daemon)["lost"] == 0


def assert_writes_all(daemon: Daemon, zone_ids: tuple[str, ...]) -> None:
    """See that what waited is written after the next round, in its order, with both events."""
    light(daemon, ZONES[-1])
    wait_for_journal(
        daemon, "written", lambda journal: journal["fault"] is None and journal["waiting"] == 0
    )
    assert journal_of(daemon)["lost"] == 0
    assert lit_in(daemon)[-len(zone_ids) - 1 :] == [*zone_ids, ZONES[-1]]
    light(daemon, ZONES[-1], "off")
    daemon.wait_until(
        "told of", lambda: {EventKind.JOURNAL_FAULT, EventKind.JOURNAL_RECOVERED} <= kinds_of(daemon)
    )


def lit_in(daemon: Daemon) -> list[str]:
    """The zones that were lit, in the order of the journal."""
    return [each.zone for each in daemon.switchings if each.on]


def kinds_of(daemon: Daemon) -> set[EventKind]:
    """What kinds of events the journal tells of."""
    return {each.kind for each in daemon.events}


def test_a_full_disk_takes_no_light_and_loses_no_switching(tmp_path: Path, site: Path) -> None:
    """Zones go on being lit while the disk is full; once there is room, all of it is written."""
    with small_disk(tmp_path / "state", size_kb=1024) as state, running(site, state) as daemon:
        daemon.wait_for_api()
        wait_for_journal(daemon, "begun", lambda journal: journal["waiting"] == 0)
        filler = fill(state)
        for zone_id in ZONES[:3]:
            light(daemon, zone_id)
        assert daemon.lit() == {ALWAYS, *ZONES[:3]}
        assert_waits(daemon, "disk is full")
        filler.unlink()
        assert_writes_all(daemon, ZONES[:3])


def test_a_start_on_a_full_disk_lights_at_once(tmp_path: Path, site: Path) -> None:
    """Not even the first entry fits; the lights are right, and the journal is begun when there is room."""
    with small_disk(tmp_path / "state", size_kb=256) as state:
        filler = fill(state)
        with running(site, state) as daemon:
            daemon.wait_until("ready", lambda: daemon.is_ready)
            daemon.wait_for_api()
            light(daemon, "one")
            assert daemon.lit() == {ALWAYS, "one"}
            assert_waits(daemon, "room")
            filler.unlink()
            light(daemon, "two")
            wait_for_journal(
                daemon, "written", lambda journal: journal["fault"] is None and journal["waiting"] == 0
            )
            assert lit_in(daemon) == [ALWAYS, "one", "two"]


def test_a_start_on_a_read_only_disk_lights_at_once(tmp_path: Path, site: Path) -> None:
    """The journal is there but may not be written; what happens waits until it may."""
    with small_disk(tmp_path / "state", size_kb=1024) as state:
        with running(site, state) as daemon:
            daemon.wait_until("in the journal", lambda: lit_in(daemon) == [ALWAYS])
            assert daemon.stop() == 0
        make_read_only(state)
        with running(site, state) as daemon:
            daemon.wait_for_api()
            light(daemon, "one")
            light(daemon, "two")
            assert daemon.lit() == {ALWAYS, "one", "two"}
            assert_waits(daemon, "it cannot be opened")
            make_writable(state)
            assert_writes_all(daemon, (ALWAYS, "one", "two"))


def test_a_disk_that_turns_read_only_under_the_daemon_takes_no_light(tmp_path: Path, site: Path) -> None:
    """A worn card is mounted read-only by the system in mid-run; zones are lit and put out all the same."""
    with card(tmp_path / "state") as state, running(site, state) as daemon:
        daemon.wait_for_api()
        wait_for_journal(daemon, "begun", lambda journal: journal["waiting"] == 0)
        wear_out(state)
        light(daemon, "one")
        light(daemon, "one", "off")
        light(daemon, "two")
        assert daemon.lit() == {ALWAYS, "two"}
        assert_waits(daemon, "read")
        assert daemon.stop() == 0


def test_a_slow_disk_holds_up_no_light(tmp_path: Path, site: Path) -> None:
    """While every write hangs, zones are switched at once; when the disk moves again all is written."""
    with card(tmp_path / "state") as state, running(site, state) as daemon:
        daemon.wait_for_api()
        wait_for_journal(daemon, "begun", lambda journal: journal["waiting"] == 0)
        with frozen(state):
            for zone_id in ZONES[:3]:
                light(daemon, zone_id)
            assert daemon.lit() == {ALWAYS, *ZONES[:3]}
            assert int(str(journal_of(daemon)["waiting"])) > 0
        wait_for_journal(daemon, "written", lambda journal: journal["waiting"] == 0)
        assert lit_in(daemon) == [ALWAYS, *ZONES[:3]]


def test_a_journal_that_another_program_holds_takes_no_light(tmp_path: Path, site: Path) -> None:
    """Somebody holds a transaction open on the journal; what happens waits until it is closed."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        wait_for_journal(daemon, "begun", lambda journal: journal["waiting"] == 0)
        with closing(sqlite3.connect(tmp_path / "state" / JOURNAL_NAME, isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            for zone_id in ZONES[:3]:
                light(daemon, zone_id)
            assert daemon.lit() == {ALWAYS, *ZONES[:3]}
            assert_waits(daemon, "another program holds it")
            other.execute("ROLLBACK")
        assert_writes_all(daemon, ZONES[:3])


def _garbage(journal: bytes) -> bytes:
    return b"this is no journal " * (len(journal) // 19)


def _cut(journal: bytes) -> bytes:
    return journal[: len(journal) // 2]


def _one_page_lost(journal: bytes) -> bytes:
    page, middle = 1024, len(journal) // 2048 * 1024
    return journal[:middle] + bytes(page) + journal[middle + page :]


@pytest.mark.parametrize("damage", [_garbage, _cut, _one_page_lost])
def test_a_damaged_journal_is_set_aside_and_the_lights_are_right_at_once(
    tmp_path: Path, site: Path, damage: Callable[[bytes], bytes]
) -> None:
    """The file is kept whole under a dated name, a fresh one is begun, and no light waits for that."""
    state = tmp_path / "state"
    with running(site, state) as daemon:
        daemon.wait_until("in the journal", lambda: lit_in(daemon) == [ALWAYS])
        assert daemon.stop() == 0
    journal = state / JOURNAL_NAME
    assert not any(part.exists() for part in beside(journal)), "a journal that was closed has no log"
    spoilt = damage(journal.read_bytes())
    journal.write_bytes(spoilt)
    with running(site, state) as daemon:
        daemon.wait_until("ready", lambda: daemon.is_ready)
        assert daemon.status_line.startswith(f"lit: {ALWAYS}")
        daemon.wait_for_api()
        assert daemon.lit() == {ALWAYS}
        daemon.wait_until("begun afresh", lambda: list(state.glob("set-aside-20*Z.sqlite")) != [])
        (aside,) = state.glob("set-aside-*.sqlite")
        assert aside.read_bytes() == spoilt
        light(daemon, "one")
        daemon.wait_until("told of", lambda: EventKind.JOURNAL_SET_ASIDE in kinds_of(daemon))
        daemon.wait_until("written", lambda: lit_in(daemon) == [ALWAYS, "one"])
        assert EventKind.STARTED in kinds_of(daemon)


def test_the_end_is_in_the_journal(tmp_path: Path, site: Path) -> None:
    """Asked to end, it puts every zone out, says so, and ends with 0."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        light(daemon, "one")
        assert daemon.stop() == 0
        last = daemon.switchings[-2:]
        assert [(each.on, each.cause) for each in last] == [(False, Cause.STOPPED)] * 2
        assert {each.zone for each in last} == {ALWAYS, "one"}
        assert daemon.events[-1].kind is EventKind.STOPPED


def test_a_second_daemon_on_the_same_state_is_refused(tmp_path: Path, site: Path) -> None:
    """It ends with 2 and names the first, which goes on."""
    state = tmp_path / "state"
    with running(site, state) as daemon:
        daemon.wait_until("ready", lambda: daemon.is_ready)
        second = subprocess.run(
            [str(PROGRAM), "run", str(site), "--state", str(state), "--port", str(free_port())],
            check=False,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
        )
        assert second.returncode == 2
        assert f"process {daemon.process.pid}" in second.stderr
        daemon.wait_for_api()
        assert daemon.lit() == {ALWAYS}

