"""The account: each thing that happens is told to the journal once, in words that stay the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.models.site import RatedLoad
from controller.journal.previous_run import PreviousRun
from controller.keeper.recorder import BEAT_S, HELD_UP_S, Recorder
from controller.keeper.state import ZoneState
from controller.records.entries import Cause, Event, EventKind, Heartbeat, Switching
from controller.records.reading import Reading
from controller.relays import Wire
from tests.controller.kept import Ledger
from tests.sites import site, zone
from tests.strategies import patient

START = datetime(2027, 1, 5, 21, tzinfo=UTC)


def reading(after_s: float = 0.0, *, step_s: float = 0.0, **more: Any) -> Reading:
    """Look at the clock so many seconds after the start; ``step_s`` is what it was set by."""
    usual: dict[str, Any] = {"boot_id": "boot-1", "trusted": True, "trust": "as given"}
    utc = START + timedelta(seconds=after_s + step_s)
    return Reading(utc=utc, boot_s=1000 + after_s, **{**usual, **more})


def account(ledger: Ledger, at: Reading | None = None, **more: Any) -> Recorder:
    """Begin an account."""
    return Recorder(
        ledger, started_at=at or reading(), words="site Tern Cottage", past=more.pop("past", None)
    )


def state() -> ZoneState:
    """Begin to keep a zone."""
    return ZoneState(wire=Wire(pin=17, active_high=False), load=RatedLoad(watts=40.0, origin="rated"))


def kinds(ledger: Ledger) -> list[EventKind]:
    """Give what was told, in order."""
    return [event.kind for event in ledger.of(Event)]


def test_an_account_begins_with_closing_the_one_before_it() -> None:
    """First what an earlier keeper left open is asked to be closed, then the start is told."""
    ledger = Ledger()
    account(ledger)
    assert ledger.closed == [reading()]
    (started,) = ledger.of(Event)
    assert (started.kind, started.words) == (EventKind.STARTED, "site Tern Cottage")


def test_a_start_without_the_time_says_so() -> None:
    """Since when the clock is not trusted is part of the account from its first line."""
    ledger = Ledger()
    account(ledger, reading(trusted=False, trust="the clock is not set"))
    assert kinds(ledger) == [EventKind.STARTED, EventKind.CLOCK_NOT_TRUSTED]
    assert ledger.of(Event)[1].words == "the clock is not set"


@patient
@given(states=st.lists(st.booleans(), max_size=30))
def test_switchings_alternate_whatever_is_told(states: list[bool]) -> None:
    """A change that is none leaves no row: the rows of a zone are on, off, on, off."""
    ledger, zone_state = Ledger(), state()
    recorder = account(ledger)
    for number, on in enumerate(states):
        recorder.switched(
            "jetty", zone_state, reading(number), on=on, cause=Cause.PROGRAM, words="21:00 to 22:00"
        )
        assert zone_state.lit is on
        assert (zone_state.lit_since is not None) is on
    rows = [switching.on for switching in ledger.of(Switching)]
    assert rows == [number % 2 == 0 for number in range(len(rows))]
    assert len(rows) == sum(before is not after for before, after in pairwise([False, *states]))


def test_a_switching_carries_cause_words_and_load() -> None:
    """With the reading of its moment, trusted or not."""
    ledger = Ledger()
    at = reading(5, trusted=False)
    words = "somebody asked for light"
    account(ledger).switched("jetty", state(), at, on=True, cause=Cause.OVERRIDE, words=words)
    assert ledger.of(Switching) == [
        Switching(
            zone="jetty",
            at=at,
            on=True,
            cause=Cause.OVERRIDE,
            words=words,
            load_w=40.0,
            load_from="rated",
        )
    ]


@patient
@given(pauses_s=st.lists(st.floats(0.001, 30.0), min_size=1, max_size=200))
def test_signs_of_life_are_never_five_minutes_apart_and_never_many(pauses_s: list[float]) -> None:
    """With rounds at most a tick apart: from one beat to the next more than 270 s and at most 300 s."""
    ledger, after_s = Ledger(), 0.0
    recorder = account(ledger)
    recorder.beat(reading(0))
    for pause_s in pauses_s:
        after_s += pause_s
        recorder.beat(reading(after_s))
    beats_s = [beat.at.boot_s for beat in ledger.of(Heartbeat)]
    assert all(BEAT_S <= later - earlier <= 300 for earlier, later in pairwise(beats_s))
    assert 1000 + after_s - beats_s[-1] < 300


@pytest.mark.parametrize(
    ("step_s", "told"), [(3600, True), (-3600, True), (1.5, True), (0.5, False), (-0.5, False)]
)
def test_a_step_is_told_with_its_size(step_s: float, told: bool) -> None:
    """A second and less is no step: the clock is slewed, not set."""
    ledger = Ledger()
    account(ledger).compare(reading(0), reading(10, step_s=step_s), due_in_s=30)
    assert [(event.kind, event.size_s) for event in ledger.of(Event)[1:]] == (
        [(EventKind.CLOCK_STEPPED, step_s)] if told else []
    )


@pytest.mark.parametrize(("late_s", "told"), [(HELD_UP_S + 1, True), (HELD_UP_S, False), (0.0, False)])
def test_a_round_that_comes_late_means_a_board_that_slept(late_s: float, told: bool) -> None:
    """By how much later than it was due, not by how long the pause was."""
    ledger = Ledger()
    account(ledger).compare(reading(0), reading(20 + late_s), due_in_s=20)
    assert [(event.kind, event.size_s) for event in ledger.of(Event)[1:]] == (
        [(EventKind.RESUMED, late_s)] if told else []
    )


def test_trust_found_and_lost_is_told_with_how_long_it_was_otherwise() -> None:
    """Once each time that it changes, and not at every round."""
    ledger = Ledger()
    recorder = account(ledger, reading(trusted=False))
    moments = [(0, False), (30, False), (60, True), (90, True), (100, False)]
    readings = [reading(after_s, trusted=trusted) for after_s, trusted in moments]
    for earlier, later in pairwise(readings):
        recorder.compare(earlier, later, due_in_s=30)
    told = [(event.kind, event.size_s) for event in ledger.of(Event)[2:]]
    assert told == [(EventKind.CLOCK_TRUSTED, 60), (EventKind.CLOCK_NOT_TRUSTED, 40)]
    assert recorder.trust_since == readings[-1]


def test_a_journal_fault_is_told_once_whatever_its_words_become() -> None:
    """It fails, goes on failing in other words, and works again: two events."""
    ledger = Ledger()
    recorder = account(ledger)
    for fault in ("the disk is full", "the disk is full", "it is read-only", None, None):
        ledger.fault = fault
        recorder.compare(reading(0), reading(1), due_in_s=30)
    told = [(event.kind, event.words) for event in ledger.of(Event)[1:]]
    assert told == [
        (EventKind.JOURNAL_FAULT, "the disk is full"),
        (EventKind.JOURNAL_RECOVERED, "written again"),
    ]


def sign(after_s: float, **more: Any) -> PreviousRun:
    """A past that ended without a word at a moment before the start."""
    return PreviousRun(last_sign=reading(after_s, **more), ended_well=False)


@pytest.mark.parametrize(
    ("past", "told"),
    [
        (sign(-600, boot_id="boot-0"), [(EventKind.POWER_LOST, 600.0)]),
        (sign(-20), [(EventKind.DIED, 20.0)]),
        (sign(-20, step_s=-180 * 86_400.0), [(EventKind.DIED, 20.0)]),
        (sign(-20, trusted=False), [(EventKind.DIED, 20.0)]),
        (sign(-600, boot_id="boot-0", trusted=False), [(EventKind.POWER_LOST, None)]),
        (PreviousRun(last_sign=reading(-600, boot_id="boot-0"), ended_well=True), []),
        (PreviousRun(), []),
        (None, []),
    ],
)
def test_the_gap_before_a_start_is_told(
    past: PreviousRun | None, told: list[tuple[EventKind, float | None]]
) -> None:
    """In another boot the power was lost, in the same one the program died; after a stop there is no gap."""
    ledger = Ledger()
    account(ledger, past=past)
    assert [(event.kind, event.size_s) for event in ledger.of(Event)[1:]] == told


def test_the_gap_is_told_once_a_clock_can_measure_it_and_only_once() -> None:
    """The length is that of the gap, not of the time until somebody knew."""
    ledger = Ledger()
    recorder = account(ledger, reading(trusted=False), past=sign(-600, boot_id="boot-0"))
    trusted = [False, False, True, False, True]
    readings = [reading(number * 30.0, trusted=each) for number, each in enumerate(trusted)]
    for earlier, later in pairwise(readings):
        recorder.compare(earlier, later, due_in_s=30)
    gaps = ledger.events(EventKind.POWER_LOST, EventKind.DIED)
    assert [event.size_s for event in gaps] == [600.0]


def test_programs_are_told_at_the_start_and_where_they_change() -> None:
    """A zone that stays as it was is not told again; one that went is told as gone."""
    ledger = Ledger()
    recorder = account(ledger)
    zones = site(zone("jetty", "dusk to 22:00"), zone("orchard", "21:00 to 22:00", pin=27)).zones
    recorder.record_programs(zones, reading())
    recorder.record_programs(zones, reading(30))
    recorder.record_programs(site(zone("jetty", "dusk to 23:00")).zones, reading(60))
    told = [(event.zone, event.words) for event in ledger.events(EventKind.PROGRAM)]
    assert told == [
        ("jetty", "dusk to 22:00"),
        ("orchard", "21:00 to 22:00"),
        ("orchard", "no zone any more"),
        ("jetty", "dusk to 23:00"),
    ]
