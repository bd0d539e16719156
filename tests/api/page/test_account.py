"""What it cost, as a browser without scripts has it: worked out by hand, and the figures of /v1/hours."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest

from config.file.loader import parse_site
from tests.api.markup import Page
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import screen
from tests.years import write_years

SITE = """\
[site]
name = "Saltmarsh Lodge"
latitude = 41.4901
longitude = -71.3128
time_zone = "America/New_York"

[tariff]
currency = "USD"
per_kwh = 0.30

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[[transformers]]
id = "boathouse"
rated_va = 200

[[zones]]
id = "jetty"
name = "Jetty"
transformer = "boathouse"
pin = 17
rated_watts = 50
program = ["21:00 to 23:00"]

[[zones]]
id = "path"
transformer = "boathouse"
pin = 27
program = ["22:00 to 23:00"]
"""
SHORTER = SITE.replace("21:00 to 23:00", "22:00 to 23:00")


@pytest.fixture(scope="module")
def lodge(tmp_path_factory):
    """A house at one o'clock on 21 June 2027, whose jetty was lit an hour a night in 2026 and two since."""
    folder = tmp_path_factory.mktemp("lodge")
    write_years(folder / "state", parse_site(SHORTER, "site.toml").site, date(2026, 6, 1), date(2027, 5, 31))
    write_years(folder / "state", parse_site(SITE, "site.toml").site, date(2027, 6, 1), date(2027, 6, 20))
    now = datetime(2027, 6, 21, 17, tzinfo=UTC)
    house = PageHouse(folder, site=SITE, at_utc=now, boot_id="another")
    house.pass_time(1)
    yield house
    house.close()


def tables(house, path):
    response = house.ask("GET", path, headers={"accept": "text/html", "accept-language": "en-GB"})
    assert response.status_code == 200, response.text
    return [[[cell.strip() for cell in row] for row in table] for table in Page(response.text).tables]


def test_the_month_so_far_beside_the_year_before(lodge):
    """Twenty nights of two hours at 50 W are 40 h, 2 kWh and 60 cents; a year before it was half of that.

    The other zone adds twenty hours, whose load nobody knows: so all of it is "at least".
    """
    assert (
        "June 2027: at least 0.60 USD so far. 0.30 USD more than a year before."
        in screen(lodge, "/cost").text
    )
    total, zones = tables(lodge, "/cost")
    assert total[1:] == [
        ["so far", "60.0", "≥\u00a02.00", "≥\u00a00.60"],
        ["a year before", "40.0", "≥\u00a01.00", "≥\u00a00.30"],
        ["difference", "+20.0", "+1.00", "+0.30"],
        ["expected by the program", "60.0", "≥\u00a02.00", "≥\u00a00.60"],
        ["difference", "0.0", "0.00", "0.00"],
    ]
    assert zones[1] == ["Jetty"]
    assert zones[2] == ["so far", "40.0", "≥\u00a02.00", "≥\u00a00.60"]
    assert ["path"] in zones


def test_what_is_unknown_is_named(lodge):
    """Beside "at least" stands what would have to be known, and where to enter it."""
    assert (
        "At least: zone path has no load; add fixtures, rated_watts or measured_watts."
        in screen(lodge, "/cost").text
    )


def test_what_is_not_over_says_so(lodge):
    """An unfinished month ends now on both sides, and says so; one that is over does not."""
    so_far = "These nights are not over: all figures, those beside them too, end now."
    assert so_far in screen(lodge, "/cost").text
    over = screen(lodge, "/cost?period=2027-05").text
    assert so_far not in over
    assert "May 2027: at least 0.47 USD." in over  # 31 h of 50 W at 30 cents are 0.465, rounded half up
    assert "There is no record of the year before." in over


def test_a_season_has_its_months(lodge):
    """Each month of a season leads to its own account; those to come say so."""
    html = lodge.ask("GET", "/cost?period=2027-summer", headers={"accept": "text/html"}).text
    assert re.findall(r'<a href="/cost\?period=(2027-0[678])">([^<]*)<', html)[-3:] == [
        ("2027-06", "June 2027, so far"),
        ("2027-07", "July 2027, to come"),
        ("2027-08", "August 2027, to come"),
    ]
    _, months, _ = tables(lodge, "/cost?period=2027-summer")
    assert [row[:2] for row in months[1:4]] == [
        ["June 2027, so far", "60.0"],
        ["a year before", "40.0"],
        ["difference", "+20.0"],
    ]


@pytest.mark.parametrize("period", ["2027-06", "2027-spring", "2026", "2026-12-24 to 2027-01-06"])
def test_the_figures_are_those_of_the_api(lodge, period):
    """Hours, energy and cost of each zone are what /v1/hours gives for the same nights."""
    rows = lodge.get(f"/v1/hours?by=whole&period={period}")["totals"]
    table = tables(lodge, f"/cost?period={period}")[-1]
    shown = [row for row in table if row[0] in ("so far", "lit and used")]
    assert [row[1] for row in shown] == [f"{each['lit_h']:,.1f}" for each in rows]
    assert [row[2].removeprefix("≥\u00a0") for row in shown] == [f"{each['meter_kwh']:,.2f}" for each in rows]
    assert [row[3].removeprefix("≥\u00a0") for row in shown] == [f"{each['cost']:,.2f}" for each in rows]


def test_what_is_to_come_and_what_is_not_recorded(lodge):
    """A period of which nothing can be said yet says just that."""
    assert "July 2027 is still to come." in screen(lodge, "/cost?period=2027-07").text
    assert "There is no record of Spring 2020." in screen(lodge, "/cost?period=2020-spring").text


def test_what_is_no_period_is_refused_in_words(lodge):
    """A text that names no nights, or too many, is told with what would do."""
    for wrong in ("soon", "9999", "2020-01-01 to 2027-01-01"):
        answer = lodge.ask("GET", f"/cost?period={wrong}", headers={"accept": "text/html"})
        assert answer.status_code == 422
        assert wrong in answer.text


def test_the_tables_to_take_away_are_there(lodge):
    """Report and CSV are one tap away, and answer."""
    html = lodge.ask("GET", "/cost", headers={"accept": "text/html"}).text
    addresses = [each.replace("&amp;", "&") for each in re.findall(r'href="(/v1/[^"]*)"', html)]
    kinds = [lodge.ask("GET", each).headers["content-type"] for each in addresses]
    assert kinds.count("text/csv; charset=utf-8") == 2
    assert all(lodge.ask("GET", each).status_code == 200 for each in addresses)
