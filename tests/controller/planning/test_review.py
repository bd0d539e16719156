"""A year's review: which spans give no light, on how many nights, from when to when."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from config.errors import Severity
from controller.calendar.night import night_on, nights
from controller.planning.planner import Planner
from controller.planning.review import Finding, review_year
from tests.reference import rows
from tests.reference import zone as reference_zone
from tests.sites import site, zone

FIRST = date(2027, 1, 1)


def review(*zones: dict[str, Any], first: date = FIRST, **place: Any) -> tuple[Finding, ...]:
    """Review the year of a site."""
    return review_year(Planner(site(*zones, **place)), first)


def test_a_site_that_is_lit_every_night_is_not_remarked_on() -> None:
    """Silence means that every span gives light on every night on which it counts."""
    assert review(zone("jetty", "dusk to midnight")) == ()


def test_dusk_after_the_off_time_is_found_on_every_such_night() -> None:
    """At 60 N dusk falls after midnight on 37 nights of 2027: season_nightly.csv, from JPL DE421."""
    dark = [
        date.fromisoformat(row["local_night_date"])
        for row in rows("season_nightly.csv")
        if row["latitude"] == "60" and float(row["hours_civil_dusk_to_midnight"]) == 0
    ]
    assert len(dark) == 37
    place = {"latitude": 60.0, "longitude": 10.0, "time_zone": "Europe/Oslo"}
    ((severity, remark),) = review(zone("jetty", "dusk to midnight"), **place)
    assert severity is Severity.NOTE
    assert remark.path == ("zones", 0, "program", 0)
    assert f"on 37 of its 365 nights: {dark[0]} to {dark[-1]}" in remark.what
    assert "is not before 00:00" in remark.what


def test_a_year_that_begins_in_the_dark_stretch_names_both_parts() -> None:
    """Seen from midsummer the nights without dusk are two stretches, and both are named."""
    place = {"latitude": 60.0, "longitude": 10.0, "time_zone": "Europe/Oslo"}
    ((_, remark),) = review(zone("jetty", "dusk to midnight"), first=date(2027, 6, 21), **place)
    assert "2027-06-21 to 2027-07-" in remark.what
    assert " and 2028-06-" in remark.what


def test_a_span_that_no_night_of_the_year_fulfils_is_a_warning() -> None:
    """On the equator it is never dark at five in the afternoon: UTC and longitude 0, sunset about 18:00."""
    place = {"latitude": 0.0, "longitude": 0.0, "time_zone": "Etc/UTC"}
    ((severity, remark),) = review(zone("jetty", "15:00 to 17:00, while dark"), **place)
    assert severity is Severity.WARNING
    assert "any of its 365 nights" in remark.what


def test_each_program_is_reviewed_on_its_own_nights_only() -> None:
    """A special night takes its nights away from the program, and the last one in the file decides."""
    summer = ("06-01 to 07-31", ["dusk to 22:00"])
    place = {"latitude": 60.0, "longitude": 10.0, "time_zone": "Europe/Oslo"}
    ((severity, remark),) = review(zone("jetty", "dusk to midnight", special=[summer]), **place)
    assert remark.path == ("zones", 0, "special_nights", 0, "program", 0)
    assert "any of its 61 nights from 2027-06-01 to 2027-07-31" in remark.what
    assert severity is Severity.WARNING


def test_a_special_night_that_never_decides_is_found() -> None:
    """Weekdays below a date that falls on one of them leave it nothing to decide."""
    special = [("2027-12-31", ["dusk to 03:00"]), ("Fri", ["dusk to 23:00"])]
    ((severity, remark),) = review(zone("jetty", "dusk to midnight", special=special))
    assert remark.path == ("zones", 0, "special_nights", 0, "nights")
    assert severity is Severity.WARNING
    assert "never decides" in remark.what


def test_a_date_that_is_over_is_a_note_and_one_to_come_is_none() -> None:
    """A past date decides nothing any more; one beyond the year is in order."""
    special = [("2025-12-31", ["dusk to 03:00"]), ("2031-12-31", ["dusk to 03:00"]), ("02-29 to 02-29", [])]
    ((severity, remark),) = review(zone("jetty", "dusk to midnight", special=special))
    assert remark.path == ("zones", 0, "special_nights", 0, "nights")
    assert (remark.what, severity) == ("is in the past", Severity.NOTE)


@pytest.mark.parametrize(
    "described",
    [
        # The file's own check names these: it needs no sun for them.
        zone("jetty", "23:00 to 22:00", "dusk to midnight"),
        zone("jetty", "dusk to midnight", special=[("Fri", []), ("Fri", ["dusk to 23:00"])]),
        # Dark on purpose.
        zone("jetty", "dusk to midnight", special=[("11-15 to 03-15", [])]),
    ],
)
def test_what_the_clock_alone_shows_is_not_said_again(described: dict[str, Any]) -> None:
    """The review is about the sun; what was said when the file was read, or is meant, is left alone."""
    assert review(described) == ()


@pytest.mark.parametrize(
    "row",
    [
        row
        for row in rows("sun.csv")
        if row["event"] == "sunrise" and row["instant_utc"].endswith("Z") and abs(float(row["latitude"])) < 62
    ],
    ids=lambda row: f"{row['place']} {row['night']}",
)
def test_hours_in_daylight_are_those_since_sunrise(row: dict[str, str]) -> None:
    """``dusk to 11:00`` is lit by day from sunrise, by JPL DE421, to eleven o'clock."""
    night = date.fromisoformat(row["night"])
    ends = datetime.combine(night + timedelta(days=1), time(11), reference_zone(row["time_zone"]))
    hours = (ends - datetime.fromisoformat(row["instant_utc"])) / timedelta(hours=1)
    special = [(row["night"], ["dusk to 11:00"])]
    place = {"latitude": float(row["latitude"]), "longitude": float(row["longitude"])}
    described = zone("jetty", "dusk to midnight", special=special)
    found = review(described, first=night, **place, time_zone=row["time_zone"])
    told = [remark for _, remark in found if remark.path == ("zones", 0, "special_nights", 0, "program", 0)]
    if hours < 1.99:
        assert told == []
        return
    (remark,) = told
    # Rounded to a tenth of an hour; the sun may be a minute off.
    assert float(re.findall(r"at most ([0-9.]+) h", remark.what)[0]) == pytest.approx(hours, abs=0.07)
    assert "on its only night" in remark.what
    assert remark.remedy == "write 23:00 if the evening is meant, or add “, while dark”"


def test_a_morning_hour_for_an_evening_one_is_a_warning() -> None:
    """At 51.5 N the sun is up for hours before eleven on every morning of the year."""
    ((severity, remark),) = review(zone("jetty", "dusk to 11:00"))
    assert severity is Severity.WARNING
    assert remark.path == ("zones", 0, "program", 0)
    # Sunrise is at 04:43 in June; astronomical almanacs of London.
    assert "for 2 hours or more on 365 of its 365 nights, at most 6.3 h (2027-06-1" in remark.what


@pytest.mark.parametrize(
    ("span", "severity"),
    [
        ("17:00 to 22:00", Severity.NOTE),
        ("14:00 to 20:00", Severity.WARNING),
        ("05:00 to 09:30", Severity.WARNING),
        ("12:00 for 24h", Severity.WARNING),
        ("21:15 to 23:45", None),
        ("17:00 to 22:00, while dark", None),
        ("sunset to sunrise", None),
        ("sunset-1h to sunrise+55m", None),
        ("dusk to dawn, at most 6h", None),
    ],
)
def test_daylight_on_most_nights_is_a_warning_and_on_some_a_note(
    span: str, severity: Severity | None
) -> None:
    """Clock times are lit by day in summer, which is worth a note; on most nights it is not meant."""
    found = [severity for severity, remark in review(zone("jetty", span)) if "in daylight" in remark.what]
    assert found == ([severity] if severity else [])


@pytest.mark.parametrize("latitude", [-72.0, -33.9, 1.0, 51.5, 66.5, 78.2])
def test_the_counts_are_those_of_the_plans(latitude: float) -> None:
    """A remark counts exactly the nights on which the plan itself has no window."""
    described = zone("jetty", "dusk to 22:00")
    planner = Planner(site(described, latitude=latitude, time_zone="Etc/UTC"))
    year = nights(FIRST, date(2027, 12, 31), planner.tz)
    dark = [night.date for night in year if not planner.plan("jetty", night).windows]
    remarks = [remark.what for _, remark in review_year(planner, FIRST)]
    assert len(remarks) == bool(dark)
    for what in remarks:
        assert f"on {len(dark)} of its 365 nights: {dark[0]}" in what
        assert f"{dark[-1]} (" in what


def test_a_leap_year_has_its_leap_night() -> None:
    """The year from 1 January 2028 has 366 nights, and one that begins on 29 February has as many."""
    place = {"latitude": 0.0, "longitude": 0.0, "time_zone": "Etc/UTC"}
    for first in (date(2028, 1, 1), date(2028, 2, 29)):
        ((_, remark),) = review(zone("jetty", "15:00 to 17:00, while dark"), first=first, **place)
        assert "any of its 366 nights" in remark.what
    assert night_on(date(2028, 2, 29), Planner(site()).tz).date == date(2028, 2, 29)
