"""The keeper over restarts, kills and power cuts, with a real journal between its lives."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import freezegun
import pytest

from config.models.site import Site
from controller.clock.clock import SteppedClock, SystemClock
from controller.clock.evidence import ClockEvidence
from controller.clock.trust import IMPOSSIBLE, RELEASED_UTC, Evidence
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.records.entries import Cause, Event, EventKind
from controller.records.past import PastOverride, Run
from controller.relays import Relays
from tests.controller.kept import DAY, PROGRAM, Board, at, two
from tests.sites import site, zone


class Lives:
    """One board and its journal, through several lives of the keeper."""

    def __init__(self, state: Path) -> None:
        self.state = state
        self.clock = SteppedClock(DAY)
        self.site = site(zone("jetty", PROGRAM), relays={"rest_s": 0.0, "stagger_s": 0.0})

    def begin(self, a_site: Site | None = None) -> None:
        """Start, as the daemon does."""
        self.site = a_site or self.site
        self.board = Board(self.clock)
        self.journal = Journal(self.state)
        self.past = self.journal.previous_run()
        self.keeper = Keeper(
            self.site,
            clock=self.clock,
            relays=Relays(lambda: self.board),
            journal=self.journal,
            past=self.past,
        )
        self.due_in_s = self.keeper.reconcile()
        self.journal.flush()

    def pass_until(self, at_utc: datetime) -> None:
        while self.clock.utc < at_utc:
            self.clock.advance(min(self.due_in_s, (at_utc - self.clock.utc).total_seconds()))
            self.due_in_s = self.keeper.reconcile()
            self.journal.flush()

    def stop(self) -> None:
        """End as asked."""
        self.keeper.stop()
        self.journal.flush()
        self.journal.close()

    def cut(self) -> None:
        """End without a word: nothing more is written."""
        self.journal.close()

    def restart(self, *, off_s: float = 5.0) -> None:
        """Stop and start within one boot."""
        self.stop()
        self.clock.advance(off_s)
        self.begin()

    @property
    def lit(self) -> bool:
        return self.board.is_output(17) and not self.board.pin(17)._state

    @property
    def runs(self) -> list[Run]:
        return list(JournalReader(self.state).runs())

    @property
    def overrides(self) -> list[PastOverride]:
        return list(JournalReader(self.state).overrides())

    def events(self, *kinds: EventKind) -> list[Event]:
        return [event for event in JournalReader(self.state).events() if event.kind in kinds]


GAPS = (EventKind.POWER_LOST, EventKind.DIED)


@pytest.fixture
def lives(tmp_path: Path) -> Iterator[Lives]:
    lives = Lives(tmp_path / "state")
    yield lives
    lives.journal.close()


# -- restarts ------------------------------------------------------------------------------------------------


def test_a_relay_rests_across_a_restart_in_one_boot(lives: Lives) -> None:
    """A relay that was switched just before the end waits out its rest, to the fraction of a millisecond."""
    lives.clock = SteppedClock(at("21:20"), boot_s=1000.0004)
    lives.begin(site(zone("jetty", PROGRAM), relays={"rest_s": 30.0, "stagger_s": 0.0}))
    assert lives.lit
    lives.restart(off_s=10)
    assert not lives.lit
    lives.pass_until(at("21:20") + timedelta(seconds=29.9998))
    assert not lives.lit
    lives.pass_until(at("21:20") + timedelta(seconds=30.001))
    assert lives.lit


def test_a_relay_that_somebody_closed_just_before_a_stop_rests_after_it(lives: Lives) -> None:
    """The stop opens it, which the journal has, with how it was found; so the next start knows of it."""
    lives.clock = SteppedClock(at("20:59:50"), boot_s=1000)
    lives.begin(site(zone("jetty", PROGRAM, pin=17), relays={"rest_s": 30.0, "stagger_s": 0.0}))
    lives.board.pin(17)._change_state(False)  # low is lit
    lives.restart(off_s=5)
    lives.pass_until(at("21:00:15"))
    assert not lives.lit
    lives.pass_until(at("21:00:21"))
    assert lives.lit


def test_a_relay_rests_across_a_restart_also_where_its_zone_comes_back_later(lives: Lives) -> None:
    """A site file that was half written at the start lacks a zone; its relay has moved all the same."""
    whole = site(
        zone("orchard", PROGRAM, pin=27),
        zone("jetty", PROGRAM, pin=17),
        relays={"rest_s": 30.0, "stagger_s": 0.0},
    )
    lives.clock = SteppedClock(at("21:20"), boot_s=1000)
    lives.begin(whole)
    lives.stop()
    lives.clock.advance(5)
    lives.begin(site(zone("orchard", PROGRAM, pin=27), relays={"rest_s": 30.0, "stagger_s": 0.0}))
    lives.keeper.change_site(whole, words="the site file was read again")
    lives.due_in_s = lives.keeper.reconcile()
    lives.pass_until(at("21:20") + timedelta(seconds=29.9))
    assert not lives.lit
    lives.pass_until(at("21:20") + timedelta(seconds=30.1))
    assert lives.lit


@pytest.mark.parametrize("ended", ["cut", "stop"])
def test_a_relay_rests_after_the_board_started(lives: Lives, ended: str) -> None:
    """Whatever switched it before a power cut, no relay comes on sooner than its rest after the start."""
    lives.clock = SteppedClock(at("21:20"), boot_s=1000)
    lives.begin(site(zone("jetty", PROGRAM), relays={"rest_s": 30.0, "stagger_s": 0.0}))
    assert lives.lit
    getattr(lives, ended)()
    lives.clock.reboot(off_s=1)
    lives.clock.advance(20)  # the board takes so long to start
    lives.begin()
    lives.pass_until(at("21:20") + timedelta(seconds=30.9))
    assert not lives.lit
    lives.pass_until(at("21:20") + timedelta(seconds=31.1))
    assert lives.lit


def test_a_restart_in_the_middle_of_a_window(lives: Lives) -> None:
    """Dark for as long as it was away, lit in the first round; two runs, and no gap to explain."""
    lives.clock = SteppedClock(at("21:20"))
    lives.begin()
    lives.pass_until(at("21:30"))
    lives.restart(off_s=20)
    assert lives.lit
    lives.pass_until(at("22:10"))
    first, second = lives.runs
    assert (first.lit_s, first.ended_by) == (600, Cause.STOPPED)
    assert (second.on_utc, second.off_utc, second.ended_by) == (at("21:30:20"), at("22:00"), Cause.PROGRAM)
    assert lives.events(*GAPS) == []
    assert len(lives.events(EventKind.STARTED)) == 2


def test_a_restart_over_the_off_time_leaves_it_dark(lives: Lives) -> None:
    """Stopped while lit, started after the window: nothing is lit, nothing is left open."""
    lives.clock = SteppedClock(at("21:30"))
    lives.begin()
    lives.restart(off_s=3600)
    assert not lives.lit
    assert [run.off_utc for run in lives.runs] == [at("21:30")]


def test_a_process_that_died_is_told_and_its_run_ends_at_the_last_sign_of_life(lives: Lives) -> None:
    """The boot goes on, so no power was lost: the run is closed as stopped, the event tells the gap."""
    lives.clock = SteppedClock(at("21:00"))
    lives.begin()
    lives.pass_until(at("21:12"))
    lives.cut()
    lives.clock.advance(30)
    lives.begin()
    assert lives.lit
    (event,) = lives.events(*GAPS)
    assert event.kind is EventKind.DIED
    first = lives.runs[0]
    assert first.ended_by is Cause.STOPPED
    assert first.off_utc is not None
    assert at("21:07") <= first.off_utc <= at("21:12")
    assert event.size_s == (at("21:12:30") - first.off_utc).total_seconds()


# -- overrides -----------------------------------------------------------------------------------------------


def test_an_override_without_a_time_outlives_a_restart_and_ends_with_the_programs_next_change(
    lives: Lives,
) -> None:
    """Asked for at three, stopped and started at four: still lit, until the program would light it anyway."""
    lives.begin()
    lives.keeper.override("jetty", on=True)
    lives.pass_until(at("16:00"))
    lives.restart()
    assert lives.lit
    override = lives.keeper.overrides["jetty"]
    assert override.ends_at_utc == at("21:00")
    lives.pass_until(at("22:10"))
    assert not lives.lit
    assert lives.keeper.overrides == {}
    (past,) = lives.overrides
    assert past.ended is not None
    assert (past.ended.at.utc, past.ended.words) == (at("21:00"), "its time was over")


def test_an_override_for_a_time_is_measured_on_through_a_restart(lives: Lives) -> None:
    """Two hours of the boot-time clock, though the wall clock is set meanwhile and the keeper was away."""
    lives.begin()
    lives.keeper.override("jetty", on=True, lasts_s=7200)
    lives.pass_until(at("16:00"))
    lives.stop()
    lives.clock.advance(60)
    lives.clock.step(-3 * 86_400)
    lives.begin()
    assert lives.lit
    lives.pass_until(lives.clock.utc + timedelta(seconds=3539))
    assert lives.lit
    lives.pass_until(lives.clock.utc + timedelta(seconds=1))
    assert not lives.lit


def test_an_override_until_an_instant_that_passed_meanwhile_is_over(lives: Lives) -> None:
    """Stopped before its end and started after it: not lit for a moment, and told as over."""
    lives.begin()
    lives.keeper.override("jetty", on=True, ends_at_utc=at("16:00"))
    lives.pass_until(at("15:30"))
    lives.restart(off_s=3600)
    assert lives.board.levels(17) == [1]
    assert lives.keeper.overrides == {}
    (past,) = lives.overrides
    assert past.ended is not None


def test_an_override_that_ended_during_a_power_cut_is_over(lives: Lives) -> None:
    """The board is off over its end."""
    lives.begin()
    lives.keeper.override("jetty", on=True, lasts_s=600)
    lives.pass_until(at("15:05"))
    lives.cut()
    lives.clock.reboot(off_s=3600)
    lives.begin()
    assert lives.board.levels(17) == [1]
    assert lives.keeper.overrides == {}


@pytest.mark.parametrize("override", [{}, {"lasts_s": 5400.0}, {"ends_at_utc": DAY + timedelta(minutes=90)}])
def test_an_override_goes_on_after_a_reboot_with_a_trusted_clock(
    lives: Lives, override: dict[str, Any]
) -> None:
    """Whatever its end, it is kept by the wall clock then."""
    lives.begin()
    placed = lives.keeper.override("jetty", on=True, **override)
    lives.pass_until(at("15:30"))
    lives.cut()
    lives.clock.reboot(off_s=600)
    lives.begin()
    assert lives.lit
    end_utc = placed.ends_at_utc or DAY + timedelta(seconds=5400)
    lives.pass_until(end_utc - timedelta(seconds=1))
    assert lives.lit
    lives.pass_until(end_utc)
    assert lives.keeper.overrides == {}


def test_an_override_waits_for_the_time_after_a_reboot_without_it(lives: Lives) -> None:
    """The board wakes in 1970: dark, the override kept; with the time known it goes on, or is over."""
    for known_utc, lit in ((at("15:40"), True), (at("16:40"), False)):
        lives.clock = SteppedClock(DAY)
        lives.state = lives.state.with_name(f"state-{lit}")
        lives.begin()
        lives.keeper.override("jetty", on=True, lasts_s=3600)
        lives.pass_until(at("15:30"))
        lives.cut()
        lives.clock.trusted = False
        lives.clock.reboot(utc=datetime(1970, 1, 1, tzinfo=UTC))
        lives.begin()
        assert not lives.lit
        assert "jetty" in lives.keeper.overrides
        lives.clock.advance(60)
        lives.clock.step((known_utc - lives.clock.utc).total_seconds())
        lives.clock.trusted = True
        lives.keeper.reconcile()
        assert lives.lit is lit
        lives.journal.close()


def test_an_override_of_a_zone_that_went_meanwhile_is_ended(lives: Lives) -> None:
    """The site file was edited while the keeper was away."""
    lives.begin(two())
    lives.keeper.override("orchard", on=True)
    lives.stop()
    lives.begin(site(zone("jetty", PROGRAM)))
    lives.journal.flush()
    (past,) = lives.overrides
    assert past.ended is not None
    assert past.ended.words == "the zone was removed"


def test_an_override_lifted_is_not_there_after_a_restart(lives: Lives) -> None:
    """What ended stays ended."""
    lives.begin()
    lives.keeper.override("jetty", on=True)
    lives.keeper.reconcile()
    lives.keeper.lift_override("jetty")
    lives.restart()
    assert lives.keeper.overrides == {}
    assert not lives.lit


# -- power cuts ----------------------------------------------------------------------------------------------


def test_a_power_cut_ends_the_run_at_the_last_sign_of_life(lives: Lives) -> None:
    """At most five minutes of light are lost to the account; the gap is told from that sign to the start."""
    lives.clock = SteppedClock(at("21:00"))
    lives.begin()
    lives.pass_until(at("21:23"))
    lives.cut()
    lives.clock.reboot(off_s=7 * 60)
    lives.begin()
    assert lives.lit
    run, again = lives.runs
    assert (run.ended_by, again.on_utc) == (Cause.POWER_LOST, at("21:30"))
    assert run.off_utc is not None
    assert at("21:18") <= run.off_utc <= at("21:23")
    (event,) = lives.events(*GAPS)
    assert event.kind is EventKind.POWER_LOST
    assert event.size_s == (at("21:30") - run.off_utc).total_seconds()


def test_a_power_cut_in_the_dark_is_told_too(lives: Lives) -> None:
    """Nothing was lit, so there is no run to close; that nobody kept the lights is told all the same."""
    lives.begin()
    lives.pass_until(at("16:00"))
    lives.cut()
    lives.clock.reboot(off_s=600)
    lives.begin()
    assert lives.runs == []
    assert [event.kind for event in lives.events(*GAPS)] == [EventKind.POWER_LOST]


def test_a_power_cut_is_told_once_the_clock_is_trusted(lives: Lives) -> None:
    """The board wakes months behind: how long it was dark can be said only later, and is said once."""
    lives.clock = SteppedClock(at("21:00"))
    lives.begin()
    lives.pass_until(at("21:23"))
    lives.cut()
    lives.clock.trusted = False
    lives.clock.reboot(utc=at("21:23") - timedelta(days=90))
    lives.begin()
    assert not lives.lit
    assert lives.runs[0].ended_by is Cause.POWER_LOST
    lives.pass_until(lives.clock.utc + timedelta(minutes=5))
    assert lives.events(*GAPS) == []
    lives.clock.step((at("21:40") - lives.clock.utc).total_seconds())
    lives.clock.trusted = True
    lives.keeper.reconcile()  # the step itself leads to one
    lives.pass_until(at("21:50"))
    assert lives.lit
    (event,) = lives.events(*GAPS)
    ended_utc = lives.runs[0].off_utc
    assert ended_utc is not None
    # Started five minutes before the time was known: the gap ends at the start, not at the learning.
    assert event.size_s == pytest.approx((at("21:35") - ended_utc).total_seconds())
    (trusted,) = lives.events(EventKind.CLOCK_TRUSTED)
    assert trusted.size_s == pytest.approx(300)
    assert len(lives.events(EventKind.CLOCK_STEPPED)) == 1


def test_a_gap_after_a_sign_that_was_not_trusted_has_no_length(lives: Lives) -> None:
    """Cut while the clock was not trusted: that the power was lost is told, for how long is not known."""
    lives.clock = SteppedClock(DAY, trusted=False)
    lives.begin()
    lives.cut()
    lives.clock.trusted = True
    lives.clock.reboot(off_s=600)
    lives.begin()
    (event,) = lives.events(*GAPS)
    assert (event.kind, event.size_s) == (EventKind.POWER_LOST, None)


def test_a_gap_by_a_clock_in_1970_that_is_always_believed_has_no_length(lives: Lives) -> None:
    """A garden without a network lights by the time that it has; that time measures nothing."""
    lives.begin()
    lives.pass_until(at("16:00"))
    lives.cut()
    lives.clock.trust = f"{IMPOSSIBLE}the clock says 1970-01-01"
    lives.clock.reboot(utc=datetime(1970, 1, 1, tzinfo=UTC))
    lives.begin()
    (event,) = lives.events(*GAPS)
    assert (event.kind, event.size_s) == (EventKind.POWER_LOST, None)


def test_no_gap_is_told_after_a_stop_or_in_a_new_journal(lives: Lives) -> None:
    """A board that was switched off in good order for the winter lost no power."""
    lives.begin()
    lives.stop()
    lives.clock.reboot(off_s=90 * 86_400)
    lives.begin()
    assert lives.events(*GAPS) == []


def test_two_cuts_in_a_row_are_told_twice(lives: Lives) -> None:
    """Each start closes what the one before it left."""
    lives.clock = SteppedClock(at("21:00"))
    lives.begin()
    for _ in range(2):
        lives.pass_until(lives.clock.utc + timedelta(minutes=6))
        lives.cut()
        lives.clock.reboot(off_s=60)
        lives.begin()
    assert [event.kind for event in lives.events(*GAPS)] == 2 * [EventKind.POWER_LOST]
    assert [run.ended_by for run in lives.runs] == [Cause.POWER_LOST, Cause.POWER_LOST, None]


# -- the clock of the machine itself -------------------------------------------------------------------------


class Found(ClockEvidence):
    """Finds what it is told to find."""

    def __init__(self, **found: Any) -> None:
        super().__init__()
        self._found = Evidence(**found)

    def collect(self, utc: datetime, boot_s: float) -> Evidence:
        return self._found


@pytest.mark.parametrize(
    ("now", "lit"),
    [
        ("2027-01-05T20:59:59", False),
        ("2027-01-05T21:00:00", True),
        ("2027-01-05T21:59:59", True),
        ("2027-01-05T22:00:00", False),
        ("2027-03-28T20:30:00", True),  # summer time began that morning: half past nine in London
        ("2027-03-27T20:30:00", False),
    ],
)
def test_a_keeper_goes_by_the_clock_of_the_machine(tmp_path: Path, now: str, lit: bool) -> None:
    """The one place that reads the real clock, frozen: the relay is what it must be at that instant."""
    board = Board()
    with freezegun.freeze_time(now):
        keeper = Keeper(
            site(zone("jetty", PROGRAM)),
            clock=SystemClock(floor_utc=RELEASED_UTC, evidence=Found(synchronised=True)),
            relays=Relays(lambda: board),
            journal=Journal(tmp_path),
        )
        keeper.reconcile()
    assert board.levels(17) == [0 if lit else 1]
    assert keeper.status().at.utc == datetime.fromisoformat(now).replace(tzinfo=UTC)


@pytest.mark.parametrize("believe", ["synchronised", "always"])
def test_a_clock_of_the_machine_that_is_behind_the_journal_lights_only_where_it_is_always_believed(
    tmp_path: Path, believe: Literal["synchronised", "always"]
) -> None:
    """A year behind the last trusted entry, though the hardware clock says the same: dark and why, or lit."""
    board = Board()
    past = PreviousRun(last_instant_utc=datetime(2028, 1, 5, 21, 30, tzinfo=UTC))
    assert past.last_instant_utc is not None
    with freezegun.freeze_time("2027-01-05T21:30:00"):
        keeper = Keeper(
            site(zone("jetty", PROGRAM)),
            clock=SystemClock(
                floor_utc=past.last_instant_utc, believe=believe, evidence=Found(hardware=True)
            ),
            relays=Relays(lambda: board),
            journal=Journal(tmp_path),
            past=past,
        )
        keeper.reconcile()
    if believe == "always":
        assert (board.levels(17), keeper.status().words) == ([0], "lit: jetty")
    else:
        assert board.levels(17) == [1]
        assert "the clock says 2027-01-05, before the last entry of the journal" in keeper.status().words
