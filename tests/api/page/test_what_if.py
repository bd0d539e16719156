"""What if, as a browser without scripts has it: worked out by hand, and the figures of /v1/year."""

from __future__ import annotations

import pytest

from tests.api.markup import Page
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen
from tests.api.page.test_account import SITE

OF_ONE = SITE[: SITE.index('[[zones]]\nid = "path"')]


@pytest.fixture
def lodge(tmp_path):
    """A house whose one zone is lit from 21:00 to 23:00 at 50 W, and pays 30 cents a kilowatt-hour."""
    house = PageHouse(tmp_path, site=OF_ONE.replace("rated_va = 200", "rated_va = 200\nefficiency = 1.0"))
    yield house
    house.close()


def rows(house, path):
    response = house.ask("GET", path, headers={"accept": "text/html", "accept-language": "en-GB"})
    assert response.status_code == 200, response.text
    (table,) = Page(response.text).tables
    return [[cell.strip() for cell in row] for row in table[1:]]


def test_a_year_as_it_is_now(lodge):
    """365 nights of two hours are 730 h; at 50 W 36.5 kWh; at 30 cents 10.95 USD."""
    assert "A year as it is now: 730 h of light, 36.50 kWh and 10.95 USD." in screen(lodge, "/what-if").text
    assert rows(lodge, "/what-if") == [["as it is now", "730", "36.50", "10.95"]]


def test_off_an_hour_earlier(lodge):
    """Off at 22:00 takes an hour a night away: half of everything."""
    said = "Off at 22:00 every night: 365 h less light and 5.48 USD less a year."
    assert said in screen(lodge, "/what-if?off=22:00").text
    assert rows(lodge, "/what-if?off=22:00")[1:] == [
        ["off at 22:00 every night", "365", "18.25", "5.48"],
        ["difference", "\u2212365.0", "\u221218.25", "\u22125.48"],
    ]


def test_another_program_and_the_old_dial(lodge):
    """Another program, and two pins, each stand beside the present one with the figures of /v1/year."""
    asked = "program=20:00+to+midnight&pin_on=21:15&pin_off=23:45&set_on=2027-06-01"
    told = lodge.get(
        "/v1/year?program=20:00+to+midnight&old_timer=21:15-23:45&from=2027-06-21&set_on=2027-06-01"
    )
    shown = rows(lodge, f"/what-if?{asked}")
    assert [row[1] for row in shown if row[0] != "difference"] == [
        f"{each['total']['lit_h']:,.0f}" for each in (told["present"], *told["others"], told["old_timer"])
    ]
    assert shown[2][3] == f"+{told['others'][0]['change']['cost']:,.2f}"
    seen = screen(lodge, f"/what-if?{asked}").text
    assert "“20:00 to midnight”: 730 h more light and 10.95 USD more a year." in seen
    timer = told["old_timer"]
    early, late = (f"{timer[key]:,.0f}" for key in ("daylight_h", "unlit_dark_h"))
    assert f"It burns for {early} h before dusk or after dawn, and leaves {late} h of the dark unlit." in seen


def test_nothing_changes(lodge):
    """A plan that comes to the same says so."""
    assert "Off at 23:00 every night: nothing changes." in screen(lodge, "/what-if?off=23:00").text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("off=25:00", "“25:00”"),
        ("program=dusk+til+late", "(column"),
        ("pin_on=21:15", "write both pins as 21:15 and 23:45"),
        ("pin_on=21:15&pin_off=21:15", "cannot both stand at 21:15"),
        ("pin_on=21:15&pin_off=23:45&set_on=2030-01-01", "is still to come"),
        ("pin_on=21:15&pin_off=23:45&drift=fast", "“fast” is not a number of seconds"),
    ],
)
def test_a_mistake_is_told_at_its_field(lodge, asked, said):
    """What cannot be read is told with what would do, and what was written is still there."""
    answer = lodge.ask("GET", f"/what-if?{asked}", headers={"accept": "text/html"})
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert said in seen.text
    (form,) = [each for each in seen.forms if each["action"] == "/what-if"]
    first, _, written = asked.partition("&")[0].partition("=")
    assert form["fields"][first] == written.replace("+", " ")


def test_at_least(house):
    """Where a load is not known, energy is a lower bound, and beside it stands what is missing."""
    seen = screen(house, "/what-if")
    assert "≥" in seen.text
    assert "At least: zone orchard has no load" in seen.text
