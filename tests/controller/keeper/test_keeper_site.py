"""The keeper and a site file that changes under it: zones go, come, and change their wiring while lit."""

from __future__ import annotations

from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from controller.records.entries import Cause, EventKind, Heartbeat, OverrideEnded, Switching
from controller.relays import Relays, Wire
from tests.controller.kept import PROGRAM, Board, Kept, at, two
from tests.sites import site, zone

GENTLE: dict[str, Any] = {"relays": {"rest_s": 2.0, "stagger_s": 0.5}}
AT_ONCE: dict[str, Any] = {"relays": {"rest_s": 0.0, "stagger_s": 0.0}}
JETTY = zone("jetty", PROGRAM, pin=17)
ORCHARD = zone("orchard", PROGRAM, pin=27)


def moments(kept: Kept, number: int) -> list[float]:
    """Give when the level of a pin changed after it was opened, in seconds of the boot-time clock."""
    levels = kept.board.pin(number).levels
    return [boot_s for (_, before), (boot_s, after) in pairwise(levels) if before != after]


def test_a_change_of_the_program_counts_at_once_and_is_told() -> None:
    """Lit at half past nine; the new program ends at nine: dark in the next round."""
    kept = Kept(at_utc=at("21:30"))
    kept.change(zone("jetty", "20:00 to 21:00"))
    kept.pass_time(2)
    assert not kept.lit
    (changed,) = kept.ledger.events(EventKind.SITE_CHANGED)
    assert changed.words == "the site file was read again"
    assert kept.board.levels(17) == [0, 1]


def test_a_reload_that_changes_nothing_switches_nothing() -> None:
    """The relay stays closed, its run goes on, an override stays in force."""
    kept = Kept(two(), at("21:30"))
    override = kept.keeper.override("orchard", on=False)
    kept.reconcile()
    for _ in range(5):
        kept.change(JETTY, ORCHARD, **AT_ONCE)
        kept.pass_time(30)
    assert kept.board.levels(17) == [0]
    assert kept.ledger.switchings() == [("21:30:00", True)]
    assert kept.keeper.overrides == {"orchard": override}


def test_a_zone_removed_while_lit_is_put_out_and_let_go() -> None:
    """Its run is closed because the site changed, its override ended, its pin is nobody's any more."""
    kept = Kept(two(), at("21:30"))
    kept.keeper.override("jetty", on=True, lasts_s=3600)
    pin = kept.board.pin(17)
    kept.change(ORCHARD, **AT_ONCE)
    assert [level for _, level in pin.levels] == [0, 1]
    assert pin.function == "input"
    assert kept.is_lit(27)
    off = kept.ledger.of(Switching)[-1]
    assert (off.zone, off.on, off.cause) == ("jetty", False, Cause.SITE_CHANGED)
    assert off.words == "the site file changed"
    assert [(end.zone, end.words) for end in kept.ledger.of(OverrideEnded)] == [
        ("jetty", "the zone was removed")
    ]
    assert [each.zone for each in kept.keeper.status().zones] == ["orchard"]
    assert kept.keeper.overrides == {}


def test_a_zone_removed_in_the_dark_is_let_go_without_a_switching() -> None:
    """Nothing was lit, so nothing is told but that the site changed."""
    kept = Kept(two(), at("20:00"))
    kept.change(ORCHARD, **AT_ONCE)
    assert not kept.board.is_output(17)
    assert kept.ledger.of(Switching) == []


def test_a_zone_that_comes_is_lit_in_the_same_round() -> None:
    """Opened at the level that it must have."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    kept.change(JETTY, ORCHARD, **AT_ONCE)
    assert kept.board.levels(27) == [0]
    assert kept.ledger.switchings("orchard") == [("21:30:00", True)]
    assert kept.board.levels(17) == [0]


def test_the_pin_of_a_lit_zone_changes() -> None:
    """The old relay goes off and is let go before the new one comes on; one run ends, one begins."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    old = kept.board.pin(17)
    kept.clock.advance(60)
    kept.change(zone("jetty", PROGRAM, pin=22), **AT_ONCE)
    assert [level for _, level in old.levels] == [0, 1]
    assert old.function == "input"
    assert kept.board.levels(22) == [0]
    assert kept.ledger.switchings() == [("21:30:00", True), ("21:31:00", False), ("21:31:00", True)]
    assert [each.cause for each in kept.ledger.of(Switching)] == [
        Cause.PROGRAM,
        Cause.SITE_CHANGED,
        Cause.PROGRAM,
    ]


def test_the_pins_of_two_zones_are_exchanged_and_every_relay_rests() -> None:
    """Both lit: each relay goes off, rests for its two seconds, and comes on for the other zone, in turns."""
    kept = Kept(site(JETTY, ORCHARD, **GENTLE), at("21:29"))
    kept.pass_until(at("21:30"))
    kept.change(zone("jetty", PROGRAM, pin=27), zone("orchard", PROGRAM, pin=17), **GENTLE)
    kept.pass_time(10)
    for number in (17, 27):
        assert kept.is_lit(number)
        off_s, on_s = moments(kept, number)[-2:]
        assert on_s - off_s >= 2.0 - 1e-9, number
    on = [kept.board.pin(number).levels[-1][0] for number in (17, 27)]
    assert abs(on[0] - on[1]) >= 0.5 - 1e-9
    for name in ("jetty", "orchard"):
        assert [on for _, on in kept.ledger.switchings(name)] == [True, False, True]


def test_a_zone_that_takes_the_pin_of_one_that_went_waits_for_its_rest() -> None:
    """The relay belongs to the pin, not to the zone: renamed while lit, it goes off, rests, and comes on."""
    kept = Kept(site(JETTY, **GENTLE), at("21:29"))
    kept.pass_until(at("21:30"))
    kept.change(zone("pier", PROGRAM, pin=17), **GENTLE)
    kept.pass_time(10)
    assert kept.is_lit(17)
    off_s, on_s = moments(kept, 17)[-2:]
    assert on_s - off_s >= 2.0 - 1e-9
    assert [on for _, on in kept.ledger.switchings("jetty")] == [True, False]
    assert [on for _, on in kept.ledger.switchings("pier")] == [True]


def test_the_other_level_closes_the_relay_of_a_lit_zone_from_now_on() -> None:
    """Somebody found that the board closes on high: the old wiring's off level is the new one's on level."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    kept.change(zone("jetty", PROGRAM, pin=17, active_high=True), **AT_ONCE)
    assert kept.is_lit(17, active_high=True)
    assert kept.board.levels(17) == [0, 1, 1]
    assert [on for _, on in kept.ledger.switchings()] == [True, False, True]


def test_wiring_changed_and_changed_back_in_a_hurry_loses_nothing() -> None:
    """Three files within the rest of the relay: what was lit is put out or kept, never forgotten."""
    kept = Kept(site(JETTY, **GENTLE), at("21:29:59"))
    kept.clock.advance(1)
    wirings = [{"pin": 17, "active_high": True}, {"pin": 17}, {"pin": 17, "active_high": True}, {"pin": 22}]
    for wiring in wirings:
        kept.keeper.change_site(site(zone("jetty", PROGRAM, **wiring), **GENTLE), words="changed")
        kept.reconcile()
        kept.clock.advance(0.1)
    kept.pass_time(20)
    assert kept.is_lit(22)
    assert not kept.board.is_output(17)
    on = [on for _, on in kept.ledger.switchings()]
    assert on == [number % 2 == 0 for number in range(len(on))]
    assert on[-1]
    assert kept.relays.read(Wire(pin=17, active_high=False)) is None
    assert kept.relays.read(Wire(pin=17, active_high=True)) is None


def test_a_pin_changed_back_before_it_was_let_go_keeps_its_run() -> None:
    """Changed and changed back within the rest of the relay: it was never put out, and nothing is told."""
    kept = Kept(site(JETTY, **GENTLE), at("21:29:59"))
    kept.clock.advance(1)
    kept.change(zone("jetty", PROGRAM, pin=22), **GENTLE)
    kept.clock.advance(0.1)
    kept.change(JETTY, **GENTLE)
    kept.pass_time(20)
    assert kept.is_lit(17)
    assert kept.ledger.switchings() == [("21:29:59", True)]


def test_a_relay_that_somebody_closed_as_its_zone_was_removed_is_told() -> None:
    """The lamps burned from then on, so the journal has it as found, and again off after the rest."""
    kept = Kept(two(relays=GENTLE["relays"]), at("20:00"))
    pin = kept.board.pin(17)
    pin._change_state(bool(0))  # somebody else closes the relay: low is lit
    kept.change(ORCHARD, **GENTLE)
    kept.pass_time(10)
    assert pin.function == "input"
    found, off = kept.ledger.of(Switching)
    assert (found.zone, found.on, found.cause, found.words) == (
        "jetty",
        True,
        Cause.RELAY_FAULT,
        "the relay was found lit",
    )
    assert (off.zone, off.on, off.cause) == ("jetty", False, Cause.SITE_CHANGED)


def test_a_relay_that_somebody_opened_while_it_rested_before_it_left_is_told_as_found() -> None:
    """Its zone was removed, its relay rests, somebody opens it: dark from then on, and not by us."""
    kept = Kept(two(relays=GENTLE["relays"]), at("21:00"))
    pin = kept.board.pin(17)
    kept.change(ORCHARD, **GENTLE)
    assert kept.is_lit(17)
    pin._change_state(bool(1))
    kept.pass_time(10)
    of_jetty = [each for each in kept.ledger.of(Switching) if each.zone == "jetty"]
    assert [(each.on, each.cause) for each in of_jetty] == [(True, Cause.PROGRAM), (False, Cause.RELAY_FAULT)]


def test_a_relay_that_fails_while_it_leaves_is_put_out_later() -> None:
    """It is tried again until it answers; the zone's run goes on until then, because the lamps do."""
    kept = Kept(two(), at("21:30"))
    pin = kept.board.pin(17)
    kept.board.trouble[17] = "set"
    kept.change(ORCHARD, **AT_ONCE)
    kept.pass_time(120)
    assert pin.function == "output"
    assert len(kept.ledger.events(EventKind.RELAY_FAULT)) == 1
    assert kept.ledger.switchings() == [("21:30:00", True)]
    kept.board.trouble.clear()
    kept.pass_time(30)
    assert [level for _, level in pin.levels] == [0, 1]
    assert pin.function == "input"
    assert [on for _, on in kept.ledger.switchings()] == [True, False]
    kept.pass_time(300)
    assert len(kept.ledger.events(EventKind.RELAY_FAULT)) == 1


def test_a_zone_that_is_moved_off_a_broken_relay_need_not_wait_for_it() -> None:
    """The relay on the old pin does not answer, so somebody chose another: lit there in the next round."""
    kept = Kept(two(), at("21:30"))
    old = kept.board.pin(17)
    kept.board.trouble[17] = "gone"
    kept.pass_time(60)
    kept.change(zone("jetty", PROGRAM, pin=22), ORCHARD, **AT_ONCE)
    assert kept.is_lit(22)
    assert kept.ledger.switchings() == [("21:30:00", True), ("21:31:00", False), ("21:31:00", True)]
    assert kept.ledger.of(Switching)[-2].cause is Cause.RELAY_FAULT
    kept.board.trouble.clear()
    kept.pass_time(30)
    assert [level for _, level in old.levels] == [0, 1]
    assert kept.ledger.switchings()[-1] == ("21:31:00", True)
    kinds = [event.kind for event in kept.ledger.events(EventKind.RELAY_FAULT, EventKind.RELAY_RECOVERED)]
    assert kinds == [EventKind.RELAY_FAULT, EventKind.RELAY_RECOVERED]


def test_lamps_of_a_zone_that_went_give_signs_of_life_while_they_burn() -> None:
    """Their relay will not go off: the run that goes on is bounded by beats like any other."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    kept.board.trouble[17] = "set"
    kept.change(zone("orchard", "23:00 to 23:30", pin=27), **AT_ONCE)
    kept.pass_time(1200)
    assert len(kept.ledger.of(Heartbeat)) >= 4


def test_stopping_closes_the_run_of_a_relay_that_was_just_leaving() -> None:
    """Its zone is gone from the site file, its lamps are not: the run ends with the program."""
    kept = Kept(two(), at("21:30"))
    kept.board.trouble[17] = "set"
    kept.change(ORCHARD, **AT_ONCE)
    kept.board.trouble.clear()
    kept.keeper.stop()
    assert [on for _, on in kept.ledger.switchings()] == [True, False]


def test_a_site_that_is_refused_is_told_and_changes_nothing() -> None:
    """The old one stays in force, the status says why, and the next one that is taken clears it."""
    kept = Kept(at_utc=at("21:30"))
    kept.keeper.refuse_site("garden.toml:4: zones[1].pin = 99: no such pin; use 2 to 27")
    kept.pass_time(60)
    assert kept.lit
    assert kept.keeper.status().refused == "garden.toml:4: zones[1].pin = 99: no such pin; use 2 to 27"
    (refused,) = kept.ledger.events(EventKind.SITE_REFUSED)
    assert refused.words == kept.keeper.status().refused
    kept.change(JETTY)
    assert kept.keeper.status().refused is None


def test_a_site_that_cannot_be_planned_leaves_all_as_it_was() -> None:
    """The rules of its time zone are gone from this machine: the change raises, the old site is kept."""
    kept = Kept(at_utc=at("21:30"))
    with pytest.raises(ValueError, match="not a time zone"):
        kept.keeper.change_site(
            site(ORCHARD).model_copy(update={"time_zone": "Europe/Nowhere"}), words="changed"
        )
    kept.pass_time(60)
    assert kept.lit
    assert [each.zone for each in kept.keeper.status().zones] == ["jetty"]
    assert kept.ledger.events(EventKind.SITE_CHANGED) == []


@pytest.mark.parametrize("time_zone", ["Asia/Tokyo", "Pacific/Kiritimati"])
def test_the_time_zone_of_the_site_is_changed_while_lit(time_zone: str) -> None:
    """Right by the new zone in the next round: nine in the evening is another instant there."""
    kept = Kept(at_utc=at("21:30"))
    kept.change(JETTY, time_zone=time_zone)
    kept.pass_time(5)
    assert not kept.lit
    kept.pass_until(at("12:30" if time_zone == "Asia/Tokyo" else "07:30", day=6))
    assert kept.lit


def test_new_time_zone_data_is_used_from_the_next_round_on() -> None:
    """The same site by other rules: what was lit by the old ones goes dark."""
    kept = Kept(at_utc=at("21:30"))
    kept.keeper.change_site(kept.keeper.site, words="new time zone data", tz=ZoneInfo("Asia/Tokyo"))
    kept.pass_time(5)
    assert not kept.lit
    assert kept.keeper.planner.tz.key == "Asia/Tokyo"


def test_the_relays_of_another_board_are_used_from_the_next_round_on() -> None:
    """Those in use are put out and let go; the others are lit once they have rested."""
    kept = Kept(two(relays=GENTLE["relays"]), at("21:30"))
    kept.pass_time(30)
    kept.keeper.override("orchard", on=False)
    kept.pass_time(30)
    jetty, orchard = kept.board.pin(17), kept.board.pin(27)
    kept.board = Board(kept.clock)
    kept.keeper.change_relays(Relays(lambda: kept.board))
    assert [level for _, level in jetty.levels] == [0, 1]
    assert [jetty.function, orchard.function] == ["input", "input"]
    kept.reconcile()
    assert kept.board.levels(17) == [1]
    kept.pass_time(2)
    assert (kept.board.levels(17), kept.board.levels(27)) == ([1, 0], [1])
    off = kept.ledger.of(Switching)[-2]
    assert (off.zone, off.on, off.cause, off.words) == (
        "jetty", False, Cause.SITE_CHANGED, "the relays are on another board",
    )  # fmt: skip
    assert [on for _, on in kept.ledger.switchings()] == [True, False, True]
    assert kept.keeper.overrides.keys() == {"orchard"}


def test_a_fault_of_a_relay_is_forgotten_with_its_board() -> None:
    """The relay of the other board is tried at once, and nothing is said to work again."""
    kept = Kept(two(), at("21:30"), trouble={17: "gone"})
    assert kept.zone().fault is not None
    kept.board = Board(kept.clock)
    kept.keeper.change_relays(Relays(lambda: kept.board))
    kept.reconcile()
    assert kept.lit
    assert kept.zone().fault is None
    assert kept.ledger.events(EventKind.RELAY_RECOVERED) == []
