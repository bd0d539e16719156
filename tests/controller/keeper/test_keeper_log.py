"""What the keeper's log tells a person: each switching and each override in one line."""

from __future__ import annotations

import logging
from zoneinfo import ZoneInfo

import pytest

from controller.journal.previous_run import PreviousRun
from controller.keeper.keeper import Keeper
from tests.controller.kept import PROGRAM, Kept, Ledger, at, two
from tests.sites import site, zone


@pytest.fixture
def log(caplog: pytest.LogCaptureFixture) -> pytest.LogCaptureFixture:
    """The log, with what is only news."""
    caplog.set_level(logging.INFO, logger="controller.keeper")
    return caplog


def test_each_switching_is_one_line_with_its_reason_and_its_end(log: pytest.LogCaptureFixture) -> None:
    """On and off by the program, by the clock of the site; nothing in the rounds between."""
    kept = Kept(site(zone("jetty", PROGRAM), time_zone="Europe/Oslo"), at("19:30"))
    kept.pass_until(at("21:30"))
    assert log.messages == [
        "zone jetty: on until 22:00 (21:00 to 22:00, every night)",
        "zone jetty: off until 21:00 (21:00 to 22:00 is over, every night)",
    ]


def test_an_end_a_day_or_more_away_has_its_date(log: pytest.LogCaptureFixture) -> None:
    """Lit until some other day."""
    kept = Kept(two(), at("15:00"))
    kept.keeper.override("jetty", on=True, lasts_s=30 * 3600)
    kept.reconcile()
    assert log.messages == [
        "zone jetty: override on until 2027-01-06 21:00, placed by api",
        "zone jetty: on until 2027-01-06 21:00 (somebody asked for light)",
    ]


def test_overrides_are_told_when_they_are_placed_lifted_and_over(log: pytest.LogCaptureFixture) -> None:
    """By whom and until when; an override that changes no light has a line of its own all the same."""
    kept = Kept(two(), at("21:30"))
    log.clear()
    kept.keeper.override("jetty", on=True, by="phone")
    kept.reconcile()
    kept.keeper.override("orchard", on=False, lasts_s=600)
    kept.reconcile()
    assert kept.keeper.lift_override("jetty", by="phone")
    kept.pass_time(600)
    assert log.messages == [
        "zone jetty: override on until 22:00, placed by phone",
        "zone orchard: override off until 21:40, placed by api",
        "zone orchard: off until 21:40 (somebody asked for dark)",
        "zone jetty: override ended: lifted by phone",
        "zone orchard: override ended: its time was over",
        "zone orchard: on until 22:00 (21:00 to 22:00, every night)",
    ]


def test_an_override_without_a_trusted_clock_has_a_length(log: pytest.LogCaptureFixture) -> None:
    """Nobody knows when it ends, but for how long it lasts."""
    kept = Kept(at_utc=at("21:30"), trusted=False)
    kept.keeper.override("jetty", on=True, lasts_s=5400)
    kept.reconcile()
    assert log.messages == [
        "zone jetty: override on for 90 min, placed by api",
        "zone jetty: on (somebody asked for light)",
    ]


def test_an_override_of_the_previous_run_is_told_at_the_start(log: pytest.LogCaptureFixture) -> None:
    """It is still in force, or its zone was removed."""
    kept = Kept(two(), at("20:00"))
    placed = (kept.keeper.override("jetty", on=True), kept.keeper.override("orchard", on=True))
    log.clear()
    Keeper(
        site(zone("jetty", PROGRAM)),
        clock=kept.clock,
        relays=kept.relays,
        journal=Ledger(),  # type: ignore[arg-type]
        past=PreviousRun(overrides=placed),
    )
    assert log.messages == [
        "zone jetty: override on until 21:00, still in force, placed by api",
        "zone orchard: override ended: the zone was removed",
    ]


def test_a_relay_that_something_else_switched_and_the_end_are_told(log: pytest.LogCaptureFixture) -> None:
    """What was found, what was done about it, and the lights that go out with the program."""
    kept = Kept(at_utc=at("21:30"))
    log.clear()
    kept.board.pin(17)._change_state(True)  # its relay opens on high
    kept.pass_time(30)
    kept.keeper.stop()
    assert log.messages == [
        "zone jetty: off (the relay was found dark)",
        "zone jetty: on until 22:00 (21:00 to 22:00, every night)",
        "zone jetty: off (Leerie was stopped)",
    ]


def test_what_becomes_of_the_site_file_is_told(log: pytest.LogCaptureFixture) -> None:
    """When it was changed, and that it was read; what that switches has its own line."""
    kept = Kept(at_utc=at("21:30"))
    log.clear()
    kept.keeper.change_site(kept.keeper.site, words="new time zone data", tz=ZoneInfo("Europe/London"))
    for changed in (True, False, True):
        kept.keeper.note_site_file(changed=changed)
    kept.change(zone("jetty", "20:00 to 21:00"))
    kept.pass_time(2)
    assert log.messages == [
        "new time zone data",
        "site file changed at 21:30, not read yet",
        "the site file is as it was",
        "site file changed at 21:30, not read yet",
        "the site file was read again",
        "zone jetty: off until 20:00 (20:00 to 21:00 is over, every night)",
    ]


def test_a_refused_site_file_is_told_with_every_problem(caplog: pytest.LogCaptureFixture) -> None:
    """In one entry of the log; the status and the journal have the first."""
    kept = Kept()
    kept.keeper.refuse_site("site.toml:3: one\nsite.toml:4: two")
    (record,) = caplog.records
    assert (record.levelname, record.getMessage()) == (
        "ERROR",
        "the site file was refused: site.toml:3: one\nsite.toml:4: two",
    )
    assert kept.keeper.status().refused == "site.toml:3: one"


def test_the_log_of_a_keeper_is_silent_where_nothing_changes(log: pytest.LogCaptureFixture) -> None:
    """A quiet day has no line."""
    kept = Kept(at_utc=at("23:00"))
    log.clear()
    kept.pass_time(3600)
    assert log.messages == []
