"""Lamp replacements recorded from the command line: with no daemon, through one, and past one."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.journal.journal import lock_state
from controller.journal.reader import JournalReader
from tests.api.command import call
from tests.api.lines import serving
from tests.api.stand_in import House

TODAY = datetime(2027, 6, 22, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def today(monkeypatch):
    """The command line believes that it is the day after the house's evening."""
    for module in ("api.cli.hours", "api.cli.replacements"):
        monkeypatch.setattr(f"{module}.now_utc", lambda: TODAY)


def replaced(house):
    """What the journal knows: zone, fixture, day, note."""
    found = JournalReader(house.journal.directory).replacements()
    return [(each.zone, each.part, each.on_date, each.note) for each in found]


def hours(house, *args):
    """Ask ``leerie hours`` of a house."""
    return call("hours", house.site_path, "--state", house.journal.directory, *args)


def test_without_a_daemon_the_journal_is_written_at_once(house):
    """Nobody holds the journal: the verb writes to it, and the account that follows counts from there."""
    house.pass_time(2 * 3600)
    house.journal.close()
    args = ("--replaced", "jetty:1", "--replaced", "jetty:1:2027-06-01", "--note", "warm white", "--json")
    result = hours(house, *args)
    assert result.exit_code == 0, result.output
    assert replaced(house) == [
        ("jetty", "1", date(2027, 6, 1), "warm white"),
        ("jetty", "1", date(2027, 6, 22), "warm white"),
    ]
    assert '"since": "2027-06-22"' in result.stdout
    lock_state(house.journal.directory).release()  # the verb let go of the journal


def test_a_daemon_takes_it_down_itself(house):
    """A daemon holds the journal: it is told over its port, and answers for what it cannot take."""
    house.pass_time(60)

    def take_down(entry):
        house.journal.append(entry)
        house.journal.flush()

    house.gateway.append = take_down
    with serving(house.make_app) as server:
        result = hours(house, "--replaced", "jetty:1:2027-06-20", "--note", "2700 K", "--port", server.port)
        assert result.exit_code == 0, result.output
        assert not result.stderr
        assert replaced(house) == [("jetty", "1", date(2027, 6, 20), "2700 K")]
        # The daemon's own clock stands at the evening before: there this day is still to come.
        result = hours(house, "--replaced", "jetty:1:2027-06-22", "--port", server.port)
    assert result.exit_code == 2
    assert "did not record it: 2027-06-22 is still to come" in result.stderr


def test_a_daemon_whose_disk_is_slow_is_told(house, monkeypatch):
    """What is recorded but not written yet is not in the account, and that is said."""
    house.pass_time(60)
    monkeypatch.setattr("api.cli.replacements.WRITTEN_S", 0.0)
    with serving(house.make_app) as server:
        result = hours(house, "--replaced", "jetty:1:2027-06-20", "--port", server.port)
    assert result.exit_code == 0
    assert result.stderr == "recorded, but not written yet; the hours shown do not count it\n"
    house.pass_time(30)
    assert len(replaced(house)) == 1


def test_a_daemon_that_does_not_answer_is_told(house):
    """Somebody holds the journal and nobody listens: nothing is recorded, and the remedy is the port."""
    result = hours(house, "--replaced", "jetty:1", "--port", 1)
    assert result.exit_code == 2
    assert "a daemon writes this journal, but none answers on port 1" in result.stderr
    assert replaced(house) == []


def test_lamps_count_from_the_night_of_their_day(tmp_path):
    """Over the web too: hours before the replacement are the old lamps' own."""
    house = House(tmp_path)
    for _ in range(5 * 24):
        house.clock.advance(3600)
        house.loop.run_once()
    house.journal.flush()

    def lit_h():
        (lamps,) = house.get("/v1/hours")["lamps"]
        return lamps["since"], lamps["lit_h"]

    since, before_h = lit_h()
    assert since is None
    on = (house.clock.utc - timedelta(days=2)).date().isoformat()
    response = house.ask("POST", "/v1/replacements", json={"zone": "jetty", "fixture": 1, "on": on})
    assert response.status_code == 201
    house.pass_time(1)
    since, after_h = lit_h()
    assert since == on
    assert 0 < after_h < before_h
    house.close()
