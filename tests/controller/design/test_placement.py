"""Placement: common practice for each kind of object, beams that cover what they should, and lux."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import WiringError
from config.models.cables import M_PER_FT
from controller.design.placement import (
    USUAL_BEAMS_DEG,
    Target,
    beam_for_width_deg,
    illuminance_lx,
    place,
    tilt_deg,
    upright_illuminance_lx,
)


def test_a_small_tree_has_one_spot_about_two_feet_out():
    """A tree of 6.5 ft takes one spot 2 ft out (common practice, no source)."""
    found = place(Target.TREE, height_m=6.5 * M_PER_FT, spread_m=1.2)
    assert (found.kind, found.lights) == ("spot", 1)
    assert found.out_m == pytest.approx(2.0 * M_PER_FT)


def test_a_larger_tree_is_lit_from_farther_out():
    """The distance grows with the height and is never below 2 ft (common practice, no source)."""
    out_m = [place(Target.TREE, height_m=height_m, spread_m=1.0).out_m for height_m in (1.0, 2.5, 5.0, 10.0)]
    assert out_m == sorted(out_m)
    assert out_m[0] == pytest.approx(2.0 * M_PER_FT)
    assert out_m[3] > out_m[2]


@pytest.mark.parametrize(
    ("height_m", "spread_m", "lights"),
    [(2.0, 1.0, 1), (2.0, 2.5, 2), (4.5, 2.0, 2), (9.0, 5.0, 2), (9.0, 8.0, 3)],
)
def test_trees_take_one_to_three_spots(height_m, spread_m, lights):
    """Small trees take one or two, large ones two or three, wide ones the larger number (common practice)."""
    found = place(Target.TREE, height_m=height_m, spread_m=spread_m)
    assert found.lights == lights
    assert len(found.around_deg) == lights


def test_no_side_of_a_large_tree_is_dark():
    """The lights of a large wide tree stand all around it, no two more than half a turn apart."""
    around = sorted(place(Target.TREE, height_m=10.0, spread_m=9.0).around_deg)
    gaps = [(b - a) % 360.0 for a, b in zip(around, [*around[1:], around[0] + 360.0], strict=True)]
    assert max(gaps) <= 180.0


@given(st.floats(0.5, 20.0), st.floats(0.2, 15.0))
def test_the_beam_of_a_spot_covers_the_spread(height_m, spread_m):
    """The usual beam that is named covers the object's width at its throw, or is the widest there is."""
    found = place(Target.TREE, height_m=height_m, spread_m=spread_m)
    throw_m = math.hypot(found.out_m, 2.0 / 3.0 * height_m)
    widest = found.beam_deg == USUAL_BEAMS_DEG[-1]
    spot_m = 2.0 * throw_m * math.tan(math.radians(found.beam_deg / 2.0))
    assert widest or spot_m >= spread_m - 1e-9
    assert 0.0 < found.tilt_deg < 90.0


def test_shrubs_are_washed_and_tall_things_spotted():
    """A bed of shrubs takes wash lights of 60 degrees or more in a row, a column a spot (practice)."""
    bed = place(Target.SHRUB, height_m=1.0, spread_m=6.0)
    assert bed.kind == "wash"
    assert bed.beam_deg >= 60.0
    assert bed.lights == 4  # 6 m at 1.5 m apart
    column = place(Target.TALL, height_m=4.0, spread_m=0.5)
    assert (column.kind, column.lights) == ("spot", 1)
    assert column.beam_deg < bed.beam_deg


def test_a_wall_is_lit_along_its_length():
    """The lights of a wall divide it evenly, each in the middle of its part."""
    found = place(Target.WALL, height_m=3.0, spread_m=7.2)
    assert found.kind == "wash"
    part_m = 7.2 / found.lights
    assert found.along_m == pytest.approx([part_m * (place_ + 0.5) for place_ in range(found.lights)])


@pytest.mark.parametrize(("length_ft", "lights"), [(8.0, 1), (16.0, 2), (17.0, 3), (60.0, 8), (3.0, 1)])
def test_path_lights_are_spaced_8_ft_at_most(length_ft, lights):
    """A path takes a light for every 8 ft or part of it (common practice, no source)."""
    assert place(Target.PATH, spread_m=length_ft * M_PER_FT).lights == lights


def test_a_path_may_be_spaced_as_asked():
    """With another spacing the lights stand no farther apart than that."""
    found = place(Target.PATH, spread_m=20.0, spacing_m=3.0)
    assert found.lights == 7
    gaps = [b - a for a, b in zip(found.along_m, found.along_m[1:], strict=False)]
    assert max(gaps) <= 3.0


@pytest.mark.parametrize("what", list(Target))
def test_every_placement_says_what_is_practice_and_what_is_computed(what):
    """Each placement names the common practice that it follows and the geometry that it computed."""
    found = place(what, height_m=2.0, spread_m=3.0)
    assert found.practice
    assert found.geometry


@pytest.mark.parametrize(
    ("what", "figures", "words"),
    [
        (Target.TREE, {"height_m": 0.0, "spread_m": 1.0}, "tree: height_m = 0"),
        (Target.WALL, {"height_m": 2.0, "spread_m": -1.0}, "wall: spread_m = -1"),
        (Target.PATH, {"spread_m": math.nan}, "path: spread_m = nan"),
        (Target.PATH, {"spread_m": 5.0, "spacing_m": 0.0}, "path: spacing_m = 0"),
    ],
)
def test_a_figure_that_cannot_be_is_refused(what, figures, words):
    """A height, spread or spacing that is not above zero is refused with its name and value."""
    with pytest.raises(WiringError, match=words):
        place(what, **figures)


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
