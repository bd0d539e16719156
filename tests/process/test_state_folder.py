"""The installed daemon whose state folder is moved, emptied, removed, unmounted and brought back while lit.

What was lit when is known from outside: by the clock around each request, or by the program. What the
journals say of it is read with plain SQL and pandas from their raw rows.
"""

from __future__ import annotations

import shutil
import subprocess
from collections import defaultdict
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from api.daemon.last_good import LAST_GOOD
from controller.journal.lock import LOCK_NAME
from controller.records.entries import EventKind
from tests.controller.journal.lost_and_found import Lit, events_of, rows_of, said
from tests.process.cottage import ALWAYS, ZONES, kinds_of, light, lit_in, wait_for_journal
from tests.process.daemon import PATIENCE_S, PROGRAM, Daemon, free_port, running
from tests.process.disks import card, plug_in, pull_out
from tests.process.faketime import FakeTime, boot_now_s
from tests.process.gardens import Garden
from tests.process.oracle import NightOutside

REPLACED = EventKind.JOURNAL_REPLACED
# What the journal cuts off when it rounds to milliseconds.
ROUNDED_S = 0.001


class Watcher:
    """Switches zones over the API and knows, to the length of a request, when each was lit."""

    def __init__(self, daemon: Daemon) -> None:
        """Wait until the daemon has begun its journal; one zone is lit by its program from the start."""
        self.daemon = daemon
        self.changes: dict[str, list[Lit]] = defaultdict(list)
        began_s = boot_now_s()
        daemon.wait_for_api()
        wait_for_journal(daemon, "begun", lambda journal: journal["waiting"] == 0)
        self.changes[ALWAYS].append((began_s, boot_now_s()))

    def switch(self, zone_id: str, to: str = "on") -> None:
        """Have a zone lit or dark, and wait until nothing is left to write."""
        before_s = boot_now_s()
        light(self.daemon, zone_id, to)
        self.changes[zone_id].append((before_s, boot_now_s()))
        wait_for_journal(self.daemon, "written", lambda journal: journal["waiting"] == 0)

    def wait_for_event(self, words: str) -> None:
        """Wait until the journal that is there says that it is not the one that was written before."""

        def is_told() -> bool:
            return any(words in each.words for each in self.daemon.events if each.kind is REPLACED)

        self.daemon.wait_until(f"told: {words}", is_told)

    def stop(self) -> None:
        """End the daemon, and with it what is lit."""
        before_s = boot_now_s()
        assert self.daemon.stop() == 0
        for changes in self.changes.values():
            if len(changes) % 2:
                changes.append((before_s, boot_now_s()))

    def assert_whole(self, folder: Path, *zone_ids: str) -> None:
        """See that a journal has each run of some zones, from its beginning to its end."""
        for zone_id in zone_ids:
            ends = [end_s for lit in said(folder, zone_id) for end_s in lit]
            assert len(ends) == len(self.changes[zone_id]), (zone_id, ends)
            for end_s, (before_s, after_s) in zip(ends, self.changes[zone_id], strict=True):
                assert before_s - ROUNDED_S <= end_s <= after_s + ROUNDED_S, zone_id

    def assert_nothing_false(self, folder: Path) -> None:
        """See that a journal says of no zone that it was lit when it was not."""
        for zone_id in (ALWAYS, *ZONES):
            changes = self.changes[zone_id]
            lit = [(on[0], off[1]) for on, off in zip(changes[::2], changes[1::2], strict=True)]
            for on_s, off_s in said(folder, zone_id):
                assert any(
                    since_s - ROUNDED_S <= on_s <= off_s <= until_s + ROUNDED_S for since_s, until_s in lit
                ), f"{zone_id} is said to be lit from {on_s} to {off_s}, was from {lit}"


def empty(state: Path) -> None:
    """Remove all that is in the folder."""
    for each in state.iterdir():
        shutil.rmtree(each) if each.is_dir() else each.unlink()


def delete_journal(state: Path) -> None:
    """Remove the journal's files and nothing else."""
    for each in state.glob("journal.sqlite*"):
        each.unlink()


def move_away(state: Path) -> None:
    """Move the folder to another name."""
    state.rename(state.with_name("away"))


def exchange(state: Path) -> None:
    """Move the folder away and make an empty one."""
    move_away(state)
    state.mkdir()


def delete_lock_file(state: Path) -> None:
    """Remove the lock file and nothing else."""
    (state / LOCK_NAME).unlink()


FOUND: dict[str, tuple[Callable[[Path], None], str]] = {
    "moved away": (move_away, "the state folder was gone"),
    "removed": (shutil.rmtree, "the state folder was gone"),
    "emptied": (empty, "the state folder was empty"),
    "exchanged": (exchange, "the state folder was empty"),
    "journal deleted": (delete_journal, "the journal file was empty or gone"),
}


@pytest.mark.parametrize("what", FOUND)
def test_a_new_journal_has_every_run_from_its_true_beginning(tmp_path: Path, site: Path, what: str) -> None:
    """Two zones are lit when the folder goes: in the new journal their runs are as long as they were."""
    change, words = FOUND[what]
    state = tmp_path / "state"
    with running(site, state) as daemon:
        watcher = Watcher(daemon)
        watcher.switch("one")
        change(state)
        watcher.switch("two")
        watcher.wait_for_event(words)
        assert daemon.lit() == {ALWAYS, "one", "two"}
        watcher.switch("one", "off")
        watcher.stop()
    watcher.assert_whole(state, ALWAYS, "one", "two")
    assert (state / LAST_GOOD).read_bytes() == site.read_bytes()
    assert kinds_of(daemon) >= {REPLACED, EventKind.PROGRAM, EventKind.STOPPED}


def test_a_new_journal_is_begun_though_nothing_happens(tmp_path: Path, site: Path) -> None:
    """With the next tick, half a minute at most, a lit garden has a journal again, and its lock file."""
    state = tmp_path / "state"
    with running(site, state) as daemon:
        Watcher(daemon)
        shutil.rmtree(state)
        daemon.wait_until("begun", lambda: lit_in(daemon) == [ALWAYS])
        assert (state / LOCK_NAME).exists()


def test_no_run_stretches_over_the_time_for_which_the_folder_was_away(tmp_path: Path, site: Path) -> None:
    """The folder that came back knows nothing of what was switched meanwhile; what stayed lit is whole."""
    state, away, between = tmp_path / "state", tmp_path / "away", tmp_path / "between"
    with running(site, state) as daemon:
        watcher = Watcher(daemon)
        watcher.switch("one")
        watcher.switch("two")
        move_away(state)
        watcher.switch("one", "off")
        watcher.switch("three")
        watcher.switch("three", "off")
        watcher.switch("one")
        state.rename(between)
        away.rename(state)
        watcher.switch("four")
        watcher.wait_for_event("another journal was found in its place")
        watcher.stop()
    for folder in (state, between):
        watcher.assert_nothing_false(folder)
    watcher.assert_whole(state, ALWAYS, "two", "four")
    assert len(said(state, "one")) == 2
    assert said(state, "three") == []
    watcher.assert_whole(between, "three")


def test_a_card_that_is_pulled_out_and_plugged_in_again_is_continued(tmp_path: Path, site: Path) -> None:
    """In between the daemon writes to the folder under it; then the card, as another device, is told."""
    with card(tmp_path / "state") as state, running(site, state) as daemon:
        watcher = Watcher(daemon)
        watcher.switch("one")
        pull_out(state)
        watcher.switch("one", "off")
        watcher.switch("two")
        watcher.wait_for_event("the state folder was empty")
        rows = rows_of(state)
        assert rows["zone"].tolist() == [ALWAYS, "one", "one", "two"]
        plug_in(state)
        watcher.switch("three")
        watcher.wait_for_event("another journal was found in its place")
        watcher.stop()
        watcher.assert_nothing_false(state)
        watcher.assert_whole(state, ALWAYS, "two", "three")
        assert len(said(state, "one")) == 1


def test_a_daemon_that_is_killed_leaves_a_new_journal_to_the_next(tmp_path: Path, site: Path) -> None:
    """Override and lights are as before, the gap is told, and what was lit is closed, as from any journal."""
    state = tmp_path / "state"
    with running(site, state) as daemon:
        watcher = Watcher(daemon)
        watcher.switch("one")
        shutil.rmtree(state)
        watcher.switch("two")
        daemon.kill()
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.lit() == {ALWAYS, "one", "two"}
        daemon.wait_until("told", lambda: EventKind.DIED in kinds_of(daemon))
    assert [each.on for each in daemon.switchings if each.zone == "one"] == [True, False, True]


REFUSED = {**{what: change for what, (change, _) in FOUND.items()}, "lock deleted": delete_lock_file}


@pytest.mark.parametrize("what", REFUSED)
def test_a_second_daemon_is_refused_whatever_became_of_the_folder(
    tmp_path: Path, site: Path, what: str
) -> None:
    """It ends with 2 and names the first, at once and after the first has looked; the first goes on."""
    state = tmp_path / "state"
    with running(site, state) as daemon:
        watcher = Watcher(daemon)
        REFUSED[what](state)
        assert_refused(site, state, daemon)
        watcher.switch("one")
        assert_refused(site, state, daemon)
        assert daemon.lit() == {ALWAYS, "one"}
        watcher.stop()
    watcher.assert_whole(state, ALWAYS, "one")


def assert_refused(site: Path, state: Path, first: Daemon) -> None:
    """See that a second daemon, and a backup's restoration, are refused."""
    command = [str(PROGRAM), "run", str(site), "--state", str(state), "--port", str(free_port())]
    restore = [str(PROGRAM), "backup", str(site), str(site), "--restore", "--state", str(state)]
    for each in (command, restore):
        done = subprocess.run(each, check=False, capture_output=True, text=True, timeout=PATIENCE_S)
        assert done.returncode == 2, done.stderr
        assert f"process {first.process.pid}) already runs" in done.stderr


# One night of short spans; the folder is away from the first of them into the third.
NIGHT = NightOutside(51.5, 0.0, "Europe/London", date(2027, 12, 7))
SPANS = ("20:00 to 20:40", "21:20 to 22:00", "22:40 to 23:20", "00:00 to 00:40")
RATE = 1000


def resolved(*spans: str) -> Callable[[NightOutside], list]:
    """Say what spans between two clock times mean in a night."""
    return lambda n: [tuple(n.clock(edge) for edge in span.split(" to ")) for span in spans]


GARDEN = Garden(
    name="Tern Cottage",
    night=NIGHT,
    starts_at_utc=datetime(2027, 12, 7, 19, 50, tzinfo=UTC),
    ends_at_utc=datetime(2027, 12, 8, 1, 0, tzinfo=UTC),
    programs={
        "jetty": (SPANS, resolved(*SPANS)),
        "porch": (("20:00 to 00:40",), resolved("20:00 to 00:40")),
    },
)


@pytest.mark.usefixtures("libfaketime")
def test_a_night_is_as_long_as_it_was_though_the_folder_was_away_for_hours(tmp_path: Path) -> None:
    """One night at a thousand times the speed: no journal says more than the program, none makes hours up."""
    site = GARDEN.write_site(tmp_path / "site.toml", clock_changes=False)
    state, away, between = tmp_path / "state", tmp_path / "away", tmp_path / "between"
    fake = FakeTime(rate=RATE)
    with running(site, state, environment=fake.environment(GARDEN.starts_at_utc)) as daemon:
        daemon.wait_until("in the journal", lambda: bool(daemon.started))
        start = daemon.started[-1]

        def wait_for(clock: str) -> None:
            at_s = start.boot_s + (NIGHT.clock(clock).at_utc - start.utc).total_seconds()
            daemon.wait_until(clock, lambda: fake.boot_s() >= at_s)

        wait_for("20:20")
        move_away(state)
        wait_for("23:00")
        state.rename(between)
        away.rename(state)
        wait_for("00:55")
        assert daemon.stop() == 0
    ((_, gap_s),) = events_of(state, REPLACED)
    assert gap_s is not None
    # At this speed a millisecond in which the machine has no turn for the process is a second.
    late_s = 120 + sum(each.size_s or 0.0 for each in daemon.events if each.kind is EventKind.RESUMED)
    assert gap_s == pytest.approx(2 * 3600 + 40 * 60, abs=300 + 2 * late_s)
    for folder in (state, between):
        for zone_id, windows in GARDEN.windows.items():
            for on_s, off_s in said(folder, zone_id):
                on_utc, off_utc = (start.utc.timestamp() + each - start.boot_s for each in (on_s, off_s))
                assert any(
                    on.at_utc.timestamp() - 1 <= on_utc <= off_utc <= off.at_utc.timestamp() + late_s
                    for on, off in windows
                ), (folder.name, zone_id, on_s, off_s)
    # What stayed lit is known in full; of the others there are what began before and what came after.
    lit_s = {zone_id: sum(off_s - on_s for on_s, off_s in said(state, zone_id)) for zone_id in GARDEN.windows}
    assert lit_s["porch"] == pytest.approx(4 * 3600 + 40 * 60, abs=late_s)
    assert lit_s["jetty"] == pytest.approx((20 + 40 + 40) * 60, abs=300 + 3 * late_s)
    assert len(said(between, "jetty")) == 2
