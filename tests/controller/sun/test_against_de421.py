"""The sun's height and its edges against JPL's ephemeris DE421 at places and on nights of all kinds."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import cos, hypot, radians

from astral.sun import eq_of_time, sun_declination
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.night import night_on
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun
from tests.reference import CIVIL_ANGLE_DEG, zone
from tests.reference.de421 import ephemeris, sun_heights_deg

# How far astral's sun may stand from DE421's, 2026 to 2039: 0.0140 degrees between the two directions from
# the earth's centre, mostly along the equator (Meeus's sun of low accuracy leaves the planets' pull out;
# measured day by day below), and 0.0024 degrees of parallax, 8.8 arcseconds, which astral leaves out too.
DIRECTION_BOUND_DEG = 0.0141
PARALLAX_DEG = 8.8 / 3600
HEIGHT_BOUND_DEG = DIRECTION_BOUND_DEG + PARALLAX_DEG
FIRST, LAST = date(2026, 1, 1), date(2039, 12, 31)

latitudes = st.one_of(
    st.floats(-90, 90), st.floats(55, 75), st.floats(-75, -55), st.sampled_from([-90.0, 89.9, 90.0])
)
longitudes = st.floats(-180, 180)
dates = st.dates(FIRST, LAST)
zones = st.sampled_from(
    ["Etc/UTC", "Europe/Oslo", "Asia/Shanghai", "Pacific/Kiritimati", "Pacific/Pago_Pago"]
)
angles = st.sampled_from([SUNSET_ANGLE_DEG, CIVIL_ANGLE_DEG, 12.0, 18.0])


def test_the_suns_direction_is_within_its_bound_on_every_day() -> None:
    """At midnight of each day from 2026 to 2039, seen from the earth's centre."""
    planets, scale = ephemeris()
    start = datetime.combine(FIRST, datetime.min.time(), UTC)
    days = [start + timedelta(days=day) for day in range(14 * 365)]
    times = scale.utc(FIRST.year, FIRST.month, [1 + day for day in range(len(days))])
    right_ascension, declination, _ = (
        planets["earth"].at(times).observe(planets["sun"]).apparent().radec(epoch="date")
    )
    hour_angle = times.gast * 15 - right_ascension._degrees
    worst = 0.0
    for day, real_declination, real_hour in zip(days, declination.degrees, hour_angle, strict=True):
        century = (day - datetime(2000, 1, 1, 12, tzinfo=UTC)) / timedelta(days=36_525)
        off_hour = (eq_of_time(century) / 4 - 180 - real_hour + 180) % 360 - 180
        off = hypot(sun_declination(century) - real_declination, off_hour * cos(radians(real_declination)))
        worst = max(worst, off)
    assert worst < DIRECTION_BOUND_DEG


@settings(max_examples=60, deadline=None)
@given(latitudes, longitudes, dates, zones, angles)
def test_at_every_edge_the_sun_stands_at_the_angle(
    latitude: float, longitude: float, night_date: date, zone_name: str, angle_deg: float
) -> None:
    """DE421's sun passes the angle within the second of an edge, give or take the bound on astral's sun."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone(zone_name))
    for stretch in sun.dark_intervals(night, angle_deg):
        for edge in (stretch.starts_at_utc, stretch.ends_at_utc):
            if edge in {night.starts_at_utc, night.ends_at_utc}:
                continue
            heights = sun_heights_deg(latitude, longitude, edge, [-1, 0])
            assert min(heights) - HEIGHT_BOUND_DEG <= -angle_deg <= max(heights) + HEIGHT_BOUND_DEG


@settings(max_examples=40, deadline=None)
@given(latitudes, longitudes, dates, zones, angles)
def test_no_stretch_is_missed_or_invented(
    latitude: float, longitude: float, night_date: date, zone_name: str, angle_deg: float
) -> None:
    """At each minute at which DE421's sun is clearly below the angle it is dark; clearly above, light."""
    sun, night = Sun(latitude, longitude), night_on(night_date, zone(zone_name))
    stretches = sun.dark_intervals(night, angle_deg)
    minutes = range(0, int((night.ends_at_utc - night.starts_at_utc).total_seconds()), 60)
    heights = sun_heights_deg(latitude, longitude, night.starts_at_utc, minutes)
    for after_s, height_deg in zip(minutes, heights, strict=True):
        above_deg = height_deg + angle_deg
        if abs(above_deg) <= HEIGHT_BOUND_DEG:
            continue
        at_utc = night.starts_at_utc + timedelta(seconds=after_s)
        inside = any(each.starts_at_utc <= at_utc < each.ends_at_utc for each in stretches)
        assert inside == (above_deg < 0), at_utc


@settings(max_examples=60, deadline=None)
@given(latitudes, longitudes, dates, st.integers(0, 86_399))
def test_the_height_is_within_its_bound(
    latitude: float, longitude: float, on_date: date, second: int
) -> None:
    """Anywhere and at any time, pole and zenith included."""
    at_utc = datetime.combine(on_date, datetime.min.time(), UTC) + timedelta(seconds=second)
    [real_deg] = sun_heights_deg(latitude, longitude, at_utc, [0])
    assert abs(Sun(latitude, longitude).elevation_deg(at_utc) - real_deg) < HEIGHT_BOUND_DEG


def test_a_pole_has_one_dusk_and_one_dawn_a_year() -> None:
    """At the North Pole the sun passes 6 degrees below the horizon once each way in 2027, as in DE421."""
    sun, tz = Sun(90.0, 0.0), zone("Etc/UTC")
    edges = []
    for number in range(365):
        night = night_on(date(2027, 1, 1) + timedelta(days=number), tz)
        for stretch in sun.dark_intervals(night, CIVIL_ANGLE_DEG):
            edges += [
                edge
                for edge in (stretch.starts_at_utc, stretch.ends_at_utc)
                if edge not in {night.starts_at_utc, night.ends_at_utc}
            ]
    dawn, dusk = edges
    assert (dawn.month, dusk.month) == (3, 10)
    for edge in edges:
        [height_deg] = sun_heights_deg(90.0, 0.0, edge, [0])
        assert abs(height_deg + CIVIL_ANGLE_DEG) < HEIGHT_BOUND_DEG
