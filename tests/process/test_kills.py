"""The installed daemon, killed fifty times at random through two nights and started again each time.

What the journal holds afterwards is compared with the program, run by run: what had to be switched, what
was lit at each kill, and for how long nobody kept the lights.
"""

from __future__ import annotations

import os
import random
from itertools import pairwise
from pathlib import Path
from statistics import median

import pytest

from controller.journal.database import JOURNAL_NAME, find_damage
from controller.journal.reader import JournalReader
from controller.keeper.keeper import TICK_S
from controller.keeper.recorder import BEAT_S, HELD_UP_S
from controller.records.entries import Cause, EventKind
from tests.process.comparison import late_at_most_s, steps_in
from tests.process.daemon import Daemon, free_port, running, wait_for_end
from tests.process.daemon_runs import GARDEN, DaemonRun, sort_by_run, with_entries
from tests.process.faketime import Course, FakeTime

pytestmark = pytest.mark.usefixtures("libfaketime")

KILLS = 50
SEED = int(os.environ.get("KILL_SEED", "20271106"))
# On a machine so slow that the nights are over before the last kill, KILL_RATE=500 makes them twice as long.
RATE = int(os.environ.get("KILL_RATE", "1000"))
SEED_TOLD = f"KILL_SEED={SEED} KILL_RATE={RATE} in the environment repeats these kills"
# A kill at random rarely comes between a switching and its commit, which takes some milliseconds.
UNWRITTEN_AT_MOST = 8
# A daemon that has been ready for so long in real time has written its first entries.
WRITES_WITHIN_REAL_S = 3.0
# No fault of the journal among them: the fifth of a second that it waits for others, such as the check at the
# start, is a fifth of a millisecond here.
UNCALLED_FOR = {
    EventKind.POWER_LOST,
    EventKind.CLOCK_NOT_TRUSTED,
    EventKind.RELAY_FAULT,
    EventKind.JOURNAL_SET_ASIDE,
    EventKind.SITE_CHANGED,
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where site file and journal lie."""
    return tmp_path_factory.mktemp("kills")


@pytest.fixture(scope="module")
def runs(folder: Path) -> list[DaemonRun]:
    """Kill the daemon fifty times, let the last one write, and sort its journal by run."""
    print(SEED_TOLD)
    site = GARDEN.write_site(folder / "site.toml")
    state = folder / "state"
    fake = FakeTime(rate=RATE)
    course = Course.begin(fake, GARDEN.starts_at_utc)
    chance = random.Random(SEED)
    port = free_port()
    found: list[DaemonRun] = []
    starting_s = 0.0
    # The first shows how long a start takes on this machine; the last records the fiftieth kill.
    for number in range(KILLS + 2):
        launched_s = fake.boot_s()
        with running(site, state, environment=fake.environment(course.now_utc()), port=port) as daemon:
            meant = False
            if 1 <= number <= KILLS:
                meant = _wait_for_the_moment(daemon, chance, starting_s)
            else:
                daemon.wait_until("in the journal", lambda: daemon.started_since(launched_s))  # noqa: B023
                starting_s = fake.real_s(fake.boot_s() - launched_s)
            killed_s = daemon.kill() * RATE
        ready_s = next((each.boot_s * RATE for each in daemon.listener.heard if "READY" in each.said), None)
        found.append(DaemonRun(launched_s=launched_s, killed_s=killed_s, ready_s=ready_s, meant=meant))
    assert course.now_utc() < GARDEN.ends_at_utc, "the nights were too short; try KILL_RATE=500"
    assert find_damage(state / JOURNAL_NAME) is None
    sort_by_run(found, daemon.switchings, daemon.events)
    return found


def _wait_for_the_moment(daemon: Daemon, chance: random.Random, starting_s: float) -> bool:
    """Wait for a moment to kill: while it starts, while it runs, or right after a switching (True)."""
    kind = chance.choice(["starting", "running", "running", "switching"])
    delay_s = chance.uniform(0.0, 1.2) * starting_s
    if kind != "starting":
        daemon.wait_until("ready", lambda: daemon.is_ready)
        delay_s = chance.uniform(0.0, 0.8)
    assert not wait_for_end(daemon.process, delay_s), daemon.log[-3000:]
    if kind != "switching":
        return False
    known = daemon.status_line
    daemon.wait_until("switching", lambda: daemon.status_line not in ("", known))
    return True


@pytest.fixture
def lit_s(folder: Path, runs: list[DaemonRun]) -> dict[str, float]:
    """How long each zone was lit over all runs, by the totals in the journal."""
    return {each.zone: each.lit_s for each in JournalReader(folder / "state").totals()}


@pytest.fixture(autouse=True)
def _tell_seed() -> None:
    print(SEED_TOLD)


def test_no_switching_is_lost_and_none_is_false(runs: list[DaemonRun]) -> None:
    """In every run all is switched that had to be, up to the last that reached the journal, and no more."""
    unwritten = {True: 0, False: 0}
    late_s = []
    for run in with_entries(runs):
        matches, missing = run.wanted()
        for match in matches:
            at_most_s = late_at_most_s(match, run.own, run.events)
            assert -match.edge.at.tolerance_s <= match.late_s <= at_most_s, match
            assert match.switching.cause is Cause.PROGRAM
            late_s.append(match.late_s)
        unwritten[run.meant] += len(missing)
    print(f"{len(late_s)} switchings, late by {median(late_s):.1f} s, {max(late_s):.1f} s at most")
    print(f"unwritten: {unwritten[True]} of kills after a switching, {unwritten[False]} of the others")
    assert unwritten[False] <= UNWRITTEN_AT_MOST
    assert median(late_s) <= HELD_UP_S


def test_only_runs_too_short_to_write_left_no_trace(runs: list[DaemonRun]) -> None:
    """A daemon that had its lights right for a while is in the journal."""
    silent = [run for run in runs if run.started is None]
    print(len(runs) - len(silent), "of", len(runs), "runs left an entry")
    for run in silent:
        ready_s = run.killed_s if run.ready_s is None else run.ready_s
        assert run.killed_s - ready_s <= WRITES_WITHIN_REAL_S * RATE, run
    assert len(silent) < KILLS / 2, "so few runs show little"


def test_every_kill_is_told_once_with_its_gap(runs: list[DaemonRun]) -> None:
    """Each run after one that left an entry records that it ended without warning, and since when."""
    heard = with_entries(runs)
    assert not [event for event in heard[0].events if event.kind is EventKind.DIED]
    for before, after in pairwise(heard):
        assert after.started is not None
        died = [event for event in after.events if event.kind is EventKind.DIED]
        assert len(died) == 1, f"run at {after.started}: {after.events}"
        assert died[0].size_s == pytest.approx(after.started.boot_s - before.heard_s, abs=0.01)
    kinds = {event.kind for run in heard for event in run.events}
    assert not kinds & UNCALLED_FOR, kinds


def test_every_run_that_a_kill_cut_is_closed_at_the_last_sign_of_life(runs: list[DaemonRun]) -> None:
    """What was lit is switched off in the journal, once, at the last entry; what was dark is left alone."""
    heard = with_entries(runs)
    for run in heard[:-1]:
        assert sorted(each.zone for each in run.closed) == sorted(run.left_lit())
        for each in run.closed:
            assert (each.on, each.cause) == (False, Cause.STOPPED)
            assert each.at.boot_s == run.heard_s
    assert not heard[-1].closed
    # No more than a heartbeat and a tick is lost where something is lit, and what the disk takes.
    lost_s = [run.killed_s - run.heard_s for run in heard[:-1] if run.closed]
    print("lost at each kill", median(lost_s), max(lost_s))
    assert median(lost_s) <= BEAT_S + TICK_S + HELD_UP_S


def test_run_hours_are_what_was_lit(runs: list[DaemonRun], lit_s: dict[str, float]) -> None:
    """In each run each zone was lit as the program asks, but for what came late; the totals add up."""
    last = with_entries(runs)[-1]
    added_s = {zone_id: last.lit_s(zone_id) for zone_id in GARDEN.programs}
    for run in with_entries(runs)[:-1]:
        matches, missing = run.wanted()
        # Light is measured by one clock, the program by the other: readings that were torn part them.
        torn_s = sum(abs(step_s) for step_s in steps_in(run.events))
        for zone_id in GARDEN.programs:
            own = [match for match in matches if match.edge.zone == zone_id]
            late_s = sum(-each.late_s if each.edge.on else each.late_s for each in own)
            wanted_s = run.wanted_s(zone_id) + late_s
            slack_s = 1 + torn_s + sum(each.edge.at.tolerance_s for each in own)
            # What was due in its last moments and not switched any more.
            due_s = [run.heard_s - run.boot_s(each.at.at_utc) for each in missing if each.zone == zone_id]
            slack_s += sum(max(0.0, each_s) for each_s in due_s)
            assert run.lit_s(zone_id) == pytest.approx(wanted_s, abs=slack_s), (zone_id, run)
            added_s[zone_id] += run.lit_s(zone_id)
    print({zone_id: round(each_s) for zone_id, each_s in added_s.items()})
    assert lit_s == pytest.approx(added_s, abs=0.01)
