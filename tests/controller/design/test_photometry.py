"""Photometry: triangles that anybody can draw, and the definition of the lux."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import WiringError
from controller.design.photometry import (
    beam_for_width_deg,
    illuminance_lx,
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
    """As far as high is 45 degrees; a beam of 90 is twice as wide as its throw, one of 60 2 tan 30."""
    assert tilt_deg(2.0, 2.0) == pytest.approx(45.0)
    assert beam_for_width_deg(3.0, 6.0) == pytest.approx(90.0)
    assert beam_for_width_deg(1.0, 2.0 / math.sqrt(3.0)) == pytest.approx(60.0)


@given(st.floats(0.3, 20.0), st.floats(0.2, 30.0))
def test_the_beam_for_a_width_makes_that_width(throw_m, width_m):
    """The beam computed for a width makes a spot of that width, 2 × throw × tan(half the beam)."""
    half = math.radians(beam_for_width_deg(throw_m, width_m) / 2.0)
    assert 2.0 * throw_m * math.tan(half) == pytest.approx(width_m)
