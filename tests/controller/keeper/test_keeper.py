"""The keeper: every relay is what it must be, whenever a round is made, and what happened is told once."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest

from config.errors import UnknownZoneError
from controller.keeper.keeper import TICK_S, Keeper
from controller.keeper.recorder import BEAT_S
from controller.planning.decision import decide as really_decide
from controller.records.entries import Cause, EventKind, Heartbeat, Override, OverrideEnded, Switching
from controller.relays import Relays
from tests.controller.kept import DAY, PROGRAM, Board, Kept, Ledger, at, two
from tests.sites import site, zone


def test_an_evening_from_beginning_to_end() -> None:
    """Lit at nine, dark at ten, to the instant; a round at least every tick, and nothing else is told."""
    kept = Kept()
    while kept.clock.utc < at("23:00"):
        assert 0 < kept.due_in_s <= TICK_S
        kept.clock.advance(kept.due_in_s)
        kept.reconcile()
    assert kept.ledger.switchings() == [("21:00:00", True), ("22:00:00", False)]
    assert kept.board.levels(17) == [1, 0, 1]
    assert [boot_s for boot_s, _ in kept.board.pin(17).levels] == [60, 60 + 6 * 3600, 60 + 7 * 3600]
    lit, dark = kept.ledger.of(Switching)
    assert (lit.cause, lit.words) == (Cause.PROGRAM, f"{PROGRAM}, every night")
    assert (dark.cause, dark.words) == (Cause.PROGRAM, f"{PROGRAM} is over, every night")


@pytest.mark.parametrize(
    ("clock_time", "lit"), [("20:59:59", False), ("21:00", True), ("21:59:59", True), ("22:00", False)]
)
def test_a_start_at_any_moment_is_right_at_once(clock_time: str, lit: bool) -> None:
    """In the middle of a window, and at its very edges, the first round makes the relay right."""
    kept = Kept(at_utc=at(clock_time))
    assert kept.lit is lit
    assert kept.board.levels(17) == [0 if lit else 1]
    assert len(kept.ledger.of(Switching)) == int(lit)


def test_rounds_at_odd_moments_do_no_harm() -> None:
    """Ten rounds a second switch nothing that one round would not."""
    kept = Kept(at_utc=at("20:59:58"))
    for _ in range(40):
        kept.clock.advance(0.1)
        kept.reconcile()
    assert kept.ledger.switchings() == [("21:00:00", True)]


def test_a_round_that_was_missed_for_hours_loses_nothing_but_the_time() -> None:
    """However late a round comes, it makes the relay what it must be by then."""
    kept = Kept(at_utc=at("20:00"))
    kept.clock.advance(1.5 * 3600)
    kept.reconcile()
    assert kept.lit
    kept.clock.advance(24 * 3600)  # from the middle of one window to the middle of the next
    kept.reconcile()
    assert kept.ledger.switchings() == [("21:30:00", True)]


def test_a_zone_out_of_service_stays_dark_and_says_why() -> None:
    """In the middle of its window, and against an override."""
    kept = Kept(site(zone("jetty", PROGRAM, out_of_service="cable dug up")), at("21:30"))
    kept.keeper.override("jetty", on=True)
    kept.pass_time(60)
    assert not kept.lit
    assert kept.decision().cause is Cause.OUT_OF_SERVICE
    assert kept.decision().words == "out of service: cable dug up"
    assert kept.ledger.of(Switching) == []


def test_a_zone_taken_out_of_service_while_lit_goes_dark_and_comes_back() -> None:
    """Whoever writes it into the site file can rely on it at once."""
    kept = Kept(at_utc=at("21:30"))
    kept.change(zone("jetty", PROGRAM, out_of_service="cable dug up"))
    kept.pass_time(5)
    assert not kept.lit
    assert kept.ledger.of(Switching)[-1].cause is Cause.OUT_OF_SERVICE
    kept.change(zone("jetty", PROGRAM))
    kept.pass_time(5)
    assert kept.lit


def test_what_somebody_wants_is_done_in_the_next_round_and_told() -> None:
    """An override lights the zone by day, and the program takes over at its own next change."""
    kept = Kept()
    override = kept.keeper.override("jetty", on=True, by="command line")
    kept.reconcile()
    assert kept.lit
    assert (override.by, override.ends_at_utc, override.placed_at.utc) == ("command line", at("21:00"), DAY)
    assert kept.keeper.overrides == {"jetty": override}
    assert kept.ledger.of(Override) == [override]
    assert kept.zone().override == override
    kept.pass_until(at("21:30"))
    assert kept.lit  # by now because of the program: no switching came between
    assert kept.decision().cause is Cause.PROGRAM
    assert kept.keeper.overrides == {}
    (end,) = kept.ledger.of(OverrideEnded)
    assert (end.at.utc, end.words) == (at("21:00"), "its time was over")
    kept.pass_until(at("22:30"))
    assert kept.ledger.switchings() == [("15:00:00", True), ("22:00:00", False)]


def test_an_override_ends_at_its_very_instant() -> None:
    """A round a moment before the end keeps it, the round at the end is the program's."""
    kept = Kept()
    kept.keeper.override("jetty", on=True, ends_at_utc=DAY + timedelta(minutes=10))
    kept.reconcile()
    kept.clock.advance(599.999)
    kept.reconcile()
    assert kept.lit
    assert kept.due_in_s == pytest.approx(0.001)
    kept.clock.advance(kept.due_in_s)
    kept.reconcile()
    assert not kept.lit
    assert kept.ledger.switchings() == [("15:00:00", True), ("15:10:00", False)]


def test_a_length_of_time_is_not_touched_by_a_step_of_the_clock() -> None:
    """Ten minutes are ten minutes, though the clock is set forward by a week meanwhile."""
    kept = Kept()
    kept.keeper.override("jetty", on=True, lasts_s=600)
    kept.pass_time(300)
    kept.clock.step(7 * 86_400)
    kept.pass_time(299)
    assert kept.lit
    kept.pass_time(1)
    assert not kept.lit


def test_a_newer_override_takes_the_place_of_an_older_one() -> None:
    """On, then off: one override is in force, and both are told."""
    kept = Kept(at_utc=at("21:30"))
    kept.keeper.override("jetty", on=True, lasts_s=600)
    second = kept.keeper.override("jetty", on=False, lasts_s=60)
    kept.pass_time(10)
    assert not kept.lit
    assert kept.keeper.overrides == {"jetty": second}
    assert len(kept.ledger.of(Override)) == 2
    kept.pass_time(60)
    assert kept.lit


def test_an_override_that_is_lifted_gives_the_zone_back_to_its_program() -> None:
    """Lifting says whether there was one, and who lifted it."""
    kept = Kept(at_utc=at("21:30"))
    kept.keeper.override("jetty", on=False)
    kept.pass_time(5)
    assert not kept.lit
    assert kept.keeper.lift_override("jetty", by="command line") is True
    kept.pass_time(5)
    assert kept.lit
    assert kept.ledger.of(OverrideEnded)[0].words == "lifted by command line"
    assert kept.keeper.lift_override("jetty") is False
    assert len(kept.ledger.of(OverrideEnded)) == 1


def test_an_override_that_is_refused_changes_nothing() -> None:
    """An instant by an untrusted clock, an end that is over, a zone that is not there: nothing is placed."""
    kept = Kept(trusted=False)
    with pytest.raises(ValueError, match="say for how long"):
        kept.keeper.override("jetty", on=True, ends_at_utc=at("16:00"))
    with pytest.raises(ValueError, match="more than 0 s"):
        kept.keeper.override("jetty", on=True, lasts_s=-1)
    with pytest.raises(UnknownZoneError):
        kept.keeper.override("pond", on=True)
    with pytest.raises(UnknownZoneError):
        kept.keeper.lift_override("pond")
    kept.reconcile()
    assert (kept.keeper.overrides, kept.ledger.of(Override), kept.lit) == ({}, [], False)


def test_before_the_clock_is_trusted_only_an_override_gives_light() -> None:
    """In the middle of the window: dark but for as long as somebody asked, lit once the time is known."""
    kept = Kept(at_utc=at("21:05"), trusted=False, trust="the clock is not set")
    assert not kept.lit
    assert kept.decision().cause is Cause.CLOCK_NOT_TRUSTED
    assert kept.keeper.status().words == "Lights held: the clock is not set"
    kept.keeper.override("jetty", on=True, lasts_s=60)
    kept.pass_time(59)
    assert kept.lit
    kept.pass_time(60)
    assert not kept.lit
    kept.clock.trusted = True
    kept.reconcile()
    assert kept.lit
    assert [entry.at.trusted for entry in kept.ledger.of(Switching)] == [False, False, True]


def test_a_clock_that_falls_from_trust_puts_the_program_out() -> None:
    """Lit by the program when the clock turns out wrong: dark, and told since when."""
    kept = Kept(at_utc=at("21:05"))
    kept.clock.trusted = False
    kept.clock.step(-40 * 365 * 86_400)
    kept.pass_time(5)
    assert not kept.lit
    assert kept.ledger.of(Switching)[-1].cause is Cause.CLOCK_NOT_TRUSTED
    assert len(kept.ledger.events(EventKind.CLOCK_NOT_TRUSTED)) == 1
    assert kept.keeper.status().trust_since.trusted is False


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 180 * 86_400.0, -1.5])
def test_a_step_of_the_clock_is_told_with_its_size_and_followed(step_s: float) -> None:
    """Whatever the wall clock is set to, the relay is right for it in the next round."""
    kept = Kept(at_utc=at("21:30"))
    kept.pass_time(10)
    kept.clock.step(step_s)
    kept.pass_time(5)
    (step,) = kept.ledger.events(EventKind.CLOCK_STEPPED)
    assert step.size_s == pytest.approx(step_s)
    assert step.zone is None
    assert kept.lit is (abs(step_s) < 1800)


def test_a_clock_that_runs_on_is_no_step() -> None:
    """Hours of rounds, and a slow drift of the network's making, tell of none."""
    kept = Kept()
    for _ in range(2000):
        kept.clock.advance(30)
        kept.clock.step(0.015)
        kept.reconcile()
    assert kept.ledger.events(EventKind.CLOCK_STEPPED, EventKind.RESUMED) == []


def test_a_suspend_is_told_with_its_length() -> None:
    """A round that comes minutes late means that the board slept."""
    kept = Kept()
    due_in_s = kept.due_in_s
    kept.clock.advance(3600)
    kept.reconcile()
    (resumed,) = kept.ledger.events(EventKind.RESUMED)
    assert resumed.size_s == pytest.approx(3600 - due_in_s)
    assert kept.ledger.events(EventKind.CLOCK_STEPPED) == []


def test_signs_of_life_come_while_something_is_lit_and_only_then() -> None:
    """One at once, then at most five minutes apart, so that a power cut loses no more; none in the dark."""
    kept = Kept(at_utc=at("20:00"))
    kept.pass_until(at("23:00"))
    instants = [beat.at.utc for beat in kept.ledger.of(Heartbeat)]
    assert instants[0] == at("21:00")
    gaps_s = [(later - earlier).total_seconds() for earlier, later in pairwise(instants)]
    assert all(BEAT_S <= gap_s <= 300 for gap_s in gaps_s)
    assert at("21:55") <= instants[-1] < at("22:00")


def test_a_journal_that_fails_is_told_once_and_its_recovery_once() -> None:
    """However many rounds it lasts; the lights do not care."""
    kept = Kept(at_utc=at("20:59"))
    kept.ledger.fault = "the disk is full"
    kept.ledger.waiting = 7
    kept.pass_until(at("21:30"))
    assert kept.lit
    assert [event.words for event in kept.ledger.events(EventKind.JOURNAL_FAULT)] == ["the disk is full"]
    status = kept.keeper.status()
    assert (status.journal_fault, status.waiting) == ("the disk is full", 7)
    assert status.words == "lit: jetty; journal: the disk is full, 7 waiting"
    kept.ledger.fault = None
    kept.pass_until(at("21:40"))
    assert len(kept.ledger.events(EventKind.JOURNAL_FAULT)) == 1
    assert [event.words for event in kept.ledger.events(EventKind.JOURNAL_RECOVERED)] == ["written again"]


def test_an_exception_in_one_zone_stays_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of our own in one zone's decision: told once, tried again, the other zone is kept as ever."""
    broken = [True]

    def decide(zone_id: str, *args: Any, **more: Any) -> Any:
        if zone_id == "jetty" and broken[0]:
            raise ZeroDivisionError("a slip of ours")
        return really_decide(zone_id, *args, **more)

    monkeypatch.setattr("controller.keeper.keeper.decide", decide)
    kept = Kept(two(), at("20:59"))
    kept.pass_until(at("21:10"))
    assert not kept.lit
    assert kept.is_lit(27)
    assert kept.ledger.switchings("orchard") == [("21:00:00", True)]
    (fault,) = kept.ledger.events(EventKind.RELAY_FAULT)
    assert (fault.zone, fault.words) == ("jetty", "cannot be kept: a slip of ours")
    broken[0] = False
    kept.pass_time(TICK_S)
    assert kept.lit
    assert len(kept.ledger.events(EventKind.RELAY_RECOVERED)) == 1


def test_stopping_puts_out_every_light_and_closes_every_run() -> None:
    """Pins are driven to their off level and let go; what was lit is told as stopped, and nothing else."""
    kept = Kept(two(programs=(PROGRAM, "23:00 to 23:30")), at("21:30"))
    pins = {number: kept.board.pin(number) for number in (17, 27)}
    assert kept.is_lit(17)
    kept.clock.advance(10)
    kept.keeper.stop()
    assert [level for _, level in pins[17].levels] == [0, 1]
    assert [level for _, level in pins[27].levels] == [1, 1]
    assert {pin.function for pin in pins.values()} == {"input"}
    last = kept.ledger.of(Switching)[-1]
    assert (last.zone, last.on, last.cause, last.at.utc) == ("jetty", False, Cause.STOPPED, at("21:30:10"))
    assert kept.ledger.switchings("orchard") == []
    (stopped,) = kept.ledger.events(EventKind.STOPPED)
    assert kept.ledger.entries[-1] is stopped


def test_stopping_with_a_relay_that_does_not_answer_puts_out_the_others() -> None:
    """One fault at the end stops neither the others nor the account."""
    kept = Kept(two(), at("21:30"))
    pin = kept.board.pin(27)
    kept.board.trouble[17] = "set"
    kept.keeper.stop()
    assert [level for _, level in pin.levels] == [0, 1]
    assert len(kept.ledger.events(EventKind.STOPPED)) == 1


def test_nothing_is_touched_before_the_first_round() -> None:
    """A keeper that was only made has opened no board and shows no zone."""
    asked: list[int] = []

    def factory() -> Board:
        asked.append(1)
        return Board()

    kept = Kept()
    ledger = Ledger()
    keeper = Keeper(site(), clock=kept.clock, relays=Relays(factory), journal=ledger)
    assert (asked, keeper.status().zones) == ([], ())
    assert [event.kind for event in ledger.events(*EventKind)][:1] == [EventKind.STARTED]


def test_the_load_of_the_time_stands_beside_a_switching() -> None:
    """What the zone draws by its papers is written with each change, and where the figure comes from."""
    kept = Kept(site(zone("jetty", PROGRAM, rated_watts=40)), at("21:30"))
    kept.change(zone("jetty", PROGRAM, measured_watts=36.5))
    kept.pass_until(at("22:30"))
    lit, dark = kept.ledger.of(Switching)
    assert (lit.load_w, lit.load_from) == (40, "rated")
    assert (dark.load_w, dark.load_from) == (36.5, "measured")


def test_the_status_says_what_is_lit_in_one_line() -> None:
    """For the service manager and the log: names, not ids; faults beside them."""
    zones = (zone("jetty", PROGRAM, name="Jetty and steps"), zone("pond", PROGRAM, pin=22))
    kept = Kept(site(*zones), at("20:00"))
    assert kept.keeper.status().words == "all dark"
    kept.board.trouble[22] = "open, set"
    kept.pass_until(at("21:10"))
    words = kept.keeper.status().words
    assert words.startswith("lit: Jetty and steps; pond: pin 22 cannot be switched")
    lit_since = kept.zone().lit_since
    assert lit_since is not None
    assert lit_since.utc == at("21:00")
