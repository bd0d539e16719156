"""The year in a picture, and its nights in sentences, as a browser without scripts has them."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import pytest

from config.errors import JournalError
from config.file.loader import parse_site
from controller.journal.reader import JournalReader
from tests.api.markup import boxes
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import screen
from tests.api.stand_in import SITE
from tests.controller.board import Board

START = datetime(2027, 6, 1, 17, tzinfo=UTC)


@pytest.fixture(scope="module")
def june(tmp_path_factory):
    """A house on 21 June 2027 after twenty nights, of which one had no power for half an hour."""
    folder = tmp_path_factory.mktemp("june")
    board = Board(folder / "state", parse_site(SITE, "site.toml").site, START)
    board.run_until(START + timedelta(days=9, hours=9))  # ten in the evening there
    board.cut_power(1800)
    board.run_until(START + timedelta(days=12, hours=9))
    board.override("orchard", on=False, lasts_s=8 * 3600)
    board.run_until(START + timedelta(days=20))
    board.keeper.stop()
    board.close()
    house = PageHouse(folder, at_utc=board.true_utc, boot_id="another")
    house.pass_time(60)
    yield house
    house.close()


def strip(html, zone):
    """The strip of a zone, and its boxes by kind: columns, and hours since noon."""
    found = re.search(rf'<svg class="nights"[^>]* aria-label="{zone}: ([^"]*)">(.*?)</svg>', html, re.DOTALL)
    paths = re.findall(r'<path class="([a-z-]+)"[^>]* d="(M[^"]*z)"', found[2])
    return found[1], {kind: boxes(path) for kind, path in paths}


def html(house, path="/year"):
    response = house.ask("GET", path, headers={"accept": "text/html", "accept-language": "en-GB"})
    assert response.status_code == 200, response.text
    return response.text


def test_the_first_sentence_says_what_the_year_came_to(june):
    """What was lit so far, and what is still to come, stands above everything else."""
    said = re.search(
        r"([\d,]+) hours of light so far in 2027\. ([\d,]+) are still to come\.", screen(june, "/year").text
    )
    lit, ahead = (int(each.replace(",", "")) for each in said.groups())
    # Twenty nights of dusk to midnight or 01:30 and of 21:15 to 23:45, less what was missed; and 194 nights.
    assert 100 < lit < 130
    assert ahead > 9 * lit


def test_on_the_first_night_the_record_begins(tmp_path):
    """A year of which no night before tonight is on record does not count hours of light as none."""
    house = PageHouse(tmp_path)
    said = screen(house, "/year").text
    house.close()
    assert "The record of 2027 begins tonight." in said
    assert re.search(r"[\d,]+ hours are still to come\.", said)


def test_the_past_is_what_ran_and_the_future_what_is_planned(june):
    """Left of tonight stand the hours that ran or were missed, from tonight on those of the program."""
    said, kinds = strip(html(june), "orchard")
    tonight = (date(2027, 6, 21) - date(2027, 1, 1)).days
    assert max(last for _, last, _, _ in kinds["lit"]) == tonight
    assert min(first for first, _, _, _ in kinds["to-come"]) == tonight
    assert max(last for _, last, _, _ in kinds["to-come"]) == 365
    # From 21:15 to 23:45 on the clock on the wall, which is 9.25 to 11.75 hours after noon.
    assert {(low, high) for _, _, low, high in kinds["to-come"]} == {(9.25, 11.75)}
    eleventh = (date(2027, 6, 10) - date(2027, 1, 1)).days
    assert (eleventh, eleventh + 1, 10.0, 10.5) in [
        (first, last, round(low, 1), round(high, 1)) for first, last, low, high in kinds["missed"]
    ]
    assert re.search(r"\d\sh on 20 nights, 2\.\d\sh missed, \d+\sh to come", said)


def test_before_the_journal_began_there_is_no_record(june):
    """The months before the first night are marked as unknown, with a shape of their own."""
    _, kinds = strip(html(june), "orchard")
    assert min(first for first, _, _, _ in kinds["unknown"]) == 0
    assert max(last for _, last, _, _ in kinds["unknown"]) == (date(2027, 6, 2) - date(2027, 1, 1)).days


@pytest.mark.parametrize(
    ("night", "said"),
    [
        ("2027-06-10", "lit from 21:15 to 22:00 and from 22:30 to 23:45."),
        ("2027-06-10", "in all zones; the board had no power."),
        (
            "2027-06-13",
            "orchard: lit from 21:15 to 22:00. Missed: 1 h 45 min in orchard; somebody wanted it dark.",
        ),
        ("2027-06-18", "Jetty and steps: lit from 20:55 to 01:30."),
        ("2027-06-21", "Tonight, Monday 21 June 2027"),
        ("2027-06-21", "Jetty and steps: to be lit from 20:56 (dusk) to midnight."),
        ("2027-06-25", "Jetty and steps: to be lit from 20:57 (dusk) to 01:30 (on Friday and Saturday)."),
        ("2027-05-20", "Jetty and steps and orchard: no record."),
    ],
)
def test_a_form_reads_one_night(june, night, said):
    """Without a script a date gives the sentence: when each zone was lit, what was missed, and why."""
    assert said in screen(june, f"/year?night={night}").text


def test_a_month_is_read_night_by_night(june):
    """Every night of the month has its sentences, where the script finds them too."""
    whole = html(june, "/year/2027-06")
    assert re.findall(r'data-night="2027-06-(\d\d)"', whole) == [f"{day:02}" for day in range(1, 31)]
    assert 'href="/year/2027-05"' in whole
    assert 'href="/year/2027-07"' in whole


def test_zones_that_did_the_same_are_told_as_one(tmp_path):
    """A garden of three has one line where none of them has a record."""
    house = PageHouse(tmp_path, site=f'{SITE}[[zones]]\nid = "pier"\npin = 22\nprogram = ["dusk to dawn"]\n')
    assert "All zones: no record." in screen(house, "/year?night=2027-05-20").text
    assert "pier: to be lit" in screen(house, "/year?night=2027-06-25").text
    house.close()


def test_a_night_without_light_says_why(tmp_path):
    """A program that gives no light in a night is told as such, with the reason of the plan."""
    house = PageHouse(tmp_path, site=SITE.replace('["21:15 to 23:45"]', '["dusk to 20:30"]'))
    seen = screen(house, "/year?night=2027-06-25")
    said = "orchard: dark by its program. (it would begin at 20:57, but end at 20:30 already)"
    assert said in seen.text
    house.close()


def test_another_year(june):
    """A year to come is all planned, and one before the journal is not offered."""
    ahead = screen(june, "/year/2028").text
    assert re.search(r"[\d,]+ hours of light are planned for 2028\.", ahead)
    assert 'href="/year/2026"' not in html(june)
    for path in ("/year/soon", "/year/9999", "/year/0000", "/year/2027-13"):
        assert june.ask("GET", path, headers={"accept": "text/html"}).status_code == 404
    assert june.ask("GET", "/year/2199", headers={"accept": "text/html"}).status_code == 200
    assert june.ask("GET", "/year/2199-12", headers={"accept": "text/html"}).status_code == 200
    assert june.ask("GET", "/year/1970-01", headers={"accept": "text/html"}).status_code == 200
    assert june.ask("GET", "/year?night=soon", headers={"accept": "text/html"}).status_code == 422


def test_it_is_drawn_once_a_night(june, monkeypatch):
    """The second look works nothing out."""
    html(june)
    monkeypatch.setattr("api.page.year.light_of_past", None)
    html(june)


def test_another_program_is_drawn_at_once(tmp_path):
    """A picture that is kept is of this site only: what a changed program will do shows in the next look."""
    house = PageHouse(tmp_path)
    assert {(low, high) for _, _, low, high in strip(html(house), "orchard")[1]["to-come"]} == {(9.25, 11.75)}
    body = '{"program": ["22:00 to 23:00"]}'
    house.ask("PUT", "/v1/zones/orchard/program", content=body, headers={"content-type": "application/json"})
    assert {(low, high) for _, _, low, high in strip(html(house), "orchard")[1]["to-come"]} == {(10, 11)}
    house.close()


def test_the_next_night_is_drawn_anew(tmp_path):
    """What was still to come the day before stands as lit the day after."""
    house = PageHouse(tmp_path)
    assert "lit" not in strip(html(house), "orchard")[1]
    for _ in range(24):
        house.pass_time(3600)
    assert strip(html(house), "orchard")[1]["lit"]
    house.close()


def test_a_journal_that_cannot_be_read_leaves_the_plan(tmp_path, monkeypatch):
    """The picture then shows what is to come, and a notice says that the past is missing."""

    def broken(*_args, **_more):
        raise JournalError("the journal is damaged")

    house = PageHouse(tmp_path)
    monkeypatch.setattr(JournalReader, "last_sign", broken)
    seen = screen(house, "/year").text
    assert "The journal cannot be read: the picture shows nothing of the past." in seen
    assert "are still to come" in seen
    house.close()


def test_it_speaks_german(june):
    """Numbers and dates as people there write them."""
    seen = screen(june, "/year?night=2027-06-10", headers={"accept-language": "de-DE"}).text
    assert "an von 21:15 bis 22:00 und von 22:30 bis 23:45." in seen
    assert "der Rechner hatte keinen Strom" in seen
