"""The installed daemon, killed fifty times at random through one night and started again each time.

What the journal tells afterwards is compared with the program, life by life: what had to be switched, what
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
from tests.process.comparing import late_at_most_s, steps_in
from tests.process.daemon import Daemon, free_port, running, wait_for_end
from tests.process.faketime import Course, FakeTime
from tests.process.lives import GARDEN, Life, heard_of, sort_by_lives

pytestmark = pytest.mark.usefixtures("libfaketime")

KILLS = 50
SEED = int(os.environ.get("KILL_SEED", "20271106"))
SEED_TOLD = f"KILL_SEED={SEED} in the environment repeats these kills"
RATE = 1000
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
def lives(folder: Path) -> list[Life]:
    """Kill the daemon fifty times, let the last one write, and sort its journal by lives."""
    print(SEED_TOLD)
    site = GARDEN.write_site(folder / "site.toml")
    state = folder / "state"
    fake = FakeTime(rate=RATE)
    course = Course.begin(fake, GARDEN.starts_at_utc)
    chance = random.Random(SEED)
    port = free_port()
    found: list[Life] = []
    starting_s = 0.0
    # The first shows how long a start takes on this machine; the last tells of the fiftieth kill.
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
        found.append(Life(launched_s=launched_s, killed_s=killed_s, ready_s=ready_s, meant=meant))
    assert course.now_utc() < GARDEN.ends_at_utc, "the night was too short; the machine is very slow"
    assert find_damage(state / JOURNAL_NAME) is None
    sort_by_lives(found, daemon.switchings, daemon.events)
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
def lit_s(folder: Path, lives: list[Life]) -> dict[str, float]:
    """How long each zone was lit over all lives, by the account in the journal."""
    return {each.zone: each.lit_s for each in JournalReader(folder / "state").totals()}


@pytest.fixture(autouse=True)
def _tell_seed() -> None:
    print(SEED_TOLD)


def test_no_switching_is_lost_and_none_is_false(lives: list[Life]) -> None:
    """In every life all is switched that had to be, up to the last that reached the journal, and no more."""
    unwritten = {True: 0, False: 0}
    late_s = []
    for life in heard_of(lives):
        matches, missing = life.wanted()
        for match in matches:
            at_most_s = late_at_most_s(match, life.own, life.events)
            assert -match.edge.at.tolerance_s <= match.late_s <= at_most_s, match
            assert match.switching.cause is Cause.PROGRAM
            late_s.append(match.late_s)
        unwritten[life.meant] += len(missing)
    print(f"{len(late_s)} switchings, late by {median(late_s):.1f} s, {max(late_s):.1f} s at most")
    print(f"unwritten: {unwritten[True]} of kills after a switching, {unwritten[False]} of the others")
    assert unwritten[False] <= UNWRITTEN_AT_MOST
    assert median(late_s) <= HELD_UP_S


def test_only_lives_too_short_to_write_left_no_trace(lives: list[Life]) -> None:
    """A daemon that had its lights right for a while is in the journal."""
    silent = [life for life in lives if life.started is None]
    print(len(lives) - len(silent), "of", len(lives), "lives were heard of")
    for life in silent:
        ready_s = life.killed_s if life.ready_s is None else life.ready_s
        assert life.killed_s - ready_s <= WRITES_WITHIN_REAL_S * RATE, life
    assert len(silent) < KILLS / 2, "so few lives show little"


def test_every_kill_is_told_once_with_its_gap(lives: list[Life]) -> None:
    """Each life that follows one that was heard of says that it ended without warning, and since when."""
    heard = heard_of(lives)
    assert not [event for event in heard[0].events if event.kind is EventKind.DIED]
    for before, after in pairwise(heard):
        assert after.started is not None
        told = [event for event in after.events if event.kind is EventKind.DIED]
        assert len(told) == 1, f"life at {after.started}: {after.events}"
        gap_s = (after.started.utc - before.utc(before.heard_s)).total_seconds()
        assert told[0].size_s == pytest.approx(gap_s, abs=0.01)
    kinds = {event.kind for life in heard for event in life.events}
    assert not kinds & UNCALLED_FOR, kinds


def test_every_run_that_a_kill_cut_is_closed_at_the_last_sign_of_life(lives: list[Life]) -> None:
    """What was lit is put out in the journal, once, at the last that was heard; the dark is left alone."""
    heard = heard_of(lives)
    for life in heard[:-1]:
        assert sorted(each.zone for each in life.closed) == sorted(life.left_lit())
        for each in life.closed:
            assert (each.on, each.cause) == (False, Cause.STOPPED)
            assert each.at.boot_s == life.heard_s
    assert not heard[-1].closed
    # No more than a heartbeat and a tick is lost where something is lit, and what the disk takes.
    lost_s = [life.killed_s - life.heard_s for life in heard[:-1] if life.closed]
    print("lost at each kill", median(lost_s), max(lost_s))
    assert median(lost_s) <= BEAT_S + TICK_S + HELD_UP_S


def test_run_hours_are_what_was_lit(lives: list[Life], lit_s: dict[str, float]) -> None:
    """In each life each zone was lit as the program asks, but for what came late; the account adds up."""
    last = heard_of(lives)[-1]
    added_s = {zone_id: last.lit_s(zone_id) for zone_id in GARDEN.programs}
    for life in heard_of(lives)[:-1]:
        matches, missing = life.wanted()
        # Light is measured by one clock, the program by the other: readings that were torn part them.
        torn_s = sum(abs(step_s) for step_s in steps_in(life.events))
        for zone_id in GARDEN.programs:
            own = [match for match in matches if match.edge.zone == zone_id]
            late_s = sum(-each.late_s if each.edge.on else each.late_s for each in own)
            wanted_s = life.wanted_s(zone_id) + late_s
            slack_s = 1 + torn_s + sum(each.edge.at.tolerance_s for each in own)
            # What was due in its last moments and not switched any more.
            due_s = [life.heard_s - life.boot_s(each.at.at_utc) for each in missing if each.zone == zone_id]
            slack_s += sum(max(0.0, each_s) for each_s in due_s)
            assert life.lit_s(zone_id) == pytest.approx(wanted_s, abs=slack_s), (zone_id, life)
            added_s[zone_id] += life.lit_s(zone_id)
    print({zone_id: round(each_s) for zone_id, each_s in added_s.items()})
    assert lit_s == pytest.approx(added_s, abs=0.01)
