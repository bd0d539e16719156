"""Beams: triangles that anybody can draw, and the definition of the lux."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import WiringError
from controller.design.photometry import (
    beam_for_width_deg,
    beam_to_cover_deg,
    covered_m,
    distance_to_cover_m,
    illuminance_lx,
    pool_radius_m,
    spot_width_m,
    tilt_deg,
    upright_illuminance_lx,
)


def test_one_candela_at_one_metre_is_one_lux():
    """One candela lights a square surface one metre away with one lux, by the definitions of both units."""
    assert illuminance_lx(1.0, 1.0) == 1.0


@pytest.mark.parametrize(
    ("candela", "throw_m", "incidence_deg", "lux"),
    [(1000.0, 2.0, 0.0, 250.0), (1000.0, 2.0, 60.0, 125.0), (900.0, 3.0, 0.0, 100.0), (5.0, 1.0, 90.0, 0.0)],
)
def test_light_falls_with_the_square_of_the_throw_and_the_cosine(candela, throw_m, incidence_deg, lux):
    """Twice as far is a quarter; at 60 degrees it is half; along the surface it is none."""
    assert illuminance_lx(candela, throw_m, incidence_deg) == pytest.approx(lux, abs=1e-9)


def test_an_upright_surface_is_lit_aslant():
    """From 3 m away a place 4 m up is 5 m off and lit at cos 3:5: 1000 cd give 1000 × 0.6 ÷ 25 = 24 lx."""
    assert upright_illuminance_lx(1000.0, 3.0, 4.0) == pytest.approx(24.0)


def test_a_throw_of_nothing_is_refused():
    """At no distance there is no illuminance to speak of."""
    with pytest.raises(WiringError, match="throw = 0 m"):
        illuminance_lx(100.0, 0.0)


def test_right_triangles_have_their_angles():
    """As far as high is 45 degrees; a 90 degree beam is twice as wide as its throw; one of 60 2 tan 30."""
    assert tilt_deg(2.0, 2.0) == pytest.approx(45.0)
    assert spot_width_m(3.0, 90.0) == pytest.approx(6.0)
    assert spot_width_m(1.0, 60.0) == pytest.approx(2.0 / math.sqrt(3.0))
    assert distance_to_cover_m(2.0, 45.0) == pytest.approx(2.0)
    assert beam_to_cover_deg(2.0, 0.0, 2.0) == pytest.approx(45.0)
    assert pool_radius_m(0.5, 60.0) == pytest.approx(0.5 * math.sqrt(3.0))


@pytest.mark.parametrize("angle_deg", [0.0, 90.0, -5.0, math.nan])
def test_an_angle_that_reaches_nothing_is_refused(angle_deg):
    """A beam or cut-off of no angle or a right one has no distance or radius that suits."""
    with pytest.raises(WiringError, match="between 0 and 90 degrees"):
        distance_to_cover_m(2.0, angle_deg)
    with pytest.raises(WiringError, match="between 0 and 90 degrees"):
        pool_radius_m(0.5, angle_deg)


def test_a_beam_that_passes_over_the_top_covers_without_end():
    """A 40 degree beam tilted to 75 reaches beyond straight up."""
    bottom_m, top_m = covered_m(1.0, 75.0, 40.0)
    assert top_m == math.inf
    assert bottom_m == pytest.approx(math.tan(math.radians(55.0)))
    assert covered_m(1.0, -80.0, 40.0)[0] == -math.inf


@given(st.floats(0.3, 20.0), st.floats(0.2, 30.0), st.floats(0.0, 1.0))
def test_what_a_beam_is_made_to_cover_it_covers(distance_m, height_m, part):
    """The beam and tilt computed for an object's bottom and top cover exactly that."""
    bottom_m = part * height_m * 0.9
    beam_deg = beam_to_cover_deg(distance_m, bottom_m, height_m)
    middle_deg = tilt_deg(distance_m, bottom_m) + beam_deg / 2.0
    covered = covered_m(distance_m, middle_deg, beam_deg)
    assert covered == pytest.approx((bottom_m, height_m), rel=1e-6, abs=1e-9)


@given(st.floats(0.3, 20.0), st.floats(0.2, 30.0))
def test_the_beam_for_a_width_makes_that_width(throw_m, width_m):
    """The beam computed for a width makes a spot of that width."""
    assert spot_width_m(throw_m, beam_for_width_deg(throw_m, width_m)) == pytest.approx(width_m)
