"""The keeper and relays that fail, rest and take turns: one zone's trouble is that zone's alone."""

from __future__ import annotations

from itertools import pairwise

import pytest
from gpiozero import OutputDevice

from controller.keeper.state import LONGEST_PAUSE_S, TRIES_BEFORE_REOPENING
from controller.records.entries import Cause, EventKind, Switching
from tests.controller.kept import PROGRAM, Kept, at, two
from tests.sites import site, zone

GENTLE = {"rest_s": 2.0, "stagger_s": 0.5}


def faults_and_recoveries(kept: Kept) -> list[tuple[str, str | None]]:
    """Give what was told of relays, in order."""
    found = kept.ledger.events(EventKind.RELAY_FAULT, EventKind.RELAY_RECOVERED)
    return [(event.kind.value, event.zone) for event in found]


@pytest.mark.parametrize("trouble", ["open", "gone"])
def test_a_relay_that_fails_at_the_start_is_told_once_and_heals(trouble: str) -> None:
    """Started in the middle of the window: the other zone is lit at once, this one soon after the cure."""
    kept = Kept(two(), at("21:10"), trouble={17: trouble})
    kept.pass_time(300)
    assert kept.is_lit(27)
    assert faults_and_recoveries(kept) == [("relay fault", "jetty")]
    assert kept.ledger.switchings() == []
    kept.board.trouble.clear()
    kept.pass_time(LONGEST_PAUSE_S)
    assert kept.lit
    assert faults_and_recoveries(kept) == [("relay fault", "jetty"), ("relay recovered", "jetty")]
    assert len(kept.ledger.switchings()) == 1
    assert kept.ledger.switchings("orchard") == [("21:10:00", True)]


def test_a_relay_that_fails_takes_nobodys_turn() -> None:
    """However long the pause between zones that come on: one that does not come on delays no other."""
    kept = Kept(two(relays={"rest_s": 0.0, "stagger_s": 30.0}), at("21:10"), trouble={17: "set"})
    kept.pass_time(300)
    assert kept.is_lit(27)


def test_a_relay_that_fails_when_it_is_set_is_tried_with_growing_pauses() -> None:
    """Pauses of 1, 2, 4, 8, 16 s and then 30 s for ever; each try is one, and one event tells of all."""
    kept = Kept(two(), at("20:59:50"))
    tried: list[float] = []
    pin = kept.board.pin(17)
    real = pin._may

    def may(what: str) -> bool:
        if what in ("set", "open"):
            tried.append(kept.clock.boot_s)
        return bool(real(what))

    pin._may = may
    kept.board.trouble[17] = "open, set"
    kept.pass_time(10 + 180)
    pauses_s = [later - earlier for earlier, later in pairwise(tried)]
    assert pauses_s == pytest.approx([1, 2, 4, 8, 16, 30, 30, 30, 30])
    assert faults_and_recoveries(kept) == [("relay fault", "jetty")]
    fault = kept.zone().fault
    assert fault is not None
    assert (fault.since.utc, fault.tries) == (at("21:00"), len(tried))
    assert fault.words == "pin 17 cannot be switched: GPIO17: no answer to open"
    kept.board.trouble.clear()
    kept.pass_time(LONGEST_PAUSE_S)
    assert kept.lit
    (recovered,) = kept.ledger.events(EventKind.RELAY_RECOVERED)
    assert recovered.size_s == recovered.at.boot_s - fault.since.boot_s
    assert kept.zone().fault is None


def test_a_second_fault_is_told_again_and_begins_with_short_pauses() -> None:
    """One event for each fault and one for each recovery."""
    kept = Kept(two(), at("21:10"))
    for _ in range(3):
        kept.board.trouble[17] = "read"
        kept.pass_time(40)
        kept.board.trouble.clear()
        kept.pass_time(40)
    assert faults_and_recoveries(kept) == 3 * [("relay fault", "jetty"), ("relay recovered", "jetty")]
    assert kept.ledger.switchings() == [("21:10:00", True)]
    assert kept.lit


def test_after_some_failures_the_pin_is_opened_afresh() -> None:
    """A handle that went bad does not come back by itself: closing and opening it mends it."""
    kept = Kept(two(), at("20:59:50"))
    kept.board.trouble[17] = "set"  # the handle is bad, a new one would do
    kept.pass_time(10 + 2**TRIES_BEFORE_REOPENING)
    assert kept.lit
    assert faults_and_recoveries(kept) == [("relay fault", "jetty"), ("relay recovered", "jetty")]


def test_a_deaf_relay_is_found_by_reading_it_back() -> None:
    """It takes what it is told without a word and does not do it: a fault, not a switching."""
    kept = Kept(two(), at("20:59"))
    kept.board.trouble[17] = "deaf"
    kept.pass_until(at("21:05"))
    assert kept.zone().lit is False
    assert kept.ledger.switchings() == []
    (fault,) = kept.ledger.events(EventKind.RELAY_FAULT)
    assert fault.words == "pin 17 reads back dark after it was set to lit"


def test_a_relay_that_will_not_go_out_is_told_and_put_out_when_it_answers() -> None:
    """Lit beyond its window through no fault of ours: the journal says lit until it really went out."""
    kept = Kept(two(), at("21:59"))
    kept.board.trouble[17] = "deaf"
    kept.pass_until(at("22:10"))
    assert kept.zone().lit is True
    kept.board.trouble.clear()
    kept.pass_time(LONGEST_PAUSE_S)
    assert not kept.lit
    off = kept.ledger.of(Switching)[-1]
    assert not off.on
    assert at("22:10") < off.at.utc <= at("22:10:30")


def test_a_pin_that_another_program_holds_is_taken_when_it_is_let_go() -> None:
    """The fault names the pin; nobody has to restart anything."""
    kept = Kept(two(), at("20:00"))
    kept.keeper.change_site(site(zone("orchard", PROGRAM, pin=27)), words="changed")
    kept.reconcile()
    other = OutputDevice(17, active_high=False, pin_factory=kept.board)
    kept.change(zone("jetty", PROGRAM, pin=17), zone("orchard", PROGRAM, pin=27))
    kept.pass_until(at("21:10"))
    assert not kept.lit
    assert kept.is_lit(27)
    (fault,) = kept.ledger.events(EventKind.RELAY_FAULT)
    assert "pin 17" in fault.words
    other.close()
    kept.pass_time(LONGEST_PAUSE_S)
    assert kept.lit
    assert faults_and_recoveries(kept) == [("relay fault", "jetty"), ("relay recovered", "jetty")]


def test_a_relay_that_somebody_else_switched_is_put_right_and_told() -> None:
    """Found dark in its window: the run ended there, and a new one begins when it is lit again."""
    kept = Kept(two(), at("21:10"))
    kept.board.pin(17)._change_state(True)
    kept.pass_time(30)
    assert kept.lit
    found, again = kept.ledger.of(Switching)[-2:]
    assert (found.on, found.cause, found.words) == (False, Cause.RELAY_FAULT, "the relay was found dark")
    assert (again.on, again.cause) == (True, Cause.PROGRAM)


def test_a_pause_after_a_fault_keeps_no_round_from_coming() -> None:
    """The keeper says when it wants to try again, and never waits longer than a tick."""
    kept = Kept(two(), at("21:10"))
    kept.board.trouble[17] = "gone"
    kept.reconcile()
    assert kept.due_in_s == pytest.approx(1.0)
    kept.pass_time(120)
    assert kept.due_in_s <= LONGEST_PAUSE_S


def test_a_relay_rests_between_two_switchings() -> None:
    """Toggled every tenth of a second, the relay moves once in two seconds, and the last override holds."""
    kept = Kept(two(relays=GENTLE))
    for number in range(101):
        kept.keeper.override("jetty", on=number % 2 == 0, lasts_s=3600)
        kept.reconcile()
        kept.clock.advance(0.1)
    kept.pass_time(5)
    moments = [boot_s for boot_s, _ in kept.board.pin(17).levels[1:]]  # the first is the opening
    assert all(later - earlier >= 2.0 - 1e-9 for earlier, later in pairwise(moments))
    assert 4 <= len(moments) <= 7
    assert kept.lit
    assert [on for _, on in kept.ledger.switchings()] == [number % 2 == 0 for number in range(len(moments))]


def test_a_relay_that_rests_is_looked_at_as_soon_as_it_may_move() -> None:
    """The round is due at the end of the rest, not a tick later."""
    kept = Kept(two(relays=GENTLE))
    kept.keeper.override("jetty", on=True, lasts_s=3600)
    kept.reconcile()
    kept.clock.advance(0.5)
    kept.keeper.lift_override("jetty")
    kept.reconcile()
    assert kept.lit
    assert kept.due_in_s == pytest.approx(1.5)
    kept.pass_time(1.5)
    assert not kept.lit


def test_zones_that_come_on_together_take_turns() -> None:
    """Eight zones at dusk: half a second between two, in the order of the site file; all off at once."""
    zones = [zone(f"zone-{number}", PROGRAM, pin=4 + number) for number in range(8)]
    kept = Kept(site(*zones, relays=GENTLE), at("20:59"))
    kept.pass_until(at("22:00:30"))
    switchings = kept.ledger.of(Switching)
    on = [(each.zone, (each.at.utc - at("21:00")).total_seconds()) for each in switchings if each.on]
    assert [name for name, _ in on] == [f"zone-{number}" for number in range(8)]
    assert [after_s for _, after_s in on] == pytest.approx([number * 0.5 for number in range(8)])
    assert {each.at.utc for each in switchings if not each.on} == {at("22:00")}


def test_opening_a_relay_in_the_dark_is_no_switching() -> None:
    """At a start by day all relays are opened at once, and none has to rest before it may come on."""
    kept = Kept(two(relays=GENTLE), at("20:59:59"))
    kept.pass_time(1.0)
    assert kept.lit
    assert kept.ledger.switchings() == [("21:00:00", True)]


def test_a_zone_in_trouble_holds_up_nobodys_turn_for_long() -> None:
    """A relay that fails when it comes on costs the next one a turn, and no more."""
    zones = [zone(f"zone-{number}", PROGRAM, pin=4 + number) for number in range(3)]
    kept = Kept(site(*zones, relays=GENTLE), at("20:59"))
    kept.board.trouble[4] = "gone"
    kept.pass_until(at("21:00:02"))
    assert not kept.is_lit(4)
    assert kept.is_lit(5)
    assert kept.is_lit(6)
