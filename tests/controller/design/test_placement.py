"""Placement: common practice for each kind of object, beams that cover it from foot to top, how bright."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad

from config.errors import WiringError
from config.models.cables import M_PER_FT
from controller.design.aiming import LEAST_SHARE, MOST_PER_LEAST
from controller.design.brightness import Wanted
from controller.design.path_lights import PathSide
from controller.design.placement import Target, parse_placement, place, place_on_path

OBJECTS = [Target.TREE, Target.TALL, Target.SHRUB, Target.WALL]


def lux_by_numpy(found, at):
    """The lux at places (across, up, away) by all lights of a row or one of those around, worked out anew."""
    aim_up = 2.0 / 3.0 * found.height_m
    aim_away = found.out_m + (found.spread_m / 2.0 if found.what is Target.TREE else 0.0)
    axis = np.array([0.0, aim_up, aim_away]) / np.hypot(aim_up, aim_away)
    power = np.log(0.5) / np.log(np.cos(np.radians(found.beam_deg / 2.0)))
    total = np.zeros(len(at))
    for stand in found.along_m or (0.0,):
        ray = np.asarray(at) - np.array([stand, 0.0, 0.0])
        throw = np.linalg.norm(ray, axis=1)
        off_axis = np.clip(ray @ axis / throw, 0.0, None)
        total += found.brightness.candela * off_axis**power * ray[:, 2] / throw**3
    return total


def shares_from_foot_to_top(found, heights=400):
    """The lux all over an object as parts of what is aimed at, the crown of a tree as an ellipse."""
    up = np.linspace(0.0, found.height_m, heights)
    if found.what is Target.TREE:
        half = found.height_m / 3.0
        part = np.clip(1.0 - ((up - 2.0 * half) / half) ** 2, 0.0, None)
        bulge = found.spread_m / 2.0 * np.sqrt(part)
        middle = found.out_m + found.spread_m / 2.0
        near = np.stack([np.zeros_like(up), up, middle - bulge], axis=1)
        side = np.stack([bulge, up, np.full_like(up, middle)], axis=1)
        at = np.concatenate([near, side])
    else:
        across = [0.0, found.spread_m / 2.0]
        if found.along_m:
            across = np.linspace(0.0, found.spread_m, 8 * found.lights + 1)
        at = np.array([(x, y, found.out_m) for x in across for y in up])
    return lux_by_numpy(found, at) / found.brightness.lux


@given(st.sampled_from(OBJECTS), st.floats(0.5, 15.0), st.floats(0.2, 12.0))
@settings(max_examples=60, deadline=None)
def test_everything_is_lit_from_foot_to_top(what, height_m, spread_m):
    """No place from foot to top gets less than a fifth of what is aimed at, nor a tenth of the brightest."""
    found = place(what, height_m=height_m, spread_m=spread_m)
    shares = shares_from_foot_to_top(found)
    assert not found.warnings or "lm are more" in found.warnings[0]
    # A little less, as there are more places looked at here.
    assert shares.min() >= 0.95 * LEAST_SHARE
    assert shares.max() <= 1.1 * MOST_PER_LEAST * shares.min()
    assert found.spread.least == pytest.approx(shares.min(), rel=0.05)
    assert found.spread.most == pytest.approx(shares.max(), rel=0.05)


def test_no_half_of_a_column_stays_dark():
    """A column of 4 m by 0.5 m is lit from foot to top; a beam as wide as the column leaves half dark."""
    found = place(Target.TALL, height_m=4.0, spread_m=0.5)
    heights = np.linspace(0.0, 4.0, 81)
    lux = lux_by_numpy(found, np.stack([0 * heights, heights, 0 * heights + found.out_m], axis=1))
    assert (lux >= 0.2 * found.brightness.lux).all()
    # The beam that is as wide as the column, 0.5 m at that throw, shows what went wrong once.
    axis = np.array([8.0 / 3.0, found.out_m])
    throw = np.hypot(heights, found.out_m)
    off_axis = (heights * axis[0] + found.out_m * axis[1]) / (throw * np.hypot(*axis))
    power = np.log(0.5) / np.log(np.cos(np.arctan(0.25 / np.hypot(*axis))))
    narrow = off_axis**power * found.out_m / throw**3
    dark = narrow < 0.2 * np.interp(axis[0], heights, narrow)
    assert dark.mean() > 0.5


@given(st.sampled_from([Target.TREE, Target.TALL]), st.floats(0.5, 20.0), st.floats(0.2, 15.0))
@settings(max_examples=40, deadline=None)
def test_lights_stand_outside_the_leaves(what, height_m, spread_m):
    """From the trunk a light is at least 2 ft farther than half the width, whatever the tree."""
    found = place(what, height_m=height_m, spread_m=spread_m)
    assert found.from_middle_m == pytest.approx(found.out_m + spread_m / 2.0)
    assert found.out_m >= 2.0 * M_PER_FT - 1e-9


def test_a_small_tree_has_one_spot_about_two_feet_out():
    """A tree of 6.5 ft takes one spot 2 ft out from its crown (common practice, no source)."""
    found = place(Target.TREE, height_m=6.5 * M_PER_FT, spread_m=1.2)
    assert (found.kind, found.lights) == ("spot", 1)
    assert found.out_m == pytest.approx(2.0 * M_PER_FT)
    assert found.from_middle_m == pytest.approx(2.0 * M_PER_FT + 0.6)


def test_a_larger_tree_is_lit_from_farther_out():
    """The distance grows with the height and is never below 2 ft (common practice, no source)."""
    out_m = [place(Target.TREE, height_m=height_m, spread_m=1.0).out_m for height_m in (1.0, 2.5, 5.0, 10.0)]
    assert out_m == sorted(out_m)
    assert out_m[0] == pytest.approx(2.0 * M_PER_FT)
    assert out_m[3] > out_m[2]


@pytest.mark.parametrize("what", [Target.TREE, Target.TALL])
@pytest.mark.parametrize(
    ("height_m", "spread_m", "lights"),
    [(2.0, 1.0, 1), (2.0, 2.5, 2), (4.5, 2.0, 2), (9.0, 5.0, 2), (9.0, 8.0, 3)],
)
def test_trees_and_tall_things_take_one_to_three_spots(what, height_m, spread_m, lights):
    """Small ones take one or two, large ones two or three, wide ones the larger number (common practice)."""
    found = place(what, height_m=height_m, spread_m=spread_m)
    assert found.lights == lights
    assert len(found.around_deg) == lights


def test_no_side_of_a_large_tree_is_dark():
    """The lights of a large wide tree stand all around it, no two more than half a turn apart."""
    around = sorted(place(Target.TREE, height_m=10.0, spread_m=9.0).around_deg)
    gaps = [(b - a) % 360.0 for a, b in zip(around, [*around[1:], around[0] + 360.0], strict=True)]
    assert max(gaps) <= 180.0


@given(st.sampled_from(OBJECTS), st.floats(0.5, 20.0), st.floats(0.2, 15.0))
@settings(max_examples=40, deadline=None)
def test_the_beam_covers_the_width(what, height_m, spread_m):
    """At its throw the beam is as wide as the part of the object that one light is for, or the widest."""
    found = place(what, height_m=height_m, spread_m=spread_m)
    to_middle_m = spread_m / 2.0 if what is Target.TREE else 0.0
    throw_m = math.hypot(found.out_m + to_middle_m, 2.0 / 3.0 * height_m)
    part_m = spread_m / found.lights if found.along_m else spread_m
    spot_m = 2.0 * throw_m * math.tan(math.radians(found.beam_deg / 2.0))
    assert found.beam_deg == 120.0 or spot_m >= part_m - 1e-9
    assert 0.0 < found.tilt_deg < 90.0


def test_shrubs_are_washed_and_tall_things_spotted():
    """A bed of shrubs takes wash lights of 60 degrees or more in a row, a column a spot (practice)."""
    bed = place(Target.SHRUB, height_m=1.0, spread_m=6.0)
    assert bed.kind == "wash"
    assert bed.beam_deg >= 60.0
    assert bed.lights == 4  # 6 m at 1.5 m apart
    column = place(Target.TALL, height_m=2.5, spread_m=0.5)
    assert (column.kind, column.lights) == ("spot", 1)


def test_a_wall_is_lit_along_its_length():
    """The lights of a wall divide it evenly, each in the middle of its part."""
    found = place(Target.WALL, height_m=3.0, spread_m=7.2)
    assert found.kind == "wash"
    part_m = 7.2 / found.lights
    assert found.along_m == pytest.approx([part_m * (place_ + 0.5) for place_ in range(found.lights)])


def test_a_column_worked_out_by_hand():
    """From 1.5 m out at 2 m of 3 m: throw 2.5 m, cosine 0.6, so 24 lx take 24 × 6.25 ÷ 0.6 = 250 cd.

    With 60° of beam (power ln 0.5 ÷ ln cos 30° = 4.819) the foot is 53.1° off the axis (cosine 0.6) and gets
    250 × 0.6^4.819 ÷ 1.5² = 9.5 lx; with 36° (power 13.8) it would get 0.1 lx. 250 cd in 60° are
    2 π × 250 ÷ 5.819 = 270 lm: 3.4 W of LED at 80 lm/W, 18 W of halogen at 15 lm/W.
    """
    found = place(Target.TALL, height_m=3.0, spread_m=0.4, out_m=1.5, wanted=Wanted(lux=24.0))
    assert (found.out_m, found.beam_deg) == (1.5, 60.0)
    assert found.tilt_deg == pytest.approx(53.13, abs=0.01)
    assert found.brightness.candela == pytest.approx(250.0)
    assert found.brightness.lumens == pytest.approx(270.0, abs=0.2)
    assert (found.brightness.led_w, found.brightness.halogen_w) == (4.0, 20.0)
    foot, top = lux_by_numpy(found, [(0.0, 0.0, 1.5), (0.0, 3.0, 1.5)])
    assert foot == pytest.approx(9.48, abs=0.02)
    # The top: 3.354 m off, 10.3° off the axis (cosine 0.9839), cosine 0.4472: 250 × 0.9247 × 0.4472 ÷ 11.25.
    assert top == pytest.approx(9.19, abs=0.02)


def test_a_tree_worked_out_by_hand():
    """A crown of 2 m, lit from 1 m out, is aimed at 2 m off: 3 m of height at 2 m up is 45°.

    The throw is √8 = 2.83 m at a cosine of 0.7071: 15 lx take 15 × 8 ÷ 0.7071 = 169.7 cd. The near side of
    the crown, 1 m off and 2 m up, is 18.4° off the axis (cosine 3 ÷ √10) at 2.236 m and a cosine of 0.4472.
    """
    found = place(Target.TREE, height_m=3.0, spread_m=2.0, out_m=1.0, wanted=Wanted(lux=15.0))
    assert found.tilt_deg == pytest.approx(45.0)
    assert found.from_middle_m == 2.0
    assert found.brightness.candela == pytest.approx(15.0 * 8.0 / math.sqrt(0.5))
    power = math.log(0.5) / math.log(math.cos(math.radians(found.beam_deg / 2.0)))
    near = 169.7 * (3.0 / math.sqrt(10.0)) ** power * 0.4472 / 5.0
    [by_numpy] = lux_by_numpy(found, [(0.0, 2.0, 1.0)])
    assert near == pytest.approx(by_numpy, rel=1e-3)


def test_known_lamps_give_their_lux():
    """200 cd where 250 give 24 lx give 19.2 lx; candela and lux together are refused."""
    found = place(Target.TALL, height_m=3.0, spread_m=0.4, out_m=1.5, wanted=Wanted(candela=200.0))
    assert found.brightness.lux == pytest.approx(19.2)
    with pytest.raises(WiringError, match="lux and candela are both given"):
        Wanted(lux=10.0, candela=100.0)


@pytest.mark.parametrize(
    ("lux", "around_lx", "words"),
    [
        (
            31.0,
            3.0,
            "31 lx beside surroundings of 3 lx: so bright that everything around it looks black",
        ),
        (30.0, 3.0, None),
        (19.0, 10.0, "19 lx beside surroundings of 10 lx: it hardly stands out; aim at 20 lx or more"),
        (20.0, 10.0, None),
    ],
)
def test_accents_are_a_few_times_brighter_than_their_surroundings(lux, around_lx, words):
    """From twice to ten times as bright there is nothing to say (common practice, no source)."""
    wanted = Wanted(lux=lux, surroundings_lx=around_lx)
    warnings = place(Target.TREE, height_m=2.5, spread_m=1.5, wanted=wanted).warnings
    assert [each[: len(words or "")] for each in warnings] == ([words] if words else [])


def test_lux_follow_the_surroundings_where_none_are_given():
    """An accent gets 5 times, a background 3 times what is around it; none is too bright or faint."""
    for around_lx in (1.0, 3.0, 12.0):
        wanted = Wanted(surroundings_lx=around_lx)
        tree = place(Target.TREE, height_m=2.5, spread_m=1.5, wanted=wanted)
        wall = place(Target.WALL, height_m=2.0, spread_m=4.0, wanted=wanted)
        assert tree.brightness.lux == pytest.approx(5.0 * around_lx)
        assert wall.brightness.lux == pytest.approx(3.0 * around_lx)
        assert not tree.warnings


def test_too_little_room_is_uneven_and_said():
    """A column lit from 1 ft out is glaring at its foot and dark at its top, and the warning says so."""
    found = place(Target.TALL, height_m=4.0, spread_m=0.5, out_m=M_PER_FT)
    assert found.out_m == M_PER_FT
    [words] = [each for each in found.warnings if each.startswith("uneven: the brightest place gets")]
    assert words.endswith("place the lights farther out, or more of them and aim each at a part")
    shares = shares_from_foot_to_top(found)
    assert shares.max() / shares.min() > 100.0


def test_more_than_a_lamp_gives_takes_several():
    """A tree of 30 m takes more lumens than any usual lamp has: several for each, and no watts named."""
    found = place(Target.TREE, height_m=30.0, spread_m=20.0)
    assert found.brightness.led_w is None
    assert any("lm are more than one usual lamp gives (2400 lm): place" in each for each in found.warnings)


@pytest.mark.parametrize(("length_ft", "lights"), [(8.0, 1), (16.0, 2), (17.0, 3), (60.0, 8), (3.0, 1)])
def test_path_lights_are_spaced_8_ft_at_most(length_ft, lights):
    """A path takes a light for every 8 ft or part of it (common practice, no source)."""
    assert parse_placement(f"path {length_ft} ft").lights == lights


@pytest.mark.parametrize(
    ("width_ft", "asked", "side"),
    [
        (3.0, None, PathSide.ONE),
        (4.0, None, PathSide.ALTERNATING),
        (3.0, PathSide.ALTERNATING, PathSide.ALTERNATING),
        (4.0, PathSide.ONE, PathSide.ONE),
    ],
)
def test_the_side_goes_by_the_width_of_the_path(width_ft, asked, side):
    """Up to 3 ft wide the lights stand on one side, else left and right in turn, unless asked otherwise."""
    assert place_on_path(10.0, width_ft * M_PER_FT, side=asked).side is side


def test_a_path_may_be_spaced_as_asked():
    """With another spacing the lights stand no farther apart than that."""
    found = place_on_path(20.0, 1.2, spacing_m=3.0)
    assert found.lights == 7
    gaps = [b - a for a, b in zip(found.along_m, found.along_m[1:], strict=False)]
    assert max(gaps) <= 3.0


def path_lux(found, along, across):
    """The lux on a path by all its lights, 1 ft from its edge and 1.5 ft up, worked out anew."""
    lux = 0.0
    for number, stand in enumerate(found.along_m):
        left = found.side is PathSide.ALTERNATING and number % 2 == 1
        beside = found.width_m + 0.3048 if left else -0.3048
        throw = math.sqrt((along - stand) ** 2 + (across - beside) ** 2 + 0.4572**2)
        lux += found.brightness.candela * (0.4572 / throw) / throw**2
    return lux


@pytest.mark.parametrize("text", ["path 4 m by 1 m", "path 16 ft by 3 ft", "path 3 m by 2 m"])
def test_the_mean_on_a_path_is_what_is_aimed_at(text):
    """The lux integrated over the path by scipy and divided by its area are the mean that is named."""
    found = parse_placement(text, Wanted(lux=4.0))
    whole, _ = dblquad(
        lambda across, along: path_lux(found, along, across),
        0.0, found.spread_m, 0.0, found.width_m, epsabs=1e-3, epsrel=1e-3,
    )  # fmt: skip
    assert whole / (found.spread_m * found.width_m) == pytest.approx(4.0, rel=0.02)


def test_a_path_light_worked_out_by_hand():
    """Straight below a light 0.4572 m up, 10 cd give 10 ÷ 0.4572² = 47.8 lx; 10 cd all around are 62.8 lm."""
    found = place_on_path(2.0, 1.0, wanted=Wanted(candela=10.0))
    assert path_lux(found, found.along_m[0], -0.3048) == pytest.approx(47.84, abs=0.01)
    assert found.brightness.lumens == pytest.approx(62.83, abs=0.01)


@pytest.mark.parametrize("width_m", [0.6, 1.2, 2.4])
def test_pools_of_light_meet_at_the_usual_spacing(width_m):
    """At 8 ft no place on a path gets less than a tenth of the mean, with all lights counted."""
    found = place_on_path(20.0, width_m)
    darkest = min(
        path_lux(found, along, across)
        for along in np.linspace(0.0, 20.0, 101)
        for across in np.linspace(0.0, width_m, 5)
    )
    assert not found.warnings
    assert darkest >= 0.08 * found.brightness.lux  # the very edge, which the program does not look at


def test_lights_too_far_apart_leave_the_path_dark_and_that_is_said():
    """At 7 m from light to light there are places with less than a tenth of the mean, and a warning."""
    far = place_on_path(20.0, 1.2, spacing_m=7.0)
    darkest = min(path_lux(far, along, 0.6) for along in np.linspace(0.0, 20.0, 161))
    assert darkest < 0.1 * far.brightness.lux
    [words] = far.warnings
    assert words.startswith("uneven: the darkest place of the path gets 7 % of the mean; place lights closer")


@pytest.mark.parametrize("what", OBJECTS)
def test_every_placement_says_what_is_practice_and_what_is_computed(what):
    """Each placement names the common practice that it follows and the geometry that it computed."""
    found = place(what, height_m=2.0, spread_m=3.0)
    assert found.practice
    assert found.geometry


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: place(Target.TREE, height_m=0.0, spread_m=1.0), "tree: height_m = 0"),
        (lambda: place(Target.WALL, height_m=2.0, spread_m=-1.0), "wall: spread_m = -1"),
        (lambda: place(Target.WALL, height_m=2.0, spread_m=1.0, out_m=0.0), "wall: out_m = 0"),
        (lambda: place_on_path(math.nan, 1.0), "path: length_m = nan"),
        (lambda: place_on_path(5.0, 1.0, spacing_m=0.0), "path: spacing_m = 0"),
        (lambda: Wanted(lux=0.0), "lux = 0; it must be a number above zero"),
        (lambda: Wanted(surroundings_lx=-1.0), "surroundings_lx = -1"),
        (lambda: Wanted(candela=2e6), "candela = 2e\\+06; it must be a number above zero, up to 1000000"),
        (lambda: place(Target.TREE, height_m=2.0, spread_m=9e3), "spread_m = 9000; .* up to 3000"),
    ],
)
def test_a_figure_that_cannot_be_is_refused(make, words):
    """A figure that is not above zero, or larger than any garden, is refused with its name and value."""
    with pytest.raises(WiringError, match=words):
        make()
