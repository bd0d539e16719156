"""``leerie clock``: asked of a daemon or of this machine, and a person's word for the time."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from freezegun import freeze_time

from api.daemon.last_good import LAST_GOOD
from controller.clock import clock as clock_module
from controller.clock.clock import SystemClock
from controller.clock.evidence import ClockEvidence
from controller.clock.kernel import read_boot_id
from controller.clock.trust import NOT_SET, REMEDY, Evidence
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading
from tests.api.command import call
from tests.api.lines import serving
from tests.api.stand_in import House

HELD = f"{NOT_SET}. {REMEDY}"
EVENING = datetime(2027, 6, 22, 1, 30, tzinfo=UTC)


@pytest.fixture
def unset(tmp_path):
    """A house whose clock nothing has set."""
    house = House(tmp_path, trusted=False, trust=HELD)
    yield house
    house.close()


@pytest.fixture
def alone(house, monkeypatch):
    """A house whose daemon does not run, on a machine whose clock nothing has set."""
    house.journal.flush()
    house.journal.close()
    monkeypatch.setattr(ClockEvidence, "collect", lambda *_: Evidence())
    with freeze_time(EVENING):
        yield house


def ask(house, *args, port=1):
    """Call ``leerie clock`` of a house; nobody answers on port 1."""
    return call("clock", house.site_path, "--state", house.journal.directory, "--port", port, *args)


def test_a_daemon_says_what_it_thinks_of_its_clock(unset):
    """The daemon's own answer, in words and as JSON, and exit code 1 while it holds the lights."""
    with serving(unset.make_app) as server:
        result = ask(unset, port=server.port)
        assert result.exit_code == 1
        assert result.stdout.splitlines() == [
            "The clock says 21:30:00 on Mon 21 Jun 2027 (America/New_York, UTC-04:00).",
            f"Not trusted, lights are held: {HELD.replace('SITE.toml', str(unset.site_path))}.",
        ]
        result = ask(unset, "--json", port=server.port)
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    assert document == unset.get("/v1/clock")
    assert (document["trusted"], document["because"], document["basis"]) == (False, HELD, "keeper")


def test_a_person_vouches_for_the_time_that_the_daemon_says(unset):
    """Confirmed through the daemon: trusted and lit, exit code 0, and in the journal."""
    with serving(unset.make_app) as server:
        result = ask(unset, "--confirm", port=server.port)
        assert result.exit_code == 0, result.stderr
        assert result.stdout.splitlines() == [
            "The clock says 21:30:00 on Mon 21 Jun 2027 (America/New_York, UTC-04:00).",
            "Trusted: confirmed by a person, since 21:30 on Mon 21 Jun 2027.",
        ]
        unset.pass_time(60)
        again = json.loads(ask(unset, "--json", port=server.port).stdout)
    assert again["confirmed_at"] == "2027-06-22T01:30:00Z"
    assert unset.get("/v1/status")["keeper"]["summary"].startswith("lit: ")
    kinds = [each.kind for each in JournalReader(unset.journal.directory).events()]
    assert EventKind.CLOCK_CONFIRMED in kinds


def test_a_clock_in_1970_cannot_be_confirmed(tmp_path):
    """The refusal says what to do, on standard error, with exit code 2."""
    words = "the clock says 1970-01-01, before this program was made (2026-11-01)"
    house = House(tmp_path, at_utc=datetime(1970, 1, 1, 5, tzinfo=UTC), trusted=False, trust=words)
    with serving(house.make_app) as server:
        result = ask(house, "--confirm", port=server.port)
    house.close()
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"leerie: not confirmed: {words}\n"


def test_the_time_is_confirmed_though_the_site_file_has_errors(unset):
    """The daemon runs on with the last good copy, so a person can vouch; a note says what to do."""
    state, good = unset.journal.directory, unset.site_path.read_text()
    unset.site_path.write_text(good.replace("pin = 17", "pin = 99"))
    note = f"note: {unset.site_path} is not valid, so its last good copy counts; "
    note += f"`leerie check {unset.site_path}` says what to fix\n"
    with serving(unset.make_app) as server:
        blind = ask(unset, "--confirm", port=server.port)
        (state / LAST_GOOD).write_text(good)
        with_copy = ask(unset, "--confirm", port=server.port)
        asked = ask(unset, port=server.port)
        (state / LAST_GOOD).write_text(good.replace("Saltmarsh", "Heron"))
        of_another = ask(unset, "--confirm", port=server.port)
    for result in (blind, with_copy, asked):
        assert (result.exit_code, result.stderr) == (0, note)
        assert "Trusted: confirmed by a person" in result.stdout
    assert of_another.exit_code == 2
    assert "keeps “Saltmarsh Lodge”, not “Heron Lodge”" in of_another.stderr


def test_a_site_file_with_errors_and_no_copy_is_refused_where_only_the_clock_is_asked_for(unset):
    """Without a site nothing says how the clock is judged: the problems of the file, exit code 2."""
    unset.site_path.write_text(unset.site_path.read_text().replace("pin = 17", "pin = 99"))
    result = ask(unset)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "pin = 99" in result.stderr


def test_without_a_daemon_nothing_can_be_confirmed(alone):
    """Exit code 2, and what to do."""
    result = ask(alone, "--confirm")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("leerie: no daemon answers on port 1 (")
    assert "start it with `leerie run`, or name its port with --port" in result.stderr


def test_the_daemon_of_another_site_confirms_nothing_and_is_not_believed(house, tmp_path):
    """It says whose daemon answers there; a question is then answered by this machine."""
    (tmp_path / "other").mkdir()
    other = House(tmp_path / "other", site=house.site_path.read_text().replace("Saltmarsh", "Heron"))
    with serving(other.make_app) as server:
        refused = ask(house, "--confirm", port=server.port)
        asked = ask(house, "--json", port=server.port)
    other.close()
    assert refused.exit_code == 2
    assert "keeps “Heron Lodge”, not “Saltmarsh Lodge”" in refused.stderr
    assert json.loads(asked.stdout)["basis"] == "this machine"


def test_without_a_daemon_the_machine_is_judged_as_one_would(alone):
    """Not set by anything: the same words, exit code 1, and that no daemon answered."""
    result = ask(alone)
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        "The clock says 21:30:00 on Mon 21 Jun 2027 (America/New_York, UTC-04:00).",
        f"Not trusted, lights are held: {HELD.replace('SITE.toml', str(alone.site_path))}.",
        "No daemon of this site answers on port 1; one that starts now would find this.",
    ]


def test_without_a_daemon_the_journal_tells_of_entries_from_the_future(alone):
    """A clock behind the journal's last trusted entry is not trusted, though the hardware clock agrees."""
    with freeze_time(EVENING - timedelta(days=3)):
        result = ask(alone)
    assert result.exit_code == 1
    assert (
        "the clock says 2027-06-19, before the last entry of the journal (2027-06-22 01:30 UTC)"
        in result.stdout
    )


def test_without_a_daemon_a_confirmation_of_this_boot_is_known(alone, monkeypatch):
    """What a person confirmed before the daemon stopped counts, until somebody sets the clock."""
    boot_s = clock_module.time.clock_gettime(clock_module.time.CLOCK_BOOTTIME)
    at = Reading(utc=EVENING, boot_s=boot_s, boot_id=read_boot_id(), trusted=True, trust="")
    journal = Journal(alone.journal.directory)
    journal.append(Event(kind=EventKind.CLOCK_CONFIRMED, at=at, words="a person confirmed the time"))
    journal.flush()
    journal.close()
    monkeypatch.setattr(clock_module.time, "clock_gettime", lambda _: boot_s + 5.0)
    with freeze_time(EVENING + timedelta(seconds=5)):
        result = ask(alone, "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["confirmed_at"] == "2027-06-22T01:30:00Z"
    with freeze_time(EVENING + timedelta(hours=1)):
        result = ask(alone)
    assert result.exit_code == 1
    assert "the clock was set after a person confirmed it" in result.stdout


def test_always_says_what_it_risks(alone):
    """By “always” the clock is trusted, and the command says what a wrong one does."""
    text = alone.site_path.read_text(encoding="utf-8")
    alone.site_path.write_text(f'{text}\n[clock]\nbelieve = "always"\n', encoding="utf-8")
    result = ask(alone)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[1:3] == [
        "Trusted: believed because the site file says so.",
        'By believe = "always", a wrong clock is followed too: lights then come on at wrong hours.',
    ]


def test_the_machines_own_clock_is_read_as_it_is(house):
    """Without any pretence: the command says what the daemon's clock would say at the same moment."""
    house.journal.close()
    document = json.loads(ask(house, "--json").stdout)
    now = SystemClock(floor_utc=datetime(2027, 6, 22, 1, 30, tzinfo=UTC)).read()
    assert abs((datetime.fromisoformat(document["now"]) - now.utc).total_seconds()) < 30
    assert document["trusted"] is now.trusted
