"""The nights that simple timers get wrong, one test each.

Instants of the sun come from tests/reference/sun.csv (Skyfield with JPL DE421) and from the traps listed
in tests/reference/README.md; clock changes from the tz database, by tests/reference/clock_changes.csv.
Where a test gives a tolerance it is the one that astral's position of the sun allows there.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.calendar.night import night_on
from controller.planning.plan import NightPlan
from controller.planning.planner import Planner
from controller.records.entries import Cause
from tests.sites import site, zone


def plan(on: date, *program: str, special: tuple = (), **place: object) -> NightPlan:
    """Plan one night of one zone."""
    planner = Planner(site(zone("jetty", *program, special=special), **place))  # type: ignore[arg-type]
    return planner.plan("jetty", night_on(on, planner.tz))


def utc(text: str) -> datetime:
    """Read an instant."""
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(UTC)


def near(found: datetime, expected: str, tolerance_s: float = 6.0) -> bool:
    """Whether two instants agree within the tolerance."""
    return abs((found - utc(expected)).total_seconds()) <= tolerance_s


LINE_ISLE = {"latitude": 1.87, "longitude": -157.4, "time_zone": "Pacific/Kiritimati"}
WEST_EDGE = {"latitude": 39.47, "longitude": 75.99, "time_zone": "Asia/Shanghai"}
FAR_NORTH = {"latitude": 69.65, "longitude": 18.96, "time_zone": "Europe/Oslo"}
EDGE_NORTH = {"latitude": 70.37, "longitude": 31.1, "time_zone": "Europe/Oslo"}


def test_dusk_after_the_off_time_is_a_dark_night_and_says_so() -> None:
    """In June dusk at 22:08 comes after 22:00: the night stays dark instead of being lit until tomorrow."""
    night = plan(date(2027, 6, 19), "dusk to 22:00")
    assert night.windows == ()
    assert night.because == "dusk to 22:00: dusk (22:08) is not before 22:00"


def test_sunset_after_local_midnight_belongs_to_the_night_that_began_the_day_before() -> None:
    """A sun that sets at 00:04 UTC on the 22nd lights the night of the 21st (sun.csv, midsummer-isle)."""
    place = {"latitude": 64.15, "longitude": -21.94, "time_zone": "Atlantic/Reykjavik"}
    (window,) = plan(date(2026, 6, 21), "sunset to sunrise", **place).windows
    assert near(window.on_utc, "2026-06-22T00:04:02Z", 1 + 1.1 * 16.43)


def test_two_sunsets_on_one_date_fall_into_two_nights() -> None:
    """At 69.65 N the sun sets at 00:02:09 and at 23:50:18 CEST on 28 July 2027; each night has its own."""
    first = plan(date(2027, 7, 27), "sunset to sunrise", **FAR_NORTH)
    second = plan(date(2027, 7, 28), "sunset to sunrise", **FAR_NORTH)
    assert near(first.windows[0].on_utc, "2027-07-27T22:02:09Z", 60)
    assert near(second.windows[0].on_utc, "2027-07-28T21:50:18Z", 60)


@pytest.mark.parametrize(
    ("time_zone", "on", "first_instant"),
    [
        ("Africa/Cairo", date(2026, 4, 23), "2026-04-23T22:00:00Z"),  # 00:00 jumps to 01:00
        ("America/Santiago", date(2026, 9, 5), "2026-09-06T04:00:00Z"),  # Sunday begins at 01:00
        ("Atlantic/Azores", date(2027, 3, 27), "2027-03-28T01:00:00Z"),
        ("America/Havana", date(2026, 3, 7), "2026-03-08T05:00:00Z"),
    ],
)
def test_a_midnight_that_does_not_exist_is_the_first_instant_of_the_next_date(
    time_zone: str, on: date, first_instant: str
) -> None:
    """Where 00:00 is skipped, lights go off at the very instant of the clock change (clock_changes.csv)."""
    place = {"Africa/Cairo": (30.0, 31.2), "America/Santiago": (-33.4, -70.6)}.get(time_zone, (30.0, -60.0))
    night = plan(on, "21:00 to midnight", latitude=place[0], longitude=place[1], time_zone=time_zone)
    assert night.windows[0].off_utc == utc(first_instant)


def test_a_midnight_that_occurs_twice_means_its_first() -> None:
    """In the Azores in October 00:00 occurs twice; the first one ends the light (clock_changes.csv)."""
    night = plan(
        date(2027, 10, 30), "21:00 to midnight", latitude=38.7, longitude=-27.2, time_zone="Atlantic/Azores"
    )
    assert night.windows[0].off_utc == utc("2027-10-31T00:00:00Z")
    assert night.windows[0].off_utc - night.windows[0].on_utc == timedelta(hours=3)


def test_an_hour_before_midnight_that_occurs_twice_makes_the_evening_longer() -> None:
    """In Cairo in October 23:00 to 24:00 occurs twice: 22:30 to midnight is lit for two hours and a half."""
    cairo = {"latitude": 30.0, "longitude": 31.2, "time_zone": "Africa/Cairo"}
    night = plan(date(2026, 10, 29), "22:30 to midnight", **cairo)
    assert night.windows[0].off_utc - night.windows[0].on_utc == timedelta(hours=2, minutes=30)


@pytest.mark.parametrize(
    ("time_zone", "latitude", "longitude", "on", "hours"),
    [
        ("America/New_York", 40.0, -75.0, date(2027, 3, 13), 3.0),  # energy.json E5
        ("America/New_York", 40.0, -75.0, date(2026, 10, 31), 5.0),  # energy.json E5
        ("America/New_York", 40.0, -75.0, date(2027, 6, 1), 4.0),  # energy.json E5
        ("Australia/Lord_Howe", -31.5, 159.1, date(2026, 10, 3), 3.5),  # half an hour forward
        ("Australia/Lord_Howe", -31.5, 159.1, date(2026, 4, 4), 4.5),  # half an hour back
        ("Antarctica/Troll", -72.0, 2.5, date(2027, 3, 27), 2.0),  # two hours forward
        ("Antarctica/Troll", -72.0, 2.5, date(2026, 10, 24), 6.0),  # two hours back
    ],
)
def test_a_clock_change_inside_the_window_makes_it_shorter_or_longer(
    time_zone: str, latitude: float, longitude: float, on: date, hours: float
) -> None:
    """23:30 to 03:30 by the wall clock is lit for as long as really passes between the two."""
    night = plan(on, "23:30 to 03:30", latitude=latitude, longitude=longitude, time_zone=time_zone)
    assert (night.windows[0].off_utc - night.windows[0].on_utc) == timedelta(hours=hours)


def test_a_time_zone_far_from_greenwich_keeps_its_own_date() -> None:
    """At UTC+14 the sunset of 1 January is the one at 04:33:27 UTC of that date (spot value of sun.csv)."""
    night = plan(date(2027, 1, 1), "sunset to sunrise", **LINE_ISLE)
    assert near(night.windows[0].on_utc, "2027-01-01T04:33:27Z")


def test_a_time_zone_far_from_the_sun_is_no_trouble() -> None:
    """At 76 E on UTC+8 the June sun sets at 22:26:41 by the clock (spot value of sun.csv)."""
    night = plan(date(2028, 6, 21), "sunset to 23:30", **WEST_EDGE)
    assert near(night.windows[0].on_utc, "2028-06-21T14:26:41Z")
    assert night.windows[0].off_utc == utc("2028-06-21T15:30:00Z")


def test_polar_day_gives_no_light_and_says_why() -> None:
    """Where the sun does not set there is no dusk, and a span that needs one is dark."""
    night = plan(date(2027, 6, 21), "dusk to midnight", **FAR_NORTH)
    assert night.windows == ()
    assert night.because == "dusk to midnight: no dusk this night, the sun does not sink 6° below the horizon"
    night = plan(date(2027, 6, 21), "sunset to midnight", **FAR_NORTH)
    assert night.because == "sunset to midnight: no sunset this night, the sun does not set"


def test_polar_night_is_lit_from_noon_to_midnight() -> None:
    """Where the sun does not rise, sunset is the beginning of the night and sunrise its end."""
    night = plan(date(2027, 12, 21), "sunset to midnight", **FAR_NORTH)
    assert night.windows[0].on_utc == night.night.starts_at_utc
    whole = plan(date(2027, 12, 21), "sunset to sunrise", **FAR_NORTH)
    assert [(each.on_utc, each.off_utc) for each in whole.windows] == [
        (whole.night.starts_at_utc, whole.night.ends_at_utc)
    ]


def test_polar_night_does_not_switch_at_noon() -> None:
    """A zone lit from sunset to sunrise stays lit across noon: its next change is weeks away."""
    planner = Planner(site(zone("jetty", "sunset to sunrise"), **FAR_NORTH))  # type: ignore[arg-type]
    light = planner.program_state("jetty", utc("2027-12-21T10:59:00Z"))
    assert light.on
    assert light.until_utc is not None
    assert light.until_utc > utc("2028-01-10T00:00:00Z")


def test_the_edge_night_whose_sun_rises_before_it_sets() -> None:
    """At 70.37 N, 31.1 E the sun rises at 10:19:47 and sets at 11:03:18 CET on 23 November 2026.

    Both lie before civil noon, in the night of the 22nd, which begins dark: its sunset is its beginning, and
    only "while dark" leaves the short day out. No pairing of a sunset with the wrong sunrise.
    """
    night = plan(date(2026, 11, 22), "sunset to sunrise", **EDGE_NORTH)
    assert night.windows[0].on_utc == night.night.starts_at_utc
    assert night.windows[-1].off_utc == night.night.ends_at_utc
    evening = plan(date(2026, 11, 22), "sunset to midnight", **EDGE_NORTH)
    assert evening.windows[0].on_utc == evening.night.starts_at_utc
    assert evening.windows[0].off_utc == utc("2026-11-22T23:00:00Z")
    while_dark = plan(date(2026, 11, 22), "12:00 to 11:59, while dark", dusk_angle=0.84, **EDGE_NORTH)
    assert len(while_dark.windows) == 2
    assert near(while_dark.windows[0].off_utc, "2026-11-23T09:19:47Z", 120)
    assert near(while_dark.windows[1].on_utc, "2026-11-23T10:03:18Z", 120)


def test_the_edge_night_with_a_sunrise_and_no_sunset() -> None:
    """On the night of 20 January 2027 the sun rises at 10:10:20 CET and never sets: dark from noon on."""
    night = plan(date(2027, 1, 20), "sunset to midnight", **EDGE_NORTH)
    assert night.windows[0].on_utc == night.night.starts_at_utc


def test_leap_day_is_a_night_like_any_other() -> None:
    """The night of 29 February 2040 has its dusk at 18:12:47 UTC (spot value of sun.csv)."""
    night = plan(date(2040, 2, 29), "dusk to midnight", latitude=52.0, longitude=0.0)
    assert near(night.windows[0].on_utc, "2040-02-29T18:12:47Z")
    assert night.windows[0].off_utc == utc("2040-03-01T00:00:00Z")
    special = plan(date(2040, 2, 29), special=(("2040-02-29", ["dusk to 02:00"]),))
    assert special.cause is Cause.SPECIAL_NIGHT


def test_a_special_stretch_reaches_over_new_year() -> None:
    """The stretch "12-20 to 01-06" holds on both sides of New Year and on no other night."""
    special = (("12-20 to 01-06", ["dusk to 02:00"]),)
    held = [
        on
        for on in (date(2027, 12, 1) + timedelta(days=day) for day in range(60))
        if plan(on, special=special).cause is Cause.SPECIAL_NIGHT
    ]
    assert (held[0], held[-1], len(held)) == (date(2027, 12, 20), date(2028, 1, 6), 18)


def test_the_last_special_night_that_matches_decides() -> None:
    """A date after a stretch wins over it, and may be dark."""
    special = (("12-20 to 01-06", ["dusk to 02:00"]), ("2027-12-24", []))
    night = plan(date(2027, 12, 24), special=special)
    assert night.windows == ()
    assert night.because == "special night 2027-12-24: no light"


def test_a_special_night_tests_the_nights_own_date() -> None:
    """Friday's night is Friday's until noon of Saturday: 01:00 on Saturday still belongs to it."""
    special = (("Fri", ["dusk to 01:30"]),)
    friday = plan(date(2027, 1, 1), special=special)
    assert friday.windows[0].off_utc == utc("2027-01-02T01:30:00Z")
    assert plan(date(2027, 1, 2), special=special).cause is Cause.PROGRAM


def test_at_most_is_a_limit_on_light() -> None:
    """The span "17:00 to 23:00, at most 2h, while dark" is lit for two hours from dusk on."""
    night = plan(date(2027, 3, 1), "17:00 to 23:00, at most 2h, while dark")
    (window,) = night.windows
    assert window.off_utc - window.on_utc == timedelta(hours=2)
    assert window.on_utc > utc("2027-03-01T17:30:00Z")


def test_spans_that_touch_make_one_window() -> None:
    """No relay is switched off and on again where one span hands over to the next."""
    night = plan(date(2027, 1, 10), "19:00 to 21:00", "21:00 to 22:00", "21:30 to 23:00")
    (window,) = night.windows
    assert window.span == "19:00 to 21:00 and 21:00 to 22:00 and 21:30 to 23:00"
    assert window.off_utc - window.on_utc == timedelta(hours=4)
