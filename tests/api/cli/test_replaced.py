"""``leerie replaced``: with no daemon, through one, and past one; recorded once, and taken back."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from config.file import editor
from config.file.loader import load_site
from controller.journal.lock import StateLock
from controller.journal.reader import JournalReader
from tests.api.command import call, write_site, zone_table
from tests.api.lines import serving

OF_0_1_0 = Path(__file__).parents[2] / "controller" / "journal" / "journal_of_0_1_0.sql"
TODAY = datetime(2027, 6, 22, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def today(monkeypatch):
    """The command line believes that it is the day after the house's evening."""
    for module in ("api.cli.hours", "api.cli.replaced"):
        monkeypatch.setattr(f"{module}.now_utc", lambda: TODAY)


@pytest.fixture
def alone(house):
    """A house whose daemon does not run."""
    house.pass_time(2 * 3600)
    house.journal.close()
    return house


def recorded(house):
    """What the journal knows."""
    return [(each.id, each.note) for each in JournalReader(house.journal.directory).replacements()]


def replaced(house, *args):
    return call("replaced", house.site_path, *args, "--state", house.journal.directory)


def ask(house, *args):
    """Give the JSON document of a command that goes well."""
    result = replaced(house, *args, "--json")
    assert result.exit_code == 0, result.output
    assert not result.stderr
    return json.loads(result.stdout)


def test_without_a_daemon_the_journal_is_written_at_once(alone):
    """Nobody holds the journal: the command writes to it, and the account counts from there."""
    before = alone.site_path.read_text()
    result = replaced(alone, "jetty", 1, "--note", "warm white")
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [
        "Recorded: jetty.path.2027-06-22.",
        f"Fixture 1 of zone jetty has the id “path” in {alone.site_path} now.",
    ]
    assert alone.site_path.read_text() == before.replace("watts = 4.5\n", 'watts = 4.5\n  id = "path"\n')
    assert ask(alone, "jetty", "path", "--on", "2027-06-01")["id"] == "jetty.path.2027-06-01"
    assert ask(alone, "jetty", "relay")["fixture"] is None
    assert recorded(alone) == [
        ("jetty.path.2027-06-01", ""),
        ("jetty.path.2027-06-22", "warm white"),
        ("jetty.relay.2027-06-22", ""),
    ]
    hours = call("hours", alone.site_path, "--state", alone.journal.directory, "--json")
    told = json.loads(hours.stdout)
    assert [(each["id"], each["since"]) for each in told["lamps"]] == [("path", "2027-06-22")]
    assert [(each["zone"], each["since"]) for each in told["relays"]] == [
        ("jetty", "2027-06-22"),
        ("orchard", None),
    ]
    with StateLock(alone.journal.directory):
        pass  # the command let go of the journal


def test_the_same_one_twice_is_one_and_can_be_taken_back(alone):
    """A second time changes nothing; what was taken back is gone, and cannot be taken back again."""
    first = ask(alone, "jetty", 1)
    assert ask(alone, "jetty", 1) == first
    assert recorded(alone) == [("jetty.path.2027-06-22", "")]
    assert replaced(alone, "jetty", "path", "--undo").stdout == "Taken back: jetty.path.2027-06-22.\n"
    assert recorded(alone) == []
    result = replaced(alone, "jetty", "path", "--undo")
    assert result.exit_code == 2
    assert (
        "no replacement jetty.path.2027-06-22 is recorded; nor any other of zone jetty, path" in result.stderr
    )
    ask(alone, "jetty", 1, "--on", "2027-06-01")
    result = replaced(alone, "jetty", "path", "--undo")
    assert "path.2027-06-22 is recorded; recorded: jetty.path.2027-06-01" in result.stderr


def test_a_site_file_that_cannot_be_written_is_said_with_what_to_write(alone, monkeypatch):
    """Nothing is recorded, and a person is told which key to add on which line."""

    def fail(*_args, **_more):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(editor, "write_atomically", fail)
    result = replaced(alone, "jetty", 1)
    assert result.exit_code == 2
    assert 'add “id = "path"” to this table' in result.stderr
    assert recorded(alone) == []
    # The relay needs none.
    assert ask(alone, "orchard", "relay")["id"] == "orchard.relay.2027-06-22"


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["jetty", "2"], "zone jetty has no fixture “2”; it has 1, relay"),
        (["orchard", "1"], "zone orchard has no fixture “1”; it has relay"),
        (["pier", "1"], "no zone is called “pier”; this site has jetty, orchard"),
        (["jetty", "1", "--on", "2027-06-23"], "2027-06-23 is still to come"),
        (["jetty", "1", "--on", "2027-02-30"], "does not exist"),
        (["jetty"], "Missing argument"),
    ],
)
def test_what_cannot_be_is_one_line(alone, args, told):
    """A part that there is not, and a day that is none, is refused, and the site file stays."""
    before = alone.site_path.read_bytes()
    result = replaced(alone, *args)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert told in result.stderr
    assert recorded(alone) == []
    assert alone.site_path.read_bytes() == before


def test_hours_only_reads(alone):
    """The option that recorded by the way names the command that does it now."""
    result = call("hours", alone.site_path, "--state", alone.journal.directory, "--replaced", "jetty:1")
    assert result.exit_code == 2
    assert "leerie replaced SITE.toml ZONE FIXTURE" in result.stderr
    assert recorded(alone) == []


def test_a_daemon_records_it_itself(house):
    """A daemon holds the journal: it is told over its port, and answers for what it cannot take."""
    house.pass_time(60)

    def append(entry):
        house.journal.append(entry)
        house.journal.flush()

    house.gateway.append = append
    with serving(house.make_app) as server:
        port = ("--port", server.port)
        document = ask(house, "jetty", 1, "--on", "2027-06-20", "--note", "2700 K", *port)
        assert document["id"] == "jetty.path.2027-06-20"
        assert load_site(house.site_path).site.zone("jetty").fixtures[0].id == "path"
        assert house.keeper.site.zone("jetty").fixtures[0].id == "path"
        assert recorded(house) == [("jetty.path.2027-06-20", "2700 K")]
        # The daemon's own clock stands at the evening before: there this day is still to come.
        result = replaced(house, "jetty", 1, *port)
        assert result.exit_code == 2
        assert f"the daemon on port {server.port} refused: 2027-06-22 is still to come" in result.stderr
        assert ask(house, "jetty", 1, "--on", "2027-06-20", "--undo", *port) == document
        assert recorded(house) == []
        result = replaced(house, "jetty", 1, "--on", "2027-06-20", "--undo", *port)
    assert result.exit_code == 2
    assert "no replacement jetty.path.2027-06-20 is recorded" in result.stderr


def test_a_daemon_whose_disk_is_slow_is_told(house, monkeypatch):
    """What is recorded but not written yet is not in the account, and that is said."""
    house.pass_time(60)
    monkeypatch.setattr("api.cli.replaced.WRITTEN_S", 0.0)
    with serving(house.make_app) as server:
        result = replaced(house, "jetty", "relay", "--on", "2027-06-20", "--port", server.port)
    assert result.exit_code == 0
    assert result.stderr == "not written yet, as the disk is slow or full; the daemon goes on trying\n"
    house.pass_time(30)
    assert [each for each, _ in recorded(house)] == ["jetty.relay.2027-06-20"]


def test_a_daemon_that_does_not_answer_is_told(house):
    """Somebody holds the journal and nobody listens: nothing is recorded, and the remedy is the port."""
    before = house.site_path.read_bytes()
    result = replaced(house, "jetty", 1, "--port", 1)
    assert result.exit_code == 2
    assert "a daemon writes this journal, but no daemon answers on port 1" in result.stderr
    assert recorded(house) == []
    assert house.site_path.read_bytes() == before


def test_without_a_journal_there_is_nothing_to_record_in(tmp_path, house):
    """A folder with no journal is not begun by this command."""
    result = call("replaced", house.site_path, "jetty", 1, "--state", tmp_path / "elsewhere")
    assert result.exit_code == 2
    assert "it begins with the first `leerie run`" in result.stderr
    assert not (tmp_path / "elsewhere").exists()


def test_the_note_is_kept_from_the_first_time(alone):
    """Recorded again without a note, a replacement keeps the one that it has."""
    ask(alone, "jetty", "relay", "--note", "made in June")
    ask(alone, "jetty", "relay")
    assert recorded(alone) == [("jetty.relay.2027-06-22", "made in June")]
    assert date.fromisoformat(ask(alone, "jetty", "relay")["on"]) == date(2027, 6, 22)


def test_what_version_0_1_0_recorded_stays_with_its_fixture(tmp_path):
    """Recorded for places in the list, it goes to the fixtures that stand there, once these have ids."""
    tables = "".join(
        f'  [[zones.fixtures]]\n  kind = "{kind}"\n  count = 4\n  watts = 3\n' for kind in ("path", "spot")
    )
    site_path = write_site(tmp_path, zone_table("front-path", "dusk to midnight", more=tables))
    state = tmp_path / "state"
    state.mkdir()
    with contextlib.closing(sqlite3.connect(state / "journal.sqlite")) as connection:
        connection.executescript(OF_0_1_0.read_text(encoding="utf-8"))

    def lamps() -> list[tuple[str | None, str | None]]:
        told = call("hours", site_path, "--state", state, "--json")
        return [(each["id"], each["since"]) for each in json.loads(told.stdout)["lamps"]]

    done = call(
        "replaced", site_path, "front-path", "relay", "--state", state
    )  # brings the journal up to date
    assert done.exit_code == 0, done.output
    assert lamps() == [(None, "2027-06-22"), (None, "2027-06-01")]
    # By hand: the second fixture gets an id; and the zone another one.
    text = site_path.read_text().replace('kind = "spot"', 'kind = "spot"\n  id = "tree"')
    site_path.write_text(text.replace('id = "front-path"', 'id = "walk"\nformerly = ["front-path"]'))
    assert lamps() == [(None, "2027-06-22"), ("tree", "2027-06-01")]
    # Recorded for the first one, which gets an id by that; what stands for places now stands for fixtures.
    done = call("replaced", site_path, "walk", 1, "--on", "2027-06-10", "--state", state)
    assert done.exit_code == 0, done.output
    new = '  [[zones.fixtures]]\n  kind = "well"\n  count = 1\n  watts = 7\n'
    first = '  [[zones.fixtures]]\n  kind = "path"'
    site_path.write_text(site_path.read_text().replace(first, new + first))
    assert lamps() == [(None, None), ("path", "2027-06-22"), ("tree", "2027-06-01")]
    raw = [each.id for each in JournalReader(state).replacements()]
    assert raw == [
        "front-path.tree.2027-06-01",
        "walk.path.2027-06-10",
        "front-path.path.2027-06-22",
        "front-path.relay.2027-06-22",
    ]
    # Taken back, whatever it was called when it was recorded; the older one counts again.
    done = call("replaced", site_path, "walk", "path", "--on", "2027-06-22", "--undo", "--state", state)
    assert done.stdout == "Taken back: walk.path.2027-06-22.\n"
    assert lamps() == [(None, None), ("path", "2027-06-10"), ("tree", "2027-06-01")]
