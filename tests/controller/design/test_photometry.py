"""Light of a lamp: candela, lumens and lux against hand arithmetic and against integrals by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from controller.design.photometry import (
    Lamps,
    Point,
    beam_for_width_deg,
    cosine_power,
    lumens_of,
    tilt_deg,
)


def illuminance_lx(candela, up_m, away_m):
    """Lux of an upright face by one lamp on the ground that points at the place."""
    at = Point(across_m=0.0, up_m=up_m, away_m=away_m)
    return candela * Lamps(across_m=(0.0,), aim=at, beam_deg=36.0).lux_per_candela(at)


def test_one_candela_at_one_metre_is_one_lux():
    """One candela lights a square surface one metre away with one lux, by the definitions of both units."""
    assert illuminance_lx(1.0, 0.0, 1.0) == 1.0


@pytest.mark.parametrize(
    ("candela", "throw_m", "incidence_deg", "lux"),
    [(1000.0, 2.0, 0.0, 250.0), (1000.0, 2.0, 60.0, 125.0), (900.0, 3.0, 0.0, 100.0), (5.0, 1.0, 90.0, 0.0)],
)
def test_light_falls_with_the_square_of_the_throw_and_the_cosine(candela, throw_m, incidence_deg, lux):
    """Twice as far is a quarter; at 60 degrees it is half; along the surface it is none."""
    incidence = math.radians(incidence_deg)
    up_m, away_m = throw_m * math.sin(incidence), throw_m * math.cos(incidence)
    assert illuminance_lx(candela, up_m, away_m) == pytest.approx(lux, abs=1e-9)


def test_an_upright_surface_is_lit_aslant():
    """From 3 m away a place 4 m up is 5 m off and lit at cos 3:5: 1000 cd give 1000 × 0.6 ÷ 25 = 24 lx."""
    assert illuminance_lx(1000.0, 4.0, 3.0) == pytest.approx(24.0)


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


@pytest.mark.parametrize(("beam_deg", "power"), [(120.0, 1.0), (90.0, 2.0), (180.0, 0.0)])
def test_known_beams_have_known_powers(beam_deg, power):
    """120° is Lambert's law, as cos 60° is a half; 90° is its square, as cos² 45° is a half; 180° is even."""
    assert cosine_power(beam_deg) == pytest.approx(power)


def test_a_flat_glowing_disc_gives_pi_lumens_a_candela():
    """By Lambert's law the flux is π times the intensity; one shining alike over half a sphere gives 2 π."""
    assert lumens_of(100.0, 120.0) == pytest.approx(100.0 * math.pi)
    assert lumens_of(100.0, 180.0) == pytest.approx(200.0 * math.pi)


@pytest.mark.parametrize("beam_deg", [12.0, 24.0, 36.0, 60.0, 90.0, 120.0, 180.0])
def test_lumens_are_the_integral_of_the_candela(beam_deg):
    """The intensity integrated over half a sphere by scipy is the flux; at half the beam it is a half."""
    edge = math.cos(math.radians(beam_deg / 2.0)) if beam_deg < 180.0 else 1.0
    exponent = math.log(0.5) / math.log(edge) if beam_deg < 180.0 else 0.0
    flux, _ = quad(lambda off: math.cos(off) ** exponent * math.sin(off), 0.0, math.pi / 2.0)
    assert lumens_of(250.0, beam_deg) == pytest.approx(250.0 * 2.0 * math.pi * flux, rel=1e-6)


def test_all_light_that_goes_forward_arrives():
    """Of a lamp that points level at a wide face, half the lumens arrive above ground, summed by numpy."""
    lamps = Lamps((0.0,), Point(0.0, 1e-9, 1.0), 24.0)
    side = np.linspace(-3.0, 3.0, 301)
    up = np.linspace(0.0, 3.0, 301)
    lux = np.array([[lamps.lux_per_candela(Point(x, y, 1.0)) for x in side] for y in up])
    arrived = np.trapezoid(np.trapezoid(lux, side, axis=1), up)
    assert arrived == pytest.approx(lumens_of(1.0, 24.0) / 2.0, rel=2e-3)


def test_lamps_add_up_and_each_is_a_vector_product():
    """Anywhere the lux are the sum over the lamps of candela × cos(off axis)ⁿ × cos(incidence) ÷ throw²."""
    rng = np.random.default_rng(7)
    for _ in range(50):
        at = np.array(rng.uniform((-2.0, 0.0, 0.5), (2.0, 4.0, 3.0)))
        aim = Point(0.0, float(rng.uniform(0.1, 3.0)), float(at[2]))
        stands = rng.uniform(-3.0, 3.0, 3)
        power = math.log(0.5) / math.log(math.cos(math.radians(18.0)))
        axis = np.array([0.0, aim.up_m, aim.away_m]) / math.hypot(aim.up_m, aim.away_m)
        lux = 0.0
        for stand in stands:
            ray = at - np.array([stand, 0.0, 0.0])
            throw = np.linalg.norm(ray)
            off_axis = max(0.0, float(ray @ axis) / throw)
            lux += off_axis**power * (ray[2] / throw) / throw**2
        lamps = Lamps(tuple(float(each) for each in stands), aim, 36.0)
        assert lamps.lux_per_candela(Point(*(float(each) for each in at))) == pytest.approx(lux)
