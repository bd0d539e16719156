"""What wants attention, and recording what was replaced, as a browser without scripts has it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from urllib.parse import quote

import pytest

from config.file.loader import parse_site
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.stand_in import SITE
from tests.api.web.devices import Device
from tests.years import write_years

# Six lamps that live 100 hours, lit three or four hours a night since 1 June.
WORN = SITE.replace("  watts = 4.5\n", "  watts = 4.5\n  rated_life_h = 100\n  fitted = 2027-06-01\n")


@pytest.fixture
def worn(tmp_path):
    """A house at one o'clock on 12 July 2027, whose lamps are past their life."""
    write_years(tmp_path / "state", parse_site(WORN, "site.toml").site, date(2027, 6, 1), date(2027, 7, 11))
    house = PageHouse(tmp_path, site=WORN, at_utc=datetime(2027, 7, 12, 17, tzinfo=UTC), boot_id="another")
    house.pass_time(1)
    yield house
    house.close()


def forms(seen: Screen, *, part: str):
    return [each for each in seen.forms if each["action"] == "/lamps" and each["fields"].get("part") == part]


def test_what_wants_attention_is_said_first(worn):
    """Lamps past their life and a load that nobody knows: what the account asks for, and no more."""
    seen = screen(worn, "/lamps")
    asked = worn.get("/v1/hours?by=night&period=2027-07-12")["attention"]
    assert f"{len(asked)} things want attention." in seen.text
    for each in asked:
        assert each["what"][1:] in seen.text
    assert "past it: replace." in seen.text


def test_a_button_records_it_and_another_takes_it_back(worn):
    """One touch says that the lamps were replaced: they are new then, and old again once taken back."""
    first = forms(screen(worn, "/lamps"), part="1")[0]
    answer = send(worn, first)
    assert (answer.status_code, answer.headers["location"]) == (303, "/lamps#recorded")
    worn.pass_time(60)
    seen = screen(worn, "/lamps")
    (recorded,) = worn.get("/v1/replacements")["replacements"]
    assert (recorded["zone"], recorded["on"]) == ("jetty", "2027-07-12")
    assert "Monday 12 July 2027: Jetty and steps: 6 × path" in seen.text
    assert "past it: replace." not in seen.text
    assert "lit 0 h since 12 July 2027" in seen.text
    assert send(worn, seen.form(f"/lamps/{recorded['id']}/undo")).status_code == 303
    worn.pass_time(60)
    assert worn.get("/v1/replacements")["replacements"] == []
    assert "past it: replace." in screen(worn, "/lamps").text


def test_a_day_and_a_note(worn):
    """A form has the day and a note; a relay is recorded in the same way."""
    form = forms(screen(worn, "/lamps"), part="relay")[0]
    send(worn, form, fields={"on": "2027-07-01", "note": "the old one stuck"})
    (recorded,) = worn.get("/v1/replacements")["replacements"]
    assert (recorded["part"], recorded["on"], recorded["note"]) == (
        "relay",
        "2027-07-01",
        "the old one stuck",
    )
    assert "(the old one stuck)" in screen(worn, "/lamps").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"on": "2027-08-01"}, "is still to come"),
        ({"on": "soon"}, "“soon”"),
        ({"part": "9"}, "no fixture “9”"),
    ],
)
def test_what_cannot_be_is_refused_in_words(worn, fields, said):
    """A day to come, a text that is no day, and a part that there is not are told; nothing is recorded."""
    form = forms(screen(worn, "/lamps"), part="1")[0]
    answer = send(worn, form, fields=fields)
    assert answer.status_code == 422
    assert said in Screen(answer.text).text
    assert worn.get("/v1/replacements")["replacements"] == []


def test_a_stranger_form_is_refused(worn):
    """A form without the token of this session changes nothing."""
    form = forms(screen(worn, "/lamps"), part="1")[0]
    assert send(worn, form, fields={"form_token": "another"}).status_code == 403
    assert worn.get("/v1/replacements")["replacements"] == []


def test_who_may_read_only_reads(worn):
    """A device that may read sees all of it and no form, and a form of its own making is refused."""
    device = Device(house=worn)
    device.sign_in("read")
    seen = Screen(device.ask("GET", "/lamps", headers={"accept": "text/html"}).text)
    assert "past it: replace." in seen.text
    assert not [each for each in seen.forms if each["action"].startswith("/lamps")]
    answer = device.ask("POST", "/lamps", data={"zone": "jetty", "part": "1"})
    assert answer.status_code == 403
    assert worn.get("/v1/replacements")["replacements"] == []


def test_a_stranger_is_led_to_where_they_sign_in(worn):
    """Nobody sees any of these screens without having been let in."""
    for path in ("/year", "/year/2027-06", "/cost", "/lamps", "/what-if", "/report/2027-summer", "/sheet"):
        answer = Device(house=worn).ask("GET", path, headers={"accept": "text/html"})
        assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?to={quote(path)}")


def test_all_is_well(tmp_path):
    """A garden of which every figure is known, and whose lamps are new, says so."""
    text = SITE.replace("rated_va = 200", "rated_va = 200\nefficiency = 0.9")
    house = PageHouse(tmp_path, site=text.replace("pin = 27", "pin = 27\nrated_watts = 20"))
    assert "Nothing wants attention." in screen(house, "/lamps").text
    house.close()


def test_hours_before_the_journal_are_said_to_be_estimated(tmp_path):
    """Where the journal begins tonight, none of them was recorded."""
    house = PageHouse(tmp_path, site=WORN)
    assert "since 1 June 2027; all of it estimated; " in screen(house, "/lamps").text
    house.close()
