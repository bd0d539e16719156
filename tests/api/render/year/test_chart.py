"""The year's picture: what stands where, on plain nights and on those with 23 and 25 hours."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.render.words import english
from api.render.year.chart import SkyLight, WallClock, YearChart, describe, draw_year
from controller.calendar.intervals import MS_PER_HOUR, Interval, ms_of
from controller.calendar.night import Night, night_on, nights, utc_of_local
from controller.forecast.forecast import NIGHTS_AHEAD
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun, dark_intervals
from tests.reference import rows

NEW_YORK = ZoneInfo("America/New_York")
NEW_YEAR = date(2027, 1, 1)


def lit_on(day: date, on: str, off: str, tz: ZoneInfo = NEW_YORK) -> Interval:
    def at(text: str) -> int:
        clock = time.fromisoformat(text)
        return ms_of(utc_of_local(datetime.combine(day + timedelta(days=clock.hour < 12), clock), tz))

    return at(on), at(off)


def draw_under(sun: Sun, some: list[Night], lit: dict[str, list[Interval]], tz: ZoneInfo) -> YearChart:
    """Draw nights with dusk at 6 degrees."""
    below, dark = (dark_intervals(sun, some, angle) for angle in (SUNSET_ANGLE_DEG, 6.0))
    return draw_year(some, lit, below=below, dark=dark, tz=tz)


def draw(first: date, count: int, lit: dict[str, list[Interval]], tz: ZoneInfo = NEW_YORK) -> YearChart:
    some = list(nights(first, first + timedelta(days=count - 1), tz))
    return draw_under(Sun(40.0, -75.0), some, lit, tz)


@pytest.fixture(scope="module")
def year() -> YearChart:
    every = [lit_on(NEW_YEAR + timedelta(days=n), "21:15", "23:45") for n in range(NIGHTS_AHEAD)]
    return draw(NEW_YEAR, NIGHTS_AHEAD, {"jetty": every})


def test_dusk_stands_where_the_reference_has_it(year):
    """Dark begins so many hours before midnight, which is at 12, every night (season_nightly.csv, 20 s)."""
    at_40_n = [row for row in rows("season_nightly.csv") if row["latitude"] == "40"]
    expected = [12 - float(row["hours_civil_dusk_to_midnight"]) for row in at_40_n]
    dusks = [column.shades[SkyLight.DARK][0][0] for column in year.columns]
    assert dusks == pytest.approx(expected, abs=20 / 3600)


def test_a_clock_time_is_a_level_line(year):
    """A zone lit by the clock stands at the same height on every night, also on those of a clock change."""
    bars = {bar for column in year.columns for bar in column.bars["jetty"]}
    assert bars == {(9.25, 11.75)}
    assert year.lit_h == {"jetty": pytest.approx(365 * 2.5)}


def test_clock_changes_are_named_with_their_hour(year):
    """2027 in New York: forward at 02:00 in the night of 13 March, back at 02:00 in that of 6 November."""
    assert [(each.night, each.at_h, each.by_h) for each in year.changes] == [
        (date(2027, 3, 13), 14.0, 1.0),
        (date(2027, 11, 6), 14.0, -1.0),
    ]


def test_on_the_night_of_23_hours_an_hour_of_the_wall_is_empty():
    """From 02:00 to 03:00 nothing is drawn, and a light across it is two bars."""
    picture = draw(date(2027, 3, 13), 1, {"a": [lit_on(date(2027, 3, 13), "23:30", "03:30")]})
    (column,) = picture.columns
    assert column.bars["a"] == [(11.5, 14.0), (15.0, 15.5)]
    assert picture.lit_h["a"] == 3.0
    drawn = [stretch for shades in column.shades.values() for stretch in shades]
    assert all(to_h <= 14 or from_h >= 15 for from_h, to_h in drawn)
    assert sum(to_h - from_h for from_h, to_h in drawn) == pytest.approx(23)


def test_on_the_night_of_25_hours_an_hour_of_the_wall_is_drawn_once():
    """A light over both times of 01:00 to 02:00 is one bar of four hours on the wall and five in truth."""
    picture = draw(date(2027, 11, 6), 1, {"a": [lit_on(date(2027, 11, 6), "23:30", "03:30")]})
    (column,) = picture.columns
    assert column.bars["a"] == [(11.5, 15.5)]
    assert picture.lit_h["a"] == 5.0


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-72, 78),
    st.sampled_from(["Europe/Oslo", "Australia/Lord_Howe", "Africa/Cairo", "Antarctica/Troll"]),
    st.dates(date(2026, 1, 1), date(2028, 12, 1)),
)
def test_the_light_of_the_sky_tiles_every_plain_night(latitude_deg, zone, day):
    """Away from clock changes day, twilight and dark fill noon to noon without gap or overlap, anywhere."""
    tz = ZoneInfo(zone)
    sun = Sun(latitude_deg, 0.0)
    picture = draw_under(sun, [night_on(day, tz)], {}, tz)
    if picture.changes:
        return
    shades = sorted((*stretch, kind) for kind, some in picture.columns[0].shades.items() for stretch in some)
    edges = [(from_h, to_h) for from_h, to_h, _ in shades]
    assert (edges[0][0], edges[-1][1]) == (0, 24)
    assert [a[1] for a in edges[:-1]] == [b[0] for b in edges[1:]]
    assert all(a[2] != b[2] for a, b in pairwise(shades))
    noon = night_on(day, tz).starts_at_utc
    for from_h, to_h, kind in shades:
        middle = noon + timedelta(hours=(from_h + to_h) / 2)
        height_deg = sun.elevation_deg(middle)
        lows = {SkyLight.DAY: (-50 / 60, 90), SkyLight.TWILIGHT: (-6, -50 / 60), SkyLight.DARK: (-90, -6)}
        low, high = lows[kind]
        assert low - 0.01 <= height_deg <= high + 0.01


def test_the_wall_agrees_with_python_at_every_minute_of_a_change_night():
    """An instant stands on the wall where Python's own local time puts it, also by half an hour."""
    for zone, day in (("Australia/Lord_Howe", date(2027, 4, 3)), ("Antarctica/Troll", date(2027, 3, 27))):
        tz = ZoneInfo(zone)
        night = night_on(day, tz)
        wall = WallClock(night, tz)
        noon = datetime.combine(day, time(12))
        minutes = int((night.ends_at_utc - night.starts_at_utc) / timedelta(minutes=1))
        for minute in range(minutes):
            at = night.starts_at_utc + timedelta(minutes=minute)
            ((from_h, _),) = wall.hours([(ms_of(at), ms_of(at) + 1)])
            shown = at.astimezone(tz).replace(tzinfo=None) - noon
            assert from_h * MS_PER_HOUR == pytest.approx(shown / timedelta(milliseconds=1))


def test_the_picture_can_be_told(year):
    """The words name span, darkest times, hours of light and clock changes; names replace ids."""
    words = describe(year, english(ZoneInfo("America/New_York")), {"jetty": "Jetty and steps"})
    assert words.startswith("365 nights, 1 January 2027 to 31 December 2027. It gets dark at 17:0")
    assert "Jetty and steps: lit 912 hours on 365 nights." in words
    assert "The clocks go forward in the night of 13 March 2027." in words
    assert "The clocks go back in the night of 6 November 2027." in words


def test_nights_without_dark_are_told():
    """In the white nights the words say that it does not get dark, and raise nothing."""
    tz = ZoneInfo("Europe/Oslo")
    some = list(nights(date(2027, 6, 20), date(2027, 6, 22), tz))
    picture = draw_under(Sun(69.65, 18.96), some, {}, tz)
    told = "3 nights, 20 June 2027 to 22 June 2027. On 3 nights it does not get dark."
    assert describe(picture, english(tz)) == told
    assert describe(draw_year([], {}, below=[], dark=[], tz=tz), english(tz)) == "No nights."


def test_what_lies_outside_its_nights_is_not_drawn():
    """Light before the first night and after the last is left out."""
    at = ms_of(datetime(2027, 1, 1, tzinfo=UTC))
    assert draw(date(2027, 6, 1), 3, {"a": [(at, at + MS_PER_HOUR)]}).lit_h == {"a": 0}
