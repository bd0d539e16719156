"""Routes of the account: hours of the past, and lamps that were replaced."""

from __future__ import annotations

import asyncio
import threading
from datetime import date, datetime

import pytest

from api.render.hours_json import HoursResponse
from api.web.context import YearCache
from api.web.slots import MOST_LONG_RUNNING
from config.file.loader import load_site
from controller.forecast.forecast import look_ahead
from controller.history.query import HoursQuery
from controller.planning.planner import Planner
from tests.api.command import call, call_json
from tests.api.lines import LONG_S
from tests.api.stand_in import SITE, House, problem

TARIFF = '[tariff]\ncurrency = "USD"\nper_kwh = 0.30\n\n[relays]'


@pytest.fixture
def fortnight(tmp_path):
    """A house after two weeks, its clock moved in steps of a quarter of an hour."""
    house = House(tmp_path, site=SITE.replace("[relays]", TARIFF))
    for _ in range(14 * 96):
        house.clock.advance(900)
        house.loop.run_once()
    house.journal.flush()
    yield house
    house.close()


@pytest.mark.parametrize(
    ("query", "args"),
    [
        ("", ()),
        ("?by=night&from=2027-06-22", ("--by", "night", "--from", "2027-06-22")),
        ("?by=whole&from=2027-06-22&to=2027-06-25", ("--by=whole", "--from=2027-06-22", "--to=2027-06-25")),
        ("?by=season&period=2027-summer", ("--by", "season", "--period", "2027-summer")),
        ("?by=whole", ("--by", "whole")),
        ("?by=month&zone=orchard", ("--by", "month", "--zone", "orchard")),
        ("?by=year&all=true", ("--by", "year", "--all")),
        (
            "?period=2027-06&beside=last-year&beside=forecast",
            ("--period", "2027-06", "--beside", "last-year", "--beside", "forecast"),
        ),
    ],
)
def test_hours_are_those_of_the_command_line(fortnight, monkeypatch, query, args):
    """The response is the document that the command line prints."""
    monkeypatch.setattr("api.cli.hours.now_utc", lambda: fortnight.clock.utc)
    told = fortnight.get(f"/v1/hours{query}")
    assert told == call_json("hours", fortnight.site_path, "--state", fortnight.journal.directory, *args)
    assert told.keys() == {
        each.serialization_alias or name for name, each in HoursResponse.model_fields.items()
    }


def test_the_whole_history_comes_as_csv(fortnight, monkeypatch):
    """Night by night since the journal began, the table is the one that the command line prints."""
    monkeypatch.setattr("api.cli.hours.now_utc", lambda: fortnight.clock.utc)
    args = (
        "hours",
        fortnight.site_path,
        "--state",
        fortnight.journal.directory,
        "--by=night",
        "--all",
        "--csv",
    )
    response = fortnight.ask("GET", "/v1/hours?by=night&all=true&format=csv")
    assert response.headers["content-type"] == "text/csv; charset=utf-8"
    assert response.content == call(*args).stdout_bytes
    assert len(response.text.split("\r\n")) == 1 + 15 * 2 + 1


@pytest.mark.parametrize(
    ("accept", "query", "media_type"),
    [
        ("text/csv", "", "text/csv; charset=utf-8"),
        ("text/csv, */*;q=0.1", "", "text/csv; charset=utf-8"),
        ("application/json;q=0.5, Text/CSV ; q=0.9", "", "text/csv; charset=utf-8"),
        ("text/csv;q=0", "", "application/json"),
        ("text/csv, application/json", "", "application/json"),
        ("text/html, */*", "", "application/json"),
        ("", "", "application/json"),
        ("text/csv", "?format=json", "application/json"),
        ("application/json", "?format=csv", "text/csv; charset=utf-8"),
    ],
)
def test_the_form_is_what_the_client_prefers(house, accept, query, media_type):
    """By the header Accept (RFC 9110, section 12.5.1), unless the address names a form."""
    response = house.ask("GET", f"/v1/hours{query}", headers={"accept": accept})
    assert response.status_code == 200
    assert response.headers["content-type"] == media_type
    assert response.headers["vary"] == "Accept"


def test_hours_add_up(fortnight):
    """Fourteen nights of the orchard from 21:15 to 23:45, seen by rounds a quarter of an hour apart."""
    told = fortnight.get("/v1/hours?by=night&from=2027-06-22&to=2027-07-04&zone=orchard")
    assert {row["lit_h"] for row in told["hours"]} == {2.5}
    (total,) = told["totals"]
    assert (total["lit_h"], total["starts"], total["missed_h"]) == (13 * 2.5, 13, 0.0)
    # Nobody said what the orchard draws.
    assert (total["lamps_kwh"], total["without_load_h"], total["at_least"]) == (0.0, 32.5, True)


def test_the_year_to_come_is_worked_out_once_a_night(fortnight, monkeypatch):
    """The year ahead is computed once for many requests, and again when the site changes."""
    made = []

    def counting(*args, **more):
        made.append(args)
        return look_ahead(*args, **more)

    monkeypatch.setattr("controller.history.report.look_ahead", counting)
    for _ in range(3):
        fortnight.get("/v1/hours")
    assert len(made) == 1
    body = {"program": ["dusk to 23:00"]}
    assert fortnight.ask("PUT", "/v1/zones/jetty/program", json=body).status_code == 200
    told = fortnight.get("/v1/hours")
    assert len(made) == 2
    assert told["lamps"][0]["used_in_a_year"] is None  # no rated life is given


def test_hours_have_a_planner_of_their_own(fortnight, monkeypatch):
    """Nights are answered while hours are computed: each has its own planner."""
    seen = []

    def look(self, planner, now):
        seen.append(planner is fortnight.gateway.planner)
        assert isinstance(planner, Planner)
        return original(self, planner, now)

    original = YearCache.year_ahead
    monkeypatch.setattr(YearCache, "year_ahead", look)
    fortnight.get("/v1/hours")
    assert seen == [False]


def test_long_requests_delay_no_others(house):
    """The status is answered at once while more long requests wait than there are threads for them."""
    read_query = HoursQuery
    begun, go_on = threading.Semaphore(0), threading.Event()

    def slow(**fields):
        begun.release()
        assert go_on.wait(LONG_S)
        return read_query(**fields)

    async def many():
        waiting = [asyncio.create_task(house.ask_in_loop("GET", "/v1/hours")) for _ in range(8)]
        for _ in range(MOST_LONG_RUNNING):
            await asyncio.to_thread(begun.acquire, timeout=LONG_S)
        status = await asyncio.wait_for(house.ask_in_loop("GET", "/v1/status"), LONG_S)
        still = sum(not each.done() for each in waiting)
        go_on.set()
        return status, still, await asyncio.gather(*waiting)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("api.web.routes.hours.HoursQuery", slow)
        status, still, answers = asyncio.run(many())
    assert status.status_code == 200
    assert still == 8
    assert {each.status_code for each in answers} == {200}


@pytest.mark.parametrize(
    ("query", "parameter", "told"),
    [
        ("period=2027-13", "period", "is not a period"),
        ("period=soon", "period", "“soon” is not a period"),
        ("period=20270601", "period", "“20270601” is not a period"),
        ("period=1900-winter", "period", "out of range"),
        ("period=9999-winter", "period", "is not a period"),
        ("period=2027-06&from=2027-06-01", "period", "a period has its own dates"),
        ("from=2027-06-22&to=2027-06-21", "to", "lies before"),
        ("by=week", "by", "by:"),
        ("all=true&from=2027-06-22", "all", "leave out either “all” or “from”"),
        ("beside=tomorrow", "beside", "beside"),
        ("format=xml", "format", "format:"),
        ("from=yesterday", "from", "is not a date"),
        ("since=2027-06-22", "since", "is not an allowed parameter"),
        ("by=night&from=1970-01-01&to=2190-01-01", "to", "ask for fewer at once"),
        ("by=whole&period=1970-01-01 to 2190-02-01", "period", "ask for fewer at once"),
    ],
)
def test_hours_that_make_no_sense_are_refused(fortnight, query, parameter, told):
    """A request that is not valid is refused, with the parameter that is wrong."""
    response = fortnight.ask("GET", f"/v1/hours?{query}")
    (error,) = response.json()["errors"]
    assert error["parameter"] == parameter
    assert told in error["detail"]
    problem(response, "invalid-request", at="/v1/hours", errors=[error])


def test_an_unknown_zone_is_refused_and_one_that_is_gone_is_not(fortnight):
    """A zone that left the site file is accounted for as long as the journal knows it."""
    start = fortnight.site_path.read_text().index('[[zones]]\nid = "orchard"')
    fortnight.site_path.write_text(fortnight.site_path.read_text()[:start])
    site = load_site(fortnight.site_path).site
    fortnight.loop.call(lambda keeper: keeper.change_site(site, words="edited by hand"))
    fortnight.pass_time(60)
    told = fortnight.get("/v1/hours?zone=orchard")
    assert told["total"]["lit_h"] > 30
    problem(fortnight.ask("GET", "/v1/hours?zone=pier"), "unknown-zone", at="/v1/hours", zones=["jetty"])


@pytest.mark.parametrize("route", ["hours", "replacements", "report/2027-summer", "year.svg?kind=past"])
def test_a_journal_that_cannot_be_read_is_reported(house, route):
    """While the journal cannot be read every response that needs it says so."""
    house.journal.close()
    house.journal.path.write_bytes(b"this is no journal, but it is longer than a header of SQLite's " * 50)
    path = f"/v1/{route}".partition("?")[0]
    problem(house.ask("GET", f"/v1/{route}"), "journal-unreadable", at=path)


def test_now_is_the_keepers_now(fortnight):
    """The account goes up to the keeper's clock, not to this machine's."""
    told = fortnight.get("/v1/hours")
    assert datetime.fromisoformat(told["as_of"]) == fortnight.clock.utc
    assert told["to"] == date(2027, 7, 5).isoformat()
