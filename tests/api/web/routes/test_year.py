"""The year ahead over the web: the command line's own document, and what is refused."""

import pytest

from tests.api.command import call_json
from tests.api.stand_in import problem

# What is asked of the route, and of the command.
QUESTIONS = [
    ("", []),
    ("from=2027-01-03&zone=jetty", ["--from", "2027-01-03", "--zone", "jetty"]),
    (
        "from=2027-01-03&off=01:00&off=23:15&program=dusk+to+22:00+and+05:30+to+dawn&program=dark",
        [
            *("--from", "2027-01-03", "--off", "01:00", "--off", "23:15"),
            *("--program", "dusk to 22:00 and 05:30 to dawn", "--program", "dark"),
        ],
    ),
    ("old_timer=21:15-23:45", ["--old-timer", "21:15-23:45"]),
    (
        "old_timer=21:15+to+23:45&set_on=2027-07-01&moved_at_clock_changes=true&drift_s_per_day=-2.5",
        [
            *("--old-timer", "21:15 to 23:45", "--set-on", "2027-07-01", "--moved-at-clock-changes"),
            *("--drift-s-per-day", "-2.5"),
        ],
    ),
]


@pytest.mark.parametrize(("query", "args"), QUESTIONS)
def test_it_is_the_document_of_the_command_line(house, monkeypatch, query, args):
    """The route and the command give the same JSON, to the last figure, for the same question."""
    monkeypatch.setattr("api.cli.year.now_utc", lambda: house.clock.utc)
    assert house.get(f"/v1/year?{query}") == call_json("year", house.site_path, *args)


@pytest.mark.parametrize(
    ("query", "name", "parameter", "said"),
    [
        ("off=25:00", "not-a-program", "off", "off 1: “25:00”"),
        ("off=22:00&off=1am", "not-a-program", "off", "off 2: “1am”"),
        ("program=dusk+til+late", "not-a-program", "program", "program 1: “dusk til late”"),
        ("old_timer=21:15", "invalid-request", "old_timer", "“21:15” names no two pins"),
        ("old_timer=21:15-21:15", "invalid-request", "old_timer", "cannot both stand at 21:15"),
        (
            "old_timer=21:15-23:45&drift_s_per_day=1000",
            "invalid-request",
            "drift_s_per_day",
            "less than or equal to 900",
        ),
        ("old_timer=21:15-23:45&drift_s_per_day=nan", "invalid-request", "drift_s_per_day", "finite number"),
        ("set_on=2027-01-01", "invalid-request", "old_timer", "needs its pins; give old_timer"),
        ("drift_s_per_day=2", "invalid-request", "old_timer", "needs its pins; give old_timer"),
        (
            "from=2027-01-01&old_timer=21:15-23:45&set_on=2027-02-01",
            "invalid-request",
            "set_on",
            "the timer is set on 2027-02-01, after the first night",
        ),
        ("&".join(["off=22:00"] * 9), "invalid-request", "off", "at most 8 items"),
    ],
)
def test_what_makes_no_sense_is_refused(house, query, name, parameter, said):
    """A question that cannot be answered is refused with the parameter that is to blame."""
    response = house.ask("GET", f"/v1/year?{query}")
    (error,) = response.json()["errors"]
    assert error["parameter"] == parameter
    assert said in problem(response, name, at="/v1/year", errors=[error])["detail"]


def test_an_unknown_zone_is_refused(house):
    """A zone that there is not is refused with those that there are."""
    response = house.ask("GET", "/v1/year?zone=pier")
    problem(response, "unknown-zone", at="/v1/year", zones=["jetty", "orchard"])


@pytest.mark.parametrize("first", ["1970-01-01", "2199-12-31"])
def test_the_edges_of_its_years_are_answered(house, first):
    """The first and the last night that can be asked about begin a year too."""
    assert house.get(f"/v1/year?from={first}")["nights"] == 365
