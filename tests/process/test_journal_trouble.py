"""The installed daemon with a journal that is held by others, damaged, or its own to the end.

At the speed of a real clock.
"""

from __future__ import annotations

import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from controller.journal.database import JOURNAL_NAME, files_of
from controller.records.entries import Cause, EventKind
from tests.process.cottage import (
    ALWAYS,
    ZONES,
    assert_gap_is_told,
    assert_waits,
    assert_writes_all,
    kill_while_lit,
    kinds_of,
    light,
    lit_in,
    wait_for_journal,
)
from tests.process.daemon import PATIENCE_S, PROGRAM, free_port, running


def test_a_gap_that_ends_in_a_journal_that_is_held_is_told_when_it_can_be(tmp_path: Path, site: Path) -> None:
    """Killed while lit and started where nothing can be read: the override returns, the gap is recorded."""
    state = tmp_path / "state"
    kill_while_lit(site, state)
    with closing(sqlite3.connect(state / JOURNAL_NAME, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with running(site, state) as daemon:
            daemon.wait_for_api()
            light(daemon, "two")
            assert daemon.lit() == {ALWAYS, "two"}
            assert_waits(daemon, "another program holds it")
            other.close()
            light(daemon, "three")
            daemon.wait_until("lit again", lambda: daemon.lit() == {ALWAYS, "one", "two", "three"})
            assert_gap_is_told(daemon)


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
    assert not any(part.exists() for part in files_of(journal)[:2]), "a journal that was closed has no log"
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
        daemon.wait_until("recorded", lambda: EventKind.JOURNAL_SET_ASIDE in kinds_of(daemon))
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
