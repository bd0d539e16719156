"""Routes over time: nights by the site file, and switchings from the journal."""

import json
from datetime import date, datetime, timedelta

import pytest

from api.render.nights_json import NightsResponse, write_nights_json
from config.file.loader import load_site
from tests.api.stand_in import SITE, House, problem

# -- nights --------------------------------------------------------------------------------------------------


def test_nights_begin_tonight_and_are_seven(house):
    """Without dates the nights are tonight and the six that follow, each with every zone."""
    nights = house.get("/v1/nights")["nights"]
    expected = [(date(2027, 6, 21) + timedelta(days=day)).isoformat() for day in range(7)]
    assert [each["night"] for each in nights if each["zone"] == "jetty"] == expected
    assert [each["night"] for each in nights if each["zone"] == "orchard"] == expected


def test_tonight_is_the_night_that_holds_now(tmp_path):
    """At half past one in the morning tonight still is the night that began the day before."""
    house = House(tmp_path, at_utc=datetime.fromisoformat("2027-06-22T05:30:00+00:00"))
    assert house.get("/v1/nights")["nights"][0]["night"] == "2027-06-21"
    house.close()


def test_nights_are_those_of_the_command_line(house):
    """The response is the document that the shared function makes."""
    told = house.get("/v1/nights?from=2027-10-30&to=2027-11-09&zone=jetty")
    expected = write_nights_json(house.gateway.planner, date(2027, 10, 30), date(2027, 11, 9), ["jetty"])
    assert told == json.loads("".join(expected))
    # New York's clocks go back on 7 November 2027 (tz database): midnight moves from 04:00 to 05:00 UTC.
    offs = [
        night["windows"][0]["off"][11:16] for night in told["nights"] if night["because"] == "every night"
    ]
    assert offs == ["04:00"] * 5 + ["05:00"] * 3


def test_nights_keep_their_model(house):
    """The response is valid by the model that describes it."""
    NightsResponse.model_validate(house.get("/v1/nights"))


def test_one_end_alone_is_enough(house):
    """From alone gives seven nights; to alone begins tonight."""
    assert len(house.get("/v1/nights?from=2028-02-28&zone=jetty")["nights"]) == 7
    assert len(house.get("/v1/nights?to=2027-06-23&zone=jetty")["nights"]) == 3


def test_as_many_nights_as_allowed_are_answered(house):
    """Eight hundred nights are answered at once."""
    told = house.get("/v1/nights?from=2027-01-01&to=2029-03-10&zone=jetty")
    assert len(told["nights"]) == 800


def test_an_answer_has_a_bounded_number_of_windows(tmp_path):
    """What could be more than 50000 windows, as of a crowded garden, is refused; a part of it is not."""
    spans = ", ".join(f'"{hour:02}:00 to {hour:02}:30"' for hour in range(24))
    zones = (
        f'[[zones]]\nid = "z{pin}"\ntransformer = "boathouse"\npin = {pin}\nprogram = [{spans}]\n'
        for pin in range(5, 10)
    )
    house = House(tmp_path, site="\n".join([SITE, *zones]))
    response = house.ask("GET", "/v1/nights?from=2027-01-01&to=2028-12-31")
    most = 731 * (5 * 24 + 2)
    what = f"731 nights of 7 zones have up to {most} windows, more than 50000"
    detail = f"{what}; ask for fewer nights, or for one zone"
    problem(response, "invalid-request", at="/v1/nights", errors=[{"detail": detail, "parameter": "to"}])
    assert len(house.get("/v1/nights?from=2027-01-01&to=2028-12-31&zone=z5")["nights"]) == 731
    assert len(house.get("/v1/nights?from=2027-01-01&to=2027-12-31")["nights"]) == 365 * 7
    house.close()


@pytest.mark.parametrize("year", [1970, 2199])
def test_nights_are_answered_to_the_edges_of_their_years(house, year):
    """The first and the last possible nights are answered."""
    assert len(house.get(f"/v1/nights?from={year}-01-01&to={year}-12-31&zone=jetty")["nights"]) == 365


@pytest.mark.parametrize(
    ("query", "parameter", "detail"),
    [
        (
            "from=2027-01-01&to=2029-03-11",
            "to",
            "801 nights were asked for; ask for at most 800 at once",
        ),
        (
            "from=2027-06-22&to=2027-06-21",
            "to",
            "to = 2027-06-21 lies before from = 2027-06-22; name a last night that is not before the first",
        ),
        (
            "to=2027-06-20",
            "to",
            "to = 2027-06-20 lies before from = 2027-06-21; name a last night that is not before the first",
        ),
        ("from=today", "from", "from: “today” is not a date; write year-month-day such as 2027-06-21"),
        ("from=2027-02-29", "from", "from: “2027-02-29” does not exist; write a day of the calendar"),
        ("form=2027-06-21", "form", "“form” is not an allowed parameter; allowed: from, to, zone"),
    ],
)
def test_nights_that_make_no_sense_are_refused(house, query, parameter, detail):
    """A request that is not valid is refused, with the parameter that is wrong."""
    response = house.ask("GET", f"/v1/nights?{query}")
    errors = [{"detail": detail, "parameter": parameter}]
    assert problem(response, "invalid-request", at="/v1/nights", errors=errors)["detail"] == detail


def test_nights_of_an_unknown_zone_are_refused(house):
    """A zone that there is not is refused with those that there are."""
    problem(
        house.ask("GET", "/v1/nights?zone=pier"), "unknown-zone", at="/v1/nights", zones=["jetty", "orchard"]
    )


# -- switchings ----------------------------------------------------------------------------------------------


@pytest.fixture
def fortnight(house):
    """A house after two weeks, its clock moved in steps of a quarter of an hour."""
    for _ in range(14 * 96):
        house.clock.advance(900)
        house.loop.run_once()
    house.journal.flush()
    return house


def test_switchings_come_newest_first(house):
    """Switchings come newest first, each with its cause, reason and load."""
    house.pass_time(2 * 3600 + 15 * 60)  # to 23:45 local time
    house.pass_time(15 * 60)  # to midnight
    told = house.get("/v1/switchings")
    assert told["site"] == "Saltmarsh Lodge"
    assert told["next"] is None
    assert told["switchings"][:2] == [
        {
            "at": "2027-06-22T04:00:00Z",
            "zone": "jetty",
            "on": False,
            "cause": "program",
            "because": "dusk to midnight is over, every night",
            "trusted": True,
            "load_w": 27.0,
            "load_from": "fixtures",
        },
        {
            "at": "2027-06-22T03:45:00Z",
            "zone": "orchard",
            "on": False,
            "cause": "program",
            "because": "21:15 to 23:45 is over, every night",
            "trusted": True,
            "load_w": None,
            "load_from": None,
        },
    ]
    assert [each["at"] for each in told["switchings"][2:]] == ["2027-06-22T01:30:00Z"] * 2


def test_the_last_seven_days_are_listed(fortnight):
    """Without dates only the switchings of the last seven days are listed."""
    told = fortnight.get("/v1/switchings?limit=1000")["switchings"]
    now = fortnight.clock.utc
    assert all(now - timedelta(days=7) <= datetime.fromisoformat(each["at"]) <= now for each in told)
    assert len(told) == 7 * 4  # two zones, on and off


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 1000])
def test_pages_lead_on_without_a_gap_or_a_double(fortnight, limit):
    """Following next gives every switching once and in order, also where several fall into one instant."""
    url, pages = f"/v1/switchings?from=2027-06-01T00:00:00Z&limit={limit}", []
    while url is not None:
        told = fortnight.get(url)
        pages.append(told["switchings"])
        url = told["next"]
    assert all(len(page) == limit for page in pages[:-1])
    every = [each for page in pages for each in page]
    # The journal itself, read in the other direction, is the check.
    written = list(fortnight.gateway.journal.switchings())
    assert [(each["at"], each["zone"], each["on"]) for each in reversed(every)] == [
        (f"{each.at.utc:%Y-%m-%dT%H:%M:%SZ}", each.zone, each.on) for each in written
    ]
    instants = [each["at"] for each in every]
    assert len(set(instants)) < len(instants), "two switchings in one instant are part of this test"


def test_pages_keep_to_their_zone(fortnight):
    """The next page is of the same zone and the same stretch as the first."""
    told = fortnight.get("/v1/switchings?zone=orchard&limit=4&from=2027-06-28")
    assert told["next"].startswith("/v1/switchings?from=2027-06-28T16:00:00Z&limit=4&zone=orchard&cursor=")
    assert {each["zone"] for each in fortnight.get(told["next"])["switchings"]} == {"orchard"}


def test_a_date_stands_for_its_whole_night(fortnight):
    """From and to given as dates mean from the noon of the first to the noon after the last."""
    told = fortnight.get("/v1/switchings?zone=jetty&from=2027-06-25&to=2027-06-26")["switchings"]
    # Friday and Saturday: dusk to 01:30, seen by rounds a quarter of an hour apart.
    assert [each["at"] for each in told] == [
        "2027-06-27T05:30:00Z",
        "2027-06-27T01:00:00Z",
        "2027-06-26T05:30:00Z",
        "2027-06-26T01:00:00Z",
    ]


def test_an_entry_from_a_clock_that_ran_ahead_is_still_listed(house):
    """A clock that ran ahead leaves entries in the future, which are listed with the newest."""
    house.pass_time(60)
    house.clock.step(40 * 86400)
    house.pass_time(6 * 3600)
    house.clock.step(-40 * 86400)
    house.pass_time(60)
    assert house.get("/v1/switchings")["switchings"][0]["at"] == "2027-08-01T07:31:00Z"


def test_a_zone_that_is_gone_keeps_its_past(house):
    """Switchings of a zone that was removed are listed; a zone that never existed is refused."""
    house.pass_time(60)
    start = SITE.index('[[zones]]\nid = "orchard"')
    house.site_path.write_text(SITE[:start], encoding="utf-8")
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="edited by hand"))
    house.pass_time(60)
    told = house.get("/v1/switchings?zone=orchard")["switchings"]
    assert [(each["on"], each["cause"]) for each in told] == [(False, "site changed"), (True, "program")]
    assert house.get("/v1/switchings?zone=orchard&from=2020-01-01&to=2020-01-02")["switchings"] == []
    response = house.ask("GET", "/v1/switchings?zone=pier")
    problem(response, "unknown-zone", at="/v1/switchings", zones=["jetty"])


def test_a_journal_that_cannot_be_read_is_reported(house):
    """While the journal cannot be read the response says so and what to do; other routes go on."""
    house.journal.close()
    house.journal.path.write_bytes(b"this is no journal, but it is longer than a header of SQLite's " * 50)
    told = problem(house.ask("GET", "/v1/switchings"), "journal-unreadable", at="/v1/switchings")
    assert "damaged" in told["detail"]
    assert house.get("/v1/zones/jetty")["lit"] is True


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("limit=0", "limit"),
        ("limit=1001", "limit"),
        ("limit=many", "limit"),
        ("cursor=0", "cursor"),
        ("cursor=1.2.3", "cursor"),
        ("cursor=999999999999999.0", "cursor"),  # beyond the last year of any calendar here
        ("from=yesterday", "from"),
        ("from=2027-06-22T01:00:00Z&to=2027-06-22T01:00:00Z", "to"),
        ("since=2027-06-22", "since"),
    ],
)
def test_switchings_that_make_no_sense_are_refused(house, query, parameter):
    """A request that is not valid is refused, with the parameter that is wrong."""
    response = house.ask("GET", f"/v1/switchings?{query}")
    (error,) = response.json()["errors"]
    assert error["parameter"] == parameter
    problem(response, "invalid-request", at="/v1/switchings", errors=[error])


def test_an_empty_journal_has_no_switchings(tmp_path):
    """Where nothing was ever lit the list is empty."""
    house = House(tmp_path, trusted=False)
    house.pass_time(60)
    assert house.get("/v1/switchings") == {"site": "Saltmarsh Lodge", "switchings": [], "next": None}
    house.close()


def test_nights_are_sent_as_text_that_any_reader_takes(house):
    """The document is plain UTF-8 JSON, also where a name has letters beyond ASCII."""
    text = SITE.replace("Saltmarsh Lodge", "Søltmyr Ødegård")
    house.site_path.write_text(text, encoding="utf-8")
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="renamed"))
    content = house.ask("GET", "/v1/nights").content
    assert json.loads(content.decode("utf-8"))["site"] == "Søltmyr Ødegård"


def test_pages_are_linked_in_the_header_too(fortnight):
    """Each page but the last has its successor in the header Link, as in “next” (RFC 8288)."""
    address, pages = "/v1/switchings?limit=9&zone=jetty", []
    while address:
        response = fortnight.ask("GET", address)
        pages.append(response.json())
        linked = response.links.get("next", {}).get("url")  # as httpx reads it
        assert linked == pages[-1]["next"]
        address = linked
    assert "link" not in response.headers
    assert [len(page["switchings"]) for page in pages] == [9, 5]  # seven nights, on and off
