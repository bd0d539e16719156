"""The report of a season and the year's picture over the web: whole, well made, and standing alone."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from config.file.loader import parse_site
from tests.api.markup import Drawing, Page
from tests.api.stand_in import SITE, House, problem
from tests.controller.board import Board

TARIFF = '[tariff]\ncurrency = "USD"\nper_kwh = 0.30\n\n[relays]'
LAMPS = "  rated_life_h = 100\n  fitted = 2027-05-01\n"


@pytest.fixture(scope="module")
def summer(tmp_path_factory):
    """A house after a summer with a power cut, a stop, a wish for dark, and a relay that failed."""
    text = SITE.replace("[relays]", TARIFF).replace("  watts = 4.5\n", f"  watts = 4.5\n{LAMPS}")
    text = text.replace('name = "Jetty and steps"', 'name = "Jetty & <steps>"')
    folder = tmp_path_factory.mktemp("summer")
    start = datetime(2027, 6, 1, 17, tzinfo=UTC)
    board = Board(folder / "state", parse_site(text, "site.toml").site, start)

    def until(days: int, hours: float) -> None:
        board.run_until(start + timedelta(days=days, hours=hours))

    until(10, 9)  # two in the morning UTC is ten in the evening there
    board.cut_power(1800)
    until(20, 9)
    board.stop(900)
    until(30, 2)
    board.override("orchard", on=False, lasts_s=8 * 3600)
    until(39, 2)
    board.break_relay("jetty")
    until(40, 2)
    board.mend_relay("jetty")
    until(80, 0)
    board.keeper.stop()
    board.close()
    house = House(folder, site=text, at_utc=board.true_utc, boot_id="another")
    house.pass_time(60)
    yield house
    house.close()


def page(house, season):
    """The report, read strictly."""
    response = house.ask("GET", f"/v1/report/{season}")
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    return response.text, Page(response.text)


def test_the_report_is_well_made_and_stands_alone(summer):
    """Every tag is closed in its order; nothing is loaded from anywhere, and no script is in it."""
    html, told = page(summer, "2027-summer")
    assert html.startswith("<!DOCTYPE html>")
    assert "script" not in told.tags
    assert told.links
    assert all(link.startswith("#") for link in told.links)
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", html)
    assert "@import" not in html
    assert not re.search(r"\son\w+=", html)
    response = summer.ask("GET", "/v1/report/2027-summer")
    policy = response.headers["content-security-policy"]
    assert re.match("default-src 'none'; style-src 'sha256-[^']{44}'; ", policy)


def test_the_report_tells_totals_zones_lamps_and_what_was_missed(summer):
    """The figures are those of the account; every zone and every reason stands in it."""
    _, told = page(summer, "2027-summer")
    account = summer.get("/v1/hours?by=month&period=2027-summer")
    assert "Saltmarsh Lodge: Summer 2027" in told.text
    assert "so far, to 20 August 2027: 81 of 92 nights" in told.text
    tasks, missed, zones, months, parts, lamps = told.tables
    assert [row[0] for row in zones[1:]] == ["Jetty & <steps>", "orchard", "Total"]
    for row, total in zip(zones[1:3], account["totals"], strict=True):
        assert row[1] == f"{total['lit_h']:.2f}"
        assert row[zones[0].index("Starts")] == str(total["starts"])
    assert zones[3][-1] == f"≥ {account['total']['cost']:.2f}"
    assert [row[0] for row in months[1:]] == ["June 2027", "July 2027", "August 2027, so far"]
    assert parts[1][1] == f"{account['total']['lamps_kwh']:.2f}"
    reasons = {part["why"] for total in account["totals"] for part in total["missed"]}
    assert reasons == {"power lost", "stopped", "override", "relay fault"}
    assert {row[2] for row in missed[1:-1]} == reasons
    assert {row[3] for row in missed[1:-1]} == {"all zones", "Jetty & <steps>", "orchard"}
    worn = f"{account['lamps'][0]['used'] * 100:.0f} % of the rated life used"
    assert ["", "Jetty & <steps>", f"Replace 6 × path: {worn}", "now"] in tasks
    assert lamps[1][0] == "→ Jetty & <steps>"
    assert lamps[1][-1] == "past the rated life: replace"
    assert "To replace by August 2028, shaded and marked with an arrow: 1 of 1." in told.text
    for words in ("Remarks", "Date", "Name", "Signature", "At least: ", "Lamps and relays now"):
        assert words in told.text


def test_the_report_prints_on_any_paper(summer):
    """Margins are named and no size is, so that the printer's paper is taken; rows keep together."""
    html, _ = page(summer, "2027-summer")
    assert re.search(r"@page \{ margin: [^}]*\}", html)
    assert not re.search(r"@page[^}]*size", html)
    assert "print-color-adjust: exact" in html
    assert "<thead>" in html
    assert "break-inside: avoid" in html


def test_the_report_holds_the_year_twice_for_paper_and_phone(summer):
    """The picture stands in it for wide and for narrow, each with a title of its own, and its shapes once."""
    html, told = page(summer, "2027-summer")
    pictures = re.findall(r"<svg.*?</svg>", html, re.DOTALL)
    both = Drawing(f'<svg xmlns="http://www.w3.org/2000/svg">{"".join(pictures)}</svg>')
    assert [each.get("viewBox").split()[2] for each in both.root] == ["1000", "380"]
    titles = both.words("title")
    assert titles[0] == titles[1]
    assert titles[0].startswith("Saltmarsh Lodge: what was lit, 1 September 2026")
    shapes = [outline for outline in re.findall(r' d="([^"]+)"', "".join(pictures)) if len(outline) > 200]
    assert len(set(shapes)) == len(shapes) > 3
    assert "wide-title" in told.ids
    assert "narrow-title" in told.ids


@pytest.mark.parametrize(
    ("period", "title"),
    [
        ("2027-06", "June 2027"),
        ("2027-06-15", "Night of 15 June 2027"),
        ("2027-06-10 to 2027-07-20", "Nights of 10 June to 20 July 2027"),
        ("2027-winter", "Winter 2027/28"),
    ],
)
def test_any_period_has_a_report(summer, period, title):
    """A month, a night or any stretch is reported too, also one that is still to come."""
    html, told = page(summer, period)
    assert f"Saltmarsh Lodge: {title}" in told.text
    # In the foot of each page too, without its beginning where that is still to come.
    assert (f"{title}, to come" in html) is ("still to come" in told.text)


def test_a_quiet_season_missed_nothing(house):
    """Where all that was planned was lit the report says so."""
    house.pass_time(60)
    _, told = page(house, "2027-06")
    assert "Nothing: every planned hour was lit." in told.text
    assert "there is no record of the time before" in told.text


def test_a_season_before_the_journal_is_not_called_well(house):
    """Where nothing is known, nobody is told that every planned hour was lit."""
    house.pass_time(60)
    _, told = page(house, "2025-summer")
    assert "every planned hour was lit" not in told.text
    assert "there is no record of the time before" in told.text
    # The work to do, and no lamps: of those of that time nobody knew.
    assert [table[0][1] for table in told.tables] == ["Zone"]


@pytest.mark.parametrize("season", ["winter", "2027-monsoon", "2027-6", "20270601"])
def test_what_is_no_season_is_refused(house, season):
    """A name that is none is refused with examples of what would do."""
    response = house.ask("GET", f"/v1/report/{season}")
    (error,) = response.json()["errors"]
    assert error["parameter"] == "season"
    assert "2027-winter" in error["detail"]
    problem(response, "invalid-request", at=f"/v1/report/{season}", errors=[error])


# -- the picture ---------------------------------------------------------------------------------------------


def test_the_picture_is_an_image_that_stands_alone(house):
    """It comes as SVG, with a title, and may load nothing."""
    response = house.ask("GET", "/v1/year.svg")
    assert response.headers["content-type"] == "image/svg+xml"
    assert "default-src 'none'" in response.headers["content-security-policy"]
    drawing = Drawing(response.text)
    assert drawing.words("title") == ["Saltmarsh Lodge: what will be lit, 21 June 2027 to 19 June 2028"]
    assert {"Jetty and steps", "orchard"} <= set(drawing.words())


def test_the_picture_of_the_past_ends_tonight(house):
    """Without a date the past is the 365 nights up to tonight; with one, 365 nights from there."""
    house.pass_time(60)
    (title,) = Drawing(house.ask("GET", "/v1/year.svg?kind=past").text).words("title")
    assert title.endswith("what was lit, 22 June 2026 to 21 June 2027")
    (title,) = Drawing(house.ask("GET", "/v1/year.svg?kind=past&from=2027-01-01").text).words("title")
    assert title.endswith("what was lit, 1 January 2027 to 31 December 2027")


def test_the_picture_of_one_zone_on_a_phone(house):
    """One zone alone, as narrow as a phone."""
    for kind in ("past", "future"):
        text = house.ask("GET", f"/v1/year.svg?kind={kind}&zone=orchard&width=360").text
        drawing = Drawing(text)
        assert drawing.root.get("width") == "360"
        assert "orchard" in drawing.words()
        assert "Jetty and steps" not in drawing.words()


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("kind=now", "kind"),
        ("width=10", "width"),
        ("width=wide", "width"),
        ("from=now", "from"),
        ("to=2027-06-21", "to"),
    ],
)
def test_a_picture_that_makes_no_sense_is_refused(house, query, parameter):
    """What cannot be drawn is refused with the parameter that is to blame."""
    response = house.ask("GET", f"/v1/year.svg?{query}")
    (error,) = response.json()["errors"]
    assert error["parameter"] == parameter
    problem(response, "invalid-request", at="/v1/year.svg", errors=[error])


def test_a_picture_of_an_unknown_zone_is_refused(house):
    """A zone that there is not is refused with those that there are."""
    response = house.ask("GET", "/v1/year.svg?zone=pier")
    problem(response, "unknown-zone", at="/v1/year.svg", zones=["jetty", "orchard"])
