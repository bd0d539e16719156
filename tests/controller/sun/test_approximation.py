"""The closed-form guide to the sun's height, against the height itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import radians, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.sun.approximation import GUIDE_ERROR, Place, SunApproximation
from controller.sun.sun import Sun

DAY_S = 86_400

latitudes = st.one_of(
    st.floats(-90, 90), st.sampled_from([-90.0, -89.9, -66.5, 0.0, 60.56, 66.5, 89.95, 90.0])
)
longitudes = st.floats(-180, 180)
starts = st.integers(-2_208_988_800, 4_102_444_800).map(  # 1900 to 2100
    lambda unix_s: datetime.fromtimestamp(unix_s, UTC)
)


@settings(deadline=None)
@given(latitudes, longitudes, starts, st.sampled_from([DAY_S, 23 * 3600, 47 * 3600]), st.floats(0, 1))
def test_the_guide_stays_within_its_bound(
    latitude: float, longitude: float, start_utc: datetime, lasts_s: int, part: float
) -> None:
    """The guide is off by less than the bound that decides where astral has to be asked."""
    after_s = round(part * lasts_s)
    path = SunApproximation(Place(latitude, longitude), int(start_utc.timestamp()), lasts_s)
    real_deg = Sun(latitude, longitude).elevation_deg(start_utc + timedelta(seconds=after_s))
    off = path.sine_at(after_s) - sin(radians(real_deg))
    assert abs(off) < GUIDE_ERROR / 2  # half: room for what was not tried


@settings(deadline=None)
@given(latitudes, longitudes, starts)
def test_between_its_turnings_the_sun_only_climbs_or_only_sinks(
    latitude: float, longitude: float, start_utc: datetime
) -> None:
    """A walk through the day in steps of 15 minutes never turns but at a turning."""
    path = SunApproximation(Place(latitude, longitude), int(start_utc.timestamp()), DAY_S)
    points_s = [0, *path.extrema_s, DAY_S]
    assert points_s == sorted(set(points_s))
    for low_s, high_s in pairwise(points_s):
        steps_s = [low_s, *range(low_s + 900, high_s, 900), high_s]
        sines = [path.sine_at(step_s) for step_s in steps_s]
        # 2e-7, 1e-5 degrees: what the turning's own shift of a few seconds may hide.
        climbs = all(two > one - 2e-7 for one, two in pairwise(sines))
        sinks = all(two < one + 2e-7 for one, two in pairwise(sines))
        assert climbs or sinks


@pytest.mark.parametrize(
    ("latitude", "turnings"), [(0.0, 2), (51.5, 2), (-66.5, 2), (89.0, 2), (90.0, 0), (-90.0, 0)]
)
def test_the_sun_turns_twice_a_day_but_at_a_pole_never(latitude: float, turnings: int) -> None:
    """From midnight at Greenwich there is one highest and one lowest, at the equinox; a pole has neither."""
    path = SunApproximation(Place(latitude, 10.0), 1_805_500_800, DAY_S)
    assert len(path.extrema_s) == turnings


@settings(deadline=None)
@given(latitudes, longitudes, starts)
def test_the_slope_is_that_of_the_height(latitude: float, longitude: float, start_utc: datetime) -> None:
    """The slope agrees with the difference of two sines 20 s apart."""
    path = SunApproximation(Place(latitude, longitude), int(start_utc.timestamp()), DAY_S)
    for after_s in range(600, DAY_S, 7_200):
        sine, slope_per_s = path.sine_and_slope_at(after_s)
        assert sine == pytest.approx(path.sine_at(after_s), abs=1e-14)
        measured = (path.sine_at(after_s + 10) - path.sine_at(after_s - 10)) / 20
        assert slope_per_s == pytest.approx(measured, abs=1e-11)


@settings(deadline=None)
@given(st.floats(-65, 65), longitudes, starts, st.sampled_from([-0.0145, -0.1045]), st.booleans())
def test_the_guess_of_a_crossing_is_close(
    latitude: float, longitude: float, start_utc: datetime, sine: float, climbs: bool
) -> None:
    """Where the guide passes a height briskly, its guess is within two seconds of its own crossing."""
    path = SunApproximation(Place(latitude, longitude), int(start_utc.timestamp()), DAY_S)
    points_s = [0, *path.extrema_s, DAY_S]
    for low_s, high_s in pairwise(points_s):
        low, high = path.sine_at(low_s), path.sine_at(high_s)
        clearly = min(low, high) + 0.02 < sine < max(low, high) - 0.02
        if (high > low) != climbs or not clearly:
            continue
        guess_s, _ = path.crossing_s(low_s, high_s, sine, climbs=climbs)
        assert low_s <= guess_s <= high_s
        there, slope_per_s = path.sine_and_slope_at(guess_s)
        assert abs((there - sine) / slope_per_s) < 2
