"""Replacements over the web: recorded once, listed, taken back, each under an id of its own."""

from __future__ import annotations

import errno
import json
import os

import pytest

from api.render.replacements_json import ReplacementsResponse
from config.file import editor
from config.file.loader import load_site
from controller.records.entries import EventKind
from tests.api.stand_in import SITE, House, SilentLoop, problem

STEPS = SITE.replace("watts = 4.5\n", 'watts = 4.5\n  id = "steps"\n')
AT = "/v1/replacements"


@pytest.fixture
def steps(tmp_path):
    """A house whose one fixture has an id."""
    house = House(tmp_path, site=STEPS)
    yield house
    house.close()


def record(house, **body):
    return house.ask("POST", AT, json={"zone": "jetty", **body})


def ids(house) -> list[str]:
    told = house.get(AT)
    ReplacementsResponse.model_validate(told)
    return [each["id"] for each in told["replacements"]]


def test_a_replacement_is_recorded_and_listed(steps):
    """What was replaced today, or on a day named, is answered with 201 and stands in the list at once."""
    response = record(steps, part="steps", on="2027-06-01", note="warm white")
    assert response.status_code == 201
    assert response.json() == {
        "id": "jetty.steps.2027-06-01",
        "zone": "jetty",
        "part": "steps",
        "fixture": 1,
        "on": "2027-06-01",
        "note": "warm white",
        "at": "2027-06-22T01:30:00Z",
    }
    relay = record(steps, part="relay").json()
    # Half past nine in the evening of the 21st at the lodge.
    assert (relay["id"], relay["fixture"], relay["note"]) == ("jetty.relay.2027-06-21", None, "")
    assert ids(steps) == ["jetty.steps.2027-06-01", "jetty.relay.2027-06-21"]
    steps.pass_time(60)
    assert ids(steps) == ["jetty.steps.2027-06-01", "jetty.relay.2027-06-21"]
    assert steps.get(f"{AT}?zone=orchard")["replacements"] == []
    problem(steps.ask("GET", f"{AT}?zone=pier"), "unknown-zone", at=AT, zones=["jetty", "orchard"])


@pytest.mark.parametrize("written", [False, True])
def test_the_same_one_twice_is_one(steps, written):
    """Sent again, it is answered with 200 and the same document, whether it is written by then or not."""
    first = record(steps, part="steps", note="warm white")
    steps.pass_time(60 if written else 0)
    for part in ("steps", 1, "1"):
        again = record(steps, part=part)
        assert (again.status_code, again.json()) == (200, first.json())
    assert ids(steps) == ["jetty.steps.2027-06-21"]


def test_another_note_takes_the_place_of_the_first(steps):
    """The same replacement with another note is still one, with that note."""
    record(steps, part="steps", note="warm white")
    steps.pass_time(60)
    again = record(steps, part="steps", note="2700 K")
    assert (again.status_code, again.json()["note"]) == (200, "2700 K")
    steps.pass_time(60)
    assert [each["note"] for each in steps.get(AT)["replacements"]] == ["2700 K"]


@pytest.mark.parametrize("written", [False, True])
def test_a_replacement_is_taken_back(steps, written):
    """It is gone from the list, cannot be taken back twice, and can be recorded again."""
    record(steps, part="steps")
    steps.pass_time(60 if written else 0)
    assert steps.ask("DELETE", f"{AT}/jetty.steps.2027-06-21").status_code == 204
    assert ids(steps) == []
    steps.pass_time(60 if written else 0)
    again = steps.ask("DELETE", f"{AT}/jetty.steps.2027-06-21")
    problem(again, "unknown-replacement", at=f"{AT}/jetty.steps.2027-06-21")
    assert record(steps, part="steps").status_code == 201
    assert ids(steps) == ["jetty.steps.2027-06-21"]


@pytest.mark.parametrize(
    "name", ["jetty.steps.2027-06-20", "jetty", "jetty.steps.tomorrow", "%00", "a.b.c.d"]
)
def test_what_is_not_recorded_cannot_be_taken_back(steps, name):
    """Another day, or no id at all, is an unknown replacement."""
    record(steps, part="steps")
    response = steps.ask("DELETE", f"{AT}/{name}")
    problem(response, "unknown-replacement", at=f"{AT}/{name}")
    assert ids(steps) == ["jetty.steps.2027-06-21"]


def test_a_fixture_without_an_id_gets_one(house):
    """The id is one line of the site file, the keeper has it at once, and nothing is switched for it."""
    before = house.site_path.read_text()
    lit = [zone.lit for zone in house.keeper.status().zones]
    response = record(house, part=1, on="2027-06-01")
    assert response.status_code == 201
    assert response.json()["id"] == "jetty.path.2027-06-01"
    text = house.site_path.read_text()
    assert text == before.replace("watts = 4.5\n", 'watts = 4.5\n  id = "path"\n')
    assert house.keeper.site == load_site(house.site_path).site
    assert [zone.lit for zone in house.keeper.status().zones] == lit
    house.pass_time(60)
    (changed,) = [each for each in house.gateway.reader.events() if each.kind is EventKind.SITE_CHANGED]
    assert changed.words == "fixture 1 of zone jetty was given an id, by this board"
    # From now on it has that id, and no other is written.
    assert record(house, part=1).json()["id"] == "jetty.path.2027-06-21"
    assert house.site_path.read_text() == text


def test_an_insertion_above_shifts_nothing(house):
    """A fixture that is put above another one does not inherit what was recorded for that."""
    record(house, part=1, on="2027-06-01")
    text = house.site_path.read_text()
    tree = '[[zones.fixtures]]\n  kind = "spot"\n  count = 1\n  watts = 5\n\n  '
    house.site_path.write_text(text.replace("[[zones.fixtures]]", f"{tree}[[zones.fixtures]]"))
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="edited by hand"))
    house.pass_time(60)
    (found,) = house.get(AT)["replacements"]
    assert (found["id"], found["fixture"]) == ("jetty.path.2027-06-01", 2)
    lamps = house.get("/v1/hours")["lamps"]
    assert [(each["fixture"], each["id"], each["since"]) for each in lamps] == [
        (1, None, None),
        (2, "path", "2027-06-01"),
    ]


def test_where_the_site_file_cannot_be_written_nothing_is_recorded(house, monkeypatch):
    """The answer says which key to write on which line."""

    def fail(*_args, **_more):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(editor, "write_atomically", fail)
    response = record(house, part=1)
    detail = problem(response, "site-file-unwritable", at=AT)["detail"]
    assert "fixtures[1]: has no id for its replacements to be recorded under" in detail
    assert 'add “id = "path"” to this table' in detail
    assert ids(house) == []


@pytest.mark.parametrize(
    ("body", "place", "told"),
    [
        ({"zone": "jetty", "part": 2}, "#/part", "zone jetty has no fixture “2”; it has steps, relay"),
        ({"zone": "orchard", "part": 1}, "#/part", "zone orchard has no fixture “1”; it has relay"),
        ({"zone": "jetty", "part": "step"}, "#/part", "no fixture “step”"),
        ({"zone": "jetty", "part": 0}, "#/part", "no fixture “0”"),
        ({"zone": "jetty", "part": True}, "#/part", ""),
        ({"zone": "jetty", "part": 1, "on": "2027-06-22"}, "#/on", "still to come"),
        ({"zone": "jetty", "part": 1, "on": "2027-02-30"}, "#/on", "does not exist"),
        ({"zone": "jetty"}, "#/part", ""),
        ({"zone": "jetty", "part": 1, "when": "2027-06-01"}, "#/when", ""),
    ],
)
def test_a_replacement_that_cannot_be_is_refused(steps, body, place, told):
    """Parts that there are not, and days that are no days, are refused, and nothing is recorded."""
    response = steps.ask("POST", AT, json=body)
    (error,) = response.json()["errors"]
    assert error["pointer"] == place
    assert told in error["detail"]
    problem(response, "invalid-request", at=AT, errors=[error])
    assert ids(steps) == []


def test_a_day_to_come_writes_no_id(house):
    """What is refused leaves the site file as it is."""
    before = house.site_path.read_bytes()
    assert record(house, part=1, on="2027-06-22").status_code == 422
    assert house.site_path.read_bytes() == before


def test_a_replacement_for_an_unknown_zone_is_refused(house):
    """A zone that there is not is refused with those that there are."""
    response = house.ask("POST", AT, json={"zone": "pier", "part": 1})
    problem(response, "unknown-zone", at=AT, zones=["jetty", "orchard"])


def test_a_keeper_that_does_not_answer_is_reported(steps):
    """A keeper that is stuck records nothing, and the response says so."""
    steps.gateway.loop = SilentLoop(steps.keeper)
    problem(record(steps, part=1), "keeper-silent", at=AT)


def test_another_sites_page_may_not_replace_lamps(steps):
    """A change needs our own page, or a program: another site's page is turned away."""
    record(steps, part=1)
    path = f"{AT}/jetty.steps.2027-06-21"
    for method, at, more in (
        ("POST", AT, {"json": {"zone": "jetty", "part": "relay"}}),
        ("DELETE", path, {}),
    ):
        response = steps.ask(method, at, headers={"sec-fetch-site": "cross-site"}, **more)
        problem(response, "cross-site", at=at)
    assert ids(steps) == ["jetty.steps.2027-06-21"]


def test_a_journal_that_cannot_be_read_takes_it_all_the_same(steps):
    """While the journal cannot be read it may be written, or written later: what was replaced is not lost."""
    steps.journal.close()
    kept = steps.journal.path.read_bytes()
    steps.journal.path.write_bytes(b"this is no journal, but it is longer than a header of SQLite's " * 50)
    assert record(steps, part="steps").status_code == 201
    problem(steps.ask("GET", AT), "journal-unreadable", at=AT)
    steps.journal.path.write_bytes(kept)
    steps.pass_time(60)
    assert ids(steps) == ["jetty.steps.2027-06-21"]


@pytest.mark.parametrize("field", ["zone", "part", "note"])
def test_half_a_letter_is_not_recorded(house, field):
    """Half of a pair of surrogates, which the journal could never write, is refused in every text."""
    body = {"zone": "jetty", "part": "1", "note": "", field: "\ud800"}
    content, headers = json.dumps(body).encode(), {"content-type": "application/json"}
    response = house.ask("POST", "/v1/replacements", content=content, headers=headers)
    assert (response.status_code, response.json()["errors"][0]["pointer"]) == (422, f"#/{field}")
    assert house.get("/v1/replacements")["replacements"] == []
