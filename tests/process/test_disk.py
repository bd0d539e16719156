"""The installed daemon on a disk that is full, read-only, worn out or slow: the lights go on.

At the speed of a real clock.
"""

from __future__ import annotations

from pathlib import Path

from tests.process.cottage import (
    ALWAYS,
    ZONES,
    assert_gap_is_told,
    assert_waits,
    assert_writes_all,
    journal_of,
    kill_while_lit,
    light,
    lit_in,
    wait_for_journal,
)
from tests.process.daemon import running
from tests.process.disks import card, fill, frozen, make_read_only, make_writable, small_disk, wear_out


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


def test_a_gap_that_ends_on_a_read_only_disk_is_told_when_it_can_be(tmp_path: Path, site: Path) -> None:
    """Killed while lit and started where nothing can be written: lit as before, and recorded later."""
    with small_disk(tmp_path / "state", size_kb=1024) as state:
        kill_while_lit(site, state)
        make_read_only(state)
        with running(site, state) as daemon:
            daemon.wait_for_api()
            assert daemon.lit() == {ALWAYS, "one"}
            assert_waits(daemon, "may not be written")
            make_writable(state)
            light(daemon, "two")
            assert_gap_is_told(daemon)


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
