"""A keeper whose clock hands set and people vouch for, over restarts and boots, with a real journal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

import pytest

from controller.clock.clock import SteppedClock
from controller.clock.trust import RELEASED_UTC, ClockTrust, Evidence
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.records.entries import EventKind
from controller.records.reading import Reading
from controller.relays import Relays
from tests.controller.kept import PROGRAM, Board, at
from tests.sites import site, zone

HOUR = timedelta(hours=1)
LIT_AT, DARK_AT = at("21:30"), at("23:00")
# Half past nine in London, which had summer time all that year.
EVENING_1970 = datetime(1970, 1, 5, 20, 30, tzinfo=UTC)
A_MOMENT = timedelta(seconds=2)


class JudgedClock(SteppedClock):
    """A clock that moves as a test wants, and is judged by the program's own rules."""

    def __init__(self, utc: datetime) -> None:
        super().__init__(utc)
        self.evidence = Evidence()

    def begin(self, believe: Literal["synchronised", "always"], past: PreviousRun) -> None:
        """Know what a new process knows: the site file, and the journal."""
        self.rules = ClockTrust(
            believe=believe,
            floor_utc=past.last_instant_utc or RELEASED_UTC,
            found_earlier=past.trusted_boot_id == self.boot_id,
        )
        if past.confirmed is not None and past.confirmed.boot_id == self.boot_id:
            self.rules.restore_confirmation(past.confirmed.utc, past.confirmed.boot_s)

    def read(self) -> Reading:
        self.trusted, self.trust = self.rules.evaluate(self.utc, self.evidence, boot_s=self.boot_s)
        if self.trusted:
            self.rules.raise_floor(self.utc)
        return super().read()

    def confirm(self) -> Reading:
        self.rules.confirm(self.utc, self.boot_s)
        return self.read()


class Garden:
    """A garden whose clock nothing keeps right but people."""

    def __init__(self, state: Path, believe: Literal["synchronised", "always"] = "synchronised") -> None:
        self.state, self.believe = state, believe
        self.clock = JudgedClock(LIT_AT)
        self.site = site(zone("jetty", PROGRAM), relays={"rest_s": 0.0, "stagger_s": 0.0})
        self.begin()

    def begin(self) -> None:
        """Start the program."""
        self.board = Board(self.clock)
        self.journal = Journal(self.state)
        past = self.journal.previous_run() or PreviousRun()
        self.clock.begin(self.believe, past)
        relays = Relays(lambda: self.board)
        self.keeper = Keeper(self.site, clock=self.clock, relays=relays, journal=self.journal, past=past)
        self.look()

    def look(self, after: timedelta = timedelta(0), *, set_by: timedelta = timedelta(0)) -> bool:
        """Make a round some time later, the clock set meanwhile; say whether the zone is lit."""
        self.clock.advance(after.total_seconds())
        self.clock.step(set_by.total_seconds())
        self.keeper.reconcile()
        self.journal.flush(self.clock.read())
        return self.keeper.status().zones[0].lit

    def set_to(self, utc: datetime) -> bool:
        """Have a hand set the clock."""
        return self.look(A_MOMENT, set_by=utc - A_MOMENT - self.clock.utc)

    def confirm(self) -> bool:
        self.keeper.confirm_clock(self.clock.utc)
        return self.look()

    def restart(self, *, off: timedelta = timedelta(seconds=5), set_by: timedelta = timedelta(0)) -> bool:
        """Stop the program and start it again in the same boot."""
        self.keeper.stop()
        self.journal.flush()
        self.journal.close()
        self.clock.advance(off.total_seconds())
        self.clock.step(set_by.total_seconds())
        self.begin()
        return self.look()

    def reboot(self, utc: datetime) -> bool:
        """Lose the power; the board wakes up at some time of its own."""
        self.journal.close()
        self.clock.reboot(utc=utc)
        self.begin()
        return self.look()

    def told(self, *kinds: EventKind) -> list[str]:
        """Give the kinds of events in the journal, of some kinds, as they were written."""
        self.journal.flush()
        events = sorted(
            JournalReader(self.state).events(), key=lambda each: (each.at.boot_id, each.at.boot_s)
        )
        return [each.kind.value for each in events if each.kind in kinds]


ABOUT_TRUST = (EventKind.CLOCK_CONFIRMED, EventKind.CLOCK_TRUSTED, EventKind.CLOCK_NOT_TRUSTED)


@pytest.fixture
def garden(tmp_path: Path) -> Iterator[Garden]:
    garden = Garden(tmp_path)
    yield garden
    garden.journal.close()


@pytest.mark.parametrize("wrong_by", [HOUR, timedelta(days=366), timedelta(days=9000)], ids=str)
def test_a_slip_of_the_hand_does_not_keep_an_always_believed_garden_dark(tmp_path: Path, wrong_by) -> None:
    """Typed wrong and corrected, and the program started again after each: lit by what the clock says."""
    garden = Garden(tmp_path, believe="always")
    assert garden.look()
    garden.set_to(LIT_AT + wrong_by)
    assert garden.set_to(LIT_AT + timedelta(minutes=1))
    garden.set_to(LIT_AT + wrong_by)
    garden.restart()
    assert garden.set_to(LIT_AT + timedelta(minutes=2))
    assert garden.restart()
    garden.set_to(LIT_AT + wrong_by)
    assert garden.reboot(LIT_AT)
    garden.journal.close()


def test_an_always_believed_garden_lights_by_1970_and_says_so(tmp_path: Path) -> None:
    """The owner wrote it: the program is followed, and the status says what is wrong."""
    garden = Garden(tmp_path, believe="always")
    assert garden.set_to(EVENING_1970)
    words = garden.keeper.status().words
    assert words.startswith(
        "lit: jetty; believed because the site file says so, but the clock says 1970-01-05"
    )
    assert "set the clock and confirm it (leerie clock SITE.toml --confirm)" in words
    garden.journal.close()


def test_light_by_a_clock_of_1970_comes_to_its_night_once_the_clock_is_set(tmp_path: Path) -> None:
    """The journal knows better than to take 1970 for true: its history begins, and the run lies, in 2027."""
    garden = Garden(tmp_path, believe="always")
    assert garden.reboot(EVENING_1970)
    assert not garden.look(HOUR)
    assert not garden.set_to(LIT_AT + timedelta(days=3, hours=2))
    reader = JournalReader(tmp_path)
    assert reader.began_at() == LIT_AT
    (_, by_1970) = reader.runs()
    assert (by_1970.on_utc, by_1970.lit_s) == (LIT_AT + timedelta(days=3, hours=1) - A_MOMENT, 3600.0)
    assert by_1970.trusted
    garden.journal.close()


def test_a_held_garden_says_how_to_confirm_and_follows_its_program_from_then_on(garden: Garden) -> None:
    """Held, with what to do; confirmed, lit at once; and the journal has both."""
    assert not garden.look()
    assert garden.keeper.status().words == (
        "Lights held: the clock is not set. Connect the network, or confirm the time "
        "(leerie clock SITE.toml --confirm)"
    )
    assert garden.confirm()
    status = garden.keeper.status()
    assert (status.at.trust, status.trust_since.utc, status.words) == (
        "confirmed by a person",
        LIT_AT,
        "lit: jetty",
    )
    assert not garden.look(DARK_AT - LIT_AT)
    assert garden.look(timedelta(days=1) - (DARK_AT - LIT_AT))
    assert garden.told(*ABOUT_TRUST) == ["clock not trusted", "clock confirmed"]


@pytest.mark.parametrize("off_s", [-61.0, 61.0, 3600.0, -86_400.0 * 365])
def test_a_person_who_sees_another_time_confirms_nothing(garden: Garden, off_s: float) -> None:
    """More than a minute off, nothing is trusted or recorded, and both times are said."""
    with pytest.raises(
        ValueError, match=r"the board's clock says 2027-01-05 21:30:00, and you see .* set the"
    ):
        garden.keeper.confirm_clock(LIT_AT + timedelta(seconds=off_s))
    assert not garden.look()
    garden.keeper.confirm_clock(LIT_AT + timedelta(seconds=59 if off_s > 0 else -59))
    assert garden.look()
    assert garden.told(*ABOUT_TRUST) == ["clock not trusted", "clock confirmed"]


def test_nobody_can_confirm_1970(garden: Garden) -> None:
    """The refusal says to set the clock first."""
    garden.set_to(EVENING_1970)
    with pytest.raises(ValueError, match=r"the clock says 1970-01-05, .* set the clock and confirm it"):
        garden.confirm()
    assert not garden.look()


def test_a_confirmation_survives_restarts_of_the_program_and_not_of_the_board(garden: Garden) -> None:
    """In the same boot it counts from when it was given; another boot's clock nobody has vouched for."""
    assert garden.confirm()
    for _ in range(2):
        assert garden.restart()
        assert garden.keeper.status().at.trust == "confirmed by a person"
        assert garden.keeper.status().trust_since.utc == LIT_AT
    assert not garden.reboot(LIT_AT + timedelta(minutes=10))
    assert "the clock is not set" in garden.keeper.status().words
    assert garden.confirm()


@pytest.mark.parametrize("set_by", [HOUR, -HOUR, timedelta(seconds=90)], ids=str)
@pytest.mark.parametrize("while_stopped", [False, True])
def test_a_clock_that_a_hand_sets_is_no_longer_the_one_that_was_confirmed(
    garden: Garden, set_by: timedelta, while_stopped: bool
) -> None:
    """Running or not, the lights are held until somebody confirms the new time, also over a restart."""
    assert garden.confirm()
    lit = garden.restart(set_by=set_by) if while_stopped else garden.look(A_MOMENT, set_by=set_by)
    assert not lit
    assert "confirm the time" in garden.keeper.status().words
    assert not garden.restart()
    garden.set_to(LIT_AT + timedelta(minutes=15))
    assert garden.confirm()
    assert garden.restart()


def test_the_network_takes_over_and_keeps_its_trust_over_a_restart(garden: Garden) -> None:
    """It corrects what a person confirmed by 40 s, and goes: the clock is the network's, also later."""
    assert garden.confirm()
    garden.clock.evidence = Evidence(synchronised=True)
    assert garden.look(A_MOMENT, set_by=timedelta(seconds=40))
    garden.clock.evidence = Evidence()
    assert garden.restart()
    assert garden.keeper.status().at.trust == "found right before, since the board started"
    assert garden.told(*ABOUT_TRUST) == ["clock not trusted", "clock confirmed", "clock trusted"]


def test_the_network_that_answers_during_a_restart_takes_over_too(garden: Garden) -> None:
    """The process starts with a clock that the network has set: no later one asks for the person again."""
    assert garden.confirm()
    garden.clock.evidence = Evidence(synchronised=True)
    assert garden.restart(set_by=timedelta(seconds=40))
    garden.clock.evidence = Evidence()
    assert garden.restart()
    assert garden.told(*ABOUT_TRUST)[-2:] == ["clock confirmed", "clock trusted"]


def test_a_confirmed_time_is_believed_against_a_journal_from_the_future(tmp_path: Path) -> None:
    """A year typed wrong and believed, then a person, then a hardware clock in a later boot."""
    garden = Garden(tmp_path, believe="always")
    garden.set_to(LIT_AT + timedelta(days=365))
    garden.believe = "synchronised"
    garden.clock.evidence = Evidence(hardware=True)
    assert not garden.reboot(LIT_AT)
    assert "before the last entry of the journal" in garden.keeper.status().words
    assert garden.confirm()
    assert garden.restart()
    assert garden.reboot(LIT_AT + timedelta(minutes=20))
    assert garden.keeper.status().at.trust == "set from the hardware clock"
    garden.journal.close()


def test_a_journal_that_is_begun_anew_is_told_that_a_person_confirmed_the_clock(garden: Garden) -> None:
    """Its file deleted while the keeper runs: the next start still knows of the confirmation."""
    assert garden.confirm()
    for path in garden.state.glob("journal.sqlite*"):
        path.unlink()
    garden.look(timedelta(minutes=1))
    assert garden.told(*ABOUT_TRUST) == ["clock confirmed"]
    assert garden.restart()
    assert garden.keeper.status().at.trust == "confirmed by a person"
    assert not garden.look(A_MOMENT, set_by=HOUR)


def test_a_confirmation_is_found_in_a_journal_that_could_not_be_read_at_the_start(garden: Garden) -> None:
    """The program starts without its journal; once that can be read, what was confirmed counts again."""
    assert garden.confirm()
    garden.keeper.stop()
    garden.journal.flush()
    past = garden.journal.previous_run()
    garden.journal.close()
    garden.clock.advance(60)
    garden.journal = Journal(garden.state)
    garden.clock.begin("synchronised", PreviousRun())
    garden.board = Board(garden.clock)
    relays = Relays(lambda: garden.board)
    garden.keeper = Keeper(garden.site, clock=garden.clock, relays=relays, journal=garden.journal)
    assert not garden.look()
    assert past is not None
    assert past.confirmed is not None
    garden.clock.rules.restore_confirmation(past.confirmed.utc, past.confirmed.boot_s)
    garden.keeper.adopt_previous_run(past)
    assert garden.look()
    assert garden.restart()
    assert garden.keeper.status().at.trust == "confirmed by a person"
