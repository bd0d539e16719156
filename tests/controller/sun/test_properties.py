"""Dark stretches against a walk through the night, minute by minute and second by second."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from unittest import mock

import pytest
from astral import Observer
from astral.sun import elevation
from hypothesis import example, given, settings
from hypothesis import strategies as st

from controller.calendar.night import Night, night_on
from controller.sun.darkness import DarkInterval
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun
from tests.reference import CIVIL_ANGLE_DEG, zone

SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)

# Half of them where edges are delicate: the polar circles of each angle, and the poles.
latitudes = st.one_of(
    st.floats(-90, 90),
    st.floats(48, 79),
    st.floats(-79, -48),
    st.floats(89, 90),
    st.sampled_from([-90.0, -66.56, 60.56, 66.56, 72.56, 89.8, 89.94, 90.0]),
)
longitudes = st.floats(-180, 180)
dates = st.dates(date(1950, 1, 1), date(2099, 12, 31))
zones = st.sampled_from(
    ["Etc/UTC", "Europe/Oslo", "Asia/Shanghai", "Pacific/Kiritimati", "Pacific/Pago_Pago"]
)
angles = st.one_of(st.sampled_from([SUNSET_ANGLE_DEG, CIVIL_ANGLE_DEG, 12.0, 18.0]), st.floats(0, 20))


@settings(max_examples=60, deadline=None)
@given(latitudes, longitudes, dates, zones, angles)
@example(70.37, 31.1, date(2026, 11, 22), "Europe/Oslo", SUNSET_ANGLE_DEG)
@example(78.22, 15.65, date(2028, 12, 21), "Arctic/Longyearbyen", 12.0)
@example(90.0, 0.0, date(2027, 9, 25), "Etc/UTC", SUNSET_ANGLE_DEG)
def test_stretches_agree_with_the_height_at_every_minute(
    latitude: float, longitude: float, night_date: date, zone_name: str, angle_deg: float
) -> None:
    """At each whole minute of the night it is dark exactly where a stretch says so."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone(zone_name))
    stretches = sun.dark_intervals(night, angle_deg)
    at_utc = night.starts_at_utc
    while at_utc < night.ends_at_utc:
        inside = any(each.starts_at_utc <= at_utc < each.ends_at_utc for each in stretches)
        assert inside == sun.is_dark(at_utc, angle_deg), at_utc
        at_utc += MINUTE


@settings(max_examples=400, deadline=None)
@given(latitudes, longitudes, dates, zones, angles)
def test_every_edge_is_the_very_second(
    latitude: float, longitude: float, night_date: date, zone_name: str, angle_deg: float
) -> None:
    """A second before a stretch begins it is light, at its beginning dark; the reverse at its end."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone(zone_name))
    assert_edges_are_exact(sun, night, angle_deg, sun.dark_intervals(night, angle_deg))


def assert_edges_are_exact(
    sun: Sun, night: Night, angle_deg: float, stretches: tuple[DarkInterval, ...]
) -> None:
    """Check every edge that is not the night's own against the height on either side."""
    for stretch in stretches:
        assert sun.is_dark(stretch.starts_at_utc, angle_deg)
        assert sun.is_dark(stretch.ends_at_utc - SECOND, angle_deg)
        if stretch.starts_at_utc > night.starts_at_utc:
            assert not sun.is_dark(stretch.starts_at_utc - SECOND, angle_deg)
        if stretch.ends_at_utc < night.ends_at_utc:
            assert not sun.is_dark(stretch.ends_at_utc, angle_deg)


# Billionths of a degree: a touch, a few seconds, a few minutes.
billionths = st.one_of(
    st.integers(-1_000, 1_000), st.integers(-100_000, 100_000), st.integers(-3_000_000, 3_000_000)
)


@settings(max_examples=150, deadline=None)
@given(st.floats(-80, 80), longitudes, dates, billionths, st.booleans())
def test_a_stretch_of_seconds_around_a_turning_is_found(
    latitude: float, longitude: float, night_date: date, above: int, lowest: bool
) -> None:
    """Where the sun just grazes the angle, a dark or light stretch of minutes or seconds is not lost."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone("Etc/UTC"))
    # Where the sun turns, by a walk of its own: the extreme minute, then the extreme second around it.
    pick = min if lowest else max
    minutes = [night.starts_at_utc + number * MINUTE for number in range(60, 23 * 60, 10)]
    near = pick(minutes, key=sun.elevation_deg)
    near = pick([near + number * MINUTE for number in range(-10, 11)], key=sun.elevation_deg)
    turning = pick([near + number * SECOND for number in range(-60, 61)], key=sun.elevation_deg)
    angle_deg = -sun.elevation_deg(turning) + above / 1e9
    stretches = sun.dark_intervals(night, angle_deg)
    assert_edges_are_exact(sun, night, angle_deg, stretches)
    inside = any(each.starts_at_utc <= turning < each.ends_at_utc for each in stretches)
    assert inside == sun.is_dark(turning, angle_deg)


@settings(max_examples=400, deadline=None)
@given(latitudes, longitudes, dates, st.integers(0, 86_399), st.integers(-20, 20))
@example(0.0, 1.0, date(2000, 1, 1), 86_399, 0)  # it would get dark at the night's end, so not in this night
def test_an_edge_on_the_very_tick_of_a_second_is_exact_and_found_soon(
    latitude: float, longitude: float, night_date: date, after_s: int, above: int
) -> None:
    """Where the sun passes the angle within a hair of a whole second, the right one is found, and soon."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone("Etc/UTC"))
    at_utc = night.starts_at_utc + after_s * SECOND
    angle_deg = -sun.elevation_deg(at_utc) + above / 1e9
    with mock.patch.object(Sun, "elevation_deg", autospec=True, side_effect=Sun.elevation_deg) as asked:
        stretches = sun.dark_intervals(night, angle_deg)
    # At most two turnings to the second, 2 x 17 heights each, and two edges by halving, 6 + 17 each.
    assert asked.call_count <= 2 * 34 + 2 * 23 + 4
    assert_edges_are_exact(sun, night, angle_deg, stretches)
    inside = any(each.starts_at_utc <= at_utc < each.ends_at_utc for each in stretches)
    assert inside == sun.is_dark(at_utc, angle_deg)


@settings(max_examples=100, deadline=None)
@given(latitudes, longitudes, dates, zones, angles)
def test_dusk_and_dawn_are_the_outer_edges_in_whatever_order_they_are_asked(
    latitude: float, longitude: float, night_date: date, zone_name: str, angle_deg: float
) -> None:
    """Dusk begins the first stretch and dawn ends the last; asking for one first changes nothing."""
    night = night_on(night_date, zone(zone_name))
    one, two, three = (Sun(latitude, longitude) for _ in range(3))
    dusk_first = (one.dusk(night, angle_deg), one.dawn(night, angle_deg))
    dawn_first = (two.dawn(night, angle_deg), two.dusk(night, angle_deg))[::-1]
    stretches = three.dark_intervals(night, angle_deg)
    outer = (stretches[0].starts_at_utc, stretches[-1].ends_at_utc) if stretches else (None, None)
    assert dusk_first == dawn_first == outer
    assert one.dark_intervals(night, angle_deg) == stretches


@settings(max_examples=100, deadline=None)
@given(latitudes, longitudes, dates, zones)
def test_a_deeper_angle_is_dark_only_where_a_shallower_one_is(
    latitude: float, longitude: float, night_date: date, zone_name: str
) -> None:
    """Every stretch below 12 degrees lies inside one below 6, and that one inside one after sunset."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone(zone_name))
    for deep_deg, shallow_deg in [(12.0, CIVIL_ANGLE_DEG), (CIVIL_ANGLE_DEG, SUNSET_ANGLE_DEG)]:
        wide = sun.dark_intervals(night, shallow_deg)
        for deep in sun.dark_intervals(night, deep_deg):
            around = [each for each in wide if each.starts_at_utc <= deep.starts_at_utc < each.ends_at_utc]
            assert len(around) == 1
            assert deep.ends_at_utc <= around[0].ends_at_utc


@settings(deadline=None)
@given(
    st.floats(-89.8, 89.8),
    st.floats(-180, 180),
    st.integers(-2_208_988_800, 4_102_444_800),  # 1900 to 2100
)
def test_the_elevation_is_astrals(latitude: float, longitude: float, unix_s: int) -> None:
    """It is ``astral.sun.elevation`` without refraction, to a hundred-thousandth of a degree and better."""
    at_utc = datetime.fromtimestamp(unix_s, UTC)
    expected_deg = elevation(Observer(latitude, longitude, 0.0), at_utc, with_refraction=False)
    ours_deg = Sun(latitude, longitude).elevation_deg(at_utc)
    # An arc sine or cosine near the zenith or the nadir loses half its digits.
    assert ours_deg == pytest.approx(expected_deg, abs=1e-8 if abs(expected_deg) < 89 else 1e-5)
