"""How many lights for an object, where, and how bright: common practice, with the geometry behind it.

The numbers of lights, the distances out and the spacings are common practice and have no source; each
placement says which of its figures are. Tilt and beam are computed: a lamp stands
on level ground and shines at an upright object. What looks right at night decides.
"""

import math
import re
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.errors import WiringError
from config.models.cables import M_PER_FT, parse_length

# All common practice, no source.
OUT_PER_HEIGHT: Final = 2.0 / 6.5
"""A small tree of 6 to 7 ft is lit from about 2 ft out; larger ones from farther, here in proportion."""

LEAST_OUT_M: Final = 2.0 * M_PER_FT
SMALL_TREE_M: Final = 3.0
LARGE_TREE_M: Final = 6.0
WIDE_PER_HEIGHT: Final = 0.8
"""A tree wider than this part of its height takes the larger number of lights."""

AIM_PART: Final = 2.0 / 3.0
"""The middle of a beam is aimed at two thirds of the height, where the crown is."""

SHRUB_OUT_PER_HEIGHT: Final = 0.75
SHRUB_SPACING_PER_OUT: Final = 2.0
WALL_OUT_PER_HEIGHT: Final = 0.3
PATH_SPACING_M: Final = 8.0 * M_PER_FT
USUAL_BEAMS_DEG: Final = (12.0, 24.0, 36.0, 60.0, 90.0, 120.0)
USUAL_SPREAD: Final = 0.5
"""Width of a tree or a tall thing as a part of its height where none is given."""

_OBJECT: Final = re.compile(
    r"\s*(tree|shrub|tall thing|wall|path)s?\s+(.+?)(?:\s+by\s+(.+?))?\s*", re.IGNORECASE
)
_HOW: Final = (
    "write a kind (tree, shrub, tall thing, wall, path), its height, and its width or length:"
    " “tree 7 ft by 5 ft”, “wall 8 ft by 30 ft”, “path 12 m”"
)


class Target(StrEnum):
    """What is lit."""

    TREE = "tree"
    SHRUB = "shrub"
    TALL = "tall thing"  # a column, a statue, a tall narrow plant
    WALL = "wall"
    PATH = "path"


@dataclass(frozen=True, kw_only=True, slots=True)
class Placement:
    """An object with its lights.

    Attributes:
        spread_m: its width, or its length where it is long.
        spread_assumed: whether the usual width was taken, as none was given.
        kind: "spot", "wash" or "path".
        out_m: from the object to each light; 0 for a path.
        around_deg: for a free-standing object, where the lights stand as seen from it, 0 towards the viewer.
        along_m: for a long object, where each light stands, from its beginning.
        tilt_deg: above the level; 0 for a path.
        beam_deg: the usual beam that covers the object; 0 for a path.
        candela: of one light, in the middle of its beam.
        lux: of the object at the height that is aimed at, by one light; None without candela.
        practice: what of this is common practice.
        geometry: what was computed, in words.
    """

    what: Target
    height_m: float
    spread_m: float
    spread_assumed: bool = False
    kind: str
    lights: int
    out_m: float
    around_deg: tuple[float, ...] = ()
    along_m: tuple[float, ...] = ()
    tilt_deg: float = 0.0
    beam_deg: float = 0.0
    candela: float | None = None
    lux: float | None = None
    practice: tuple[str, ...]
    geometry: tuple[str, ...]


def place(
    what: Target, *, height_m: float = 0.0, spread_m: float, spacing_m: float = PATH_SPACING_M
) -> Placement:
    """Place lights at an object.

    ``spread_m`` is the width of a tree or thing, or the length of a shrub bed, wall or path; ``height_m`` and
    ``spacing_m`` count where they are needed: for all but a path, and for a path.

    Raises:
        WiringError: a figure is not above zero.
    """
    is_path = what is Target.PATH
    needed = {"spacing_m": spacing_m} if is_path else {"height_m": height_m}
    for name, value in {**needed, "spread_m": spread_m}.items():
        if not (math.isfinite(value) and value > 0.0):
            raise WiringError(f"{what}: {name} = {value:g}; it must be a number above zero")
    match what:
        case Target.TREE:
            wide = spread_m > WIDE_PER_HEIGHT * height_m
            if height_m > LARGE_TREE_M:
                rule = "a large tree: two or three spots around it, so that no side is dark"
                return _standing(what, 3 if wide else 2, height_m, spread_m, rule)
            lights = 2 if wide or height_m > SMALL_TREE_M else 1
            return _standing(what, lights, height_m, spread_m, "a small tree: one or two spots")
        case Target.TALL:
            return _standing(what, 1, height_m, spread_m, "a tall narrow thing: one spot")
        case Target.SHRUB:
            return _row(what, height_m, spread_m, SHRUB_OUT_PER_HEIGHT, "shrubs: wash lights")
        case Target.WALL:
            return _row(what, height_m, spread_m, WALL_OUT_PER_HEIGHT, "a wall: wash lights in a row")
        case Target.PATH:
            return _path(spread_m, spacing_m)


def _standing(what: Target, lights: int, height_m: float, spread_m: float, rule: str) -> Placement:
    """Lights around a free-standing object: one in front, two to either side of that, three all around."""
    out_m = max(LEAST_OUT_M, OUT_PER_HEIGHT * height_m)
    tilted_deg, beam_deg, geometry = _aim(out_m, height_m, spread_m, f"{spread_m:.1f} m wide")
    return Placement(
        what=what,
        height_m=height_m,
        spread_m=spread_m,
        kind="spot",
        lights=lights,
        out_m=out_m,
        around_deg={1: (0.0,), 2: (-60.0, 60.0), 3: (0.0, 120.0, 240.0)}[lights],
        tilt_deg=tilted_deg,
        beam_deg=beam_deg,
        practice=(
            rule,
            "about 2 ft out for 6 to 7 ft of height, farther in proportion",
            "aimed at two thirds of the height",
        ),
        geometry=geometry,
    )


def _row(what: Target, height_m: float, length_m: float, out_per_height: float, rule: str) -> Placement:
    """Lights in a row before a long object, each for an equal part of it."""
    out_m = max(LEAST_OUT_M, out_per_height * height_m)
    lights = max(1, math.ceil(length_m / (SHRUB_SPACING_PER_OUT * out_m)))
    part_m = length_m / lights
    each = f"each lights {part_m:.1f} m of {length_m:.1f} m"
    tilted_deg, beam_deg, geometry = _aim(out_m, height_m, part_m, each, least_deg=60.0)
    return Placement(
        what=what,
        height_m=height_m,
        spread_m=length_m,
        kind="wash",
        lights=lights,
        out_m=out_m,
        along_m=_middles(length_m, lights),
        tilt_deg=tilted_deg,
        beam_deg=beam_deg,
        practice=(
            rule,
            f"{out_per_height:g} of the height out, up to {SHRUB_SPACING_PER_OUT:g} times that apart",
            "a wash has 60° or more",
        ),
        geometry=geometry,
    )


def _aim(
    out_m: float, height_m: float, width_m: float, what: str, least_deg: float = 0.0
) -> tuple[float, float, tuple[str, ...]]:
    """The tilt that aims at two thirds of the height, the usual beam for a width, and both in words."""
    aim_m = AIM_PART * height_m
    throw_m = math.hypot(out_m, aim_m)
    tilted_deg, needed_deg = tilt_deg(out_m, aim_m), beam_for_width_deg(throw_m, width_m)
    wanted_deg = max(least_deg, needed_deg)
    beam_deg = next((each for each in USUAL_BEAMS_DEG if each >= wanted_deg), USUAL_BEAMS_DEG[-1])
    geometry = (
        f"aimed at {aim_m:.1f} m from {out_m:.1f} m out: {tilted_deg:.0f}° above the level",
        f"{what} at a throw of {throw_m:.1f} m: {needed_deg:.0f}° of beam, so {beam_deg:g}°",
    )
    return tilted_deg, beam_deg, geometry


def _path(length_m: float, spacing_m: float) -> Placement:
    # A hair of rounding must not add a light to a path of exactly so many spacings.
    lights = max(1, math.ceil(length_m / spacing_m - 1e-9))
    spacing = f"{spacing_m:.1f} m ({spacing_m / M_PER_FT:.0f} ft)"
    return Placement(
        what=Target.PATH,
        height_m=0.0,
        spread_m=length_m,
        kind="path",
        lights=lights,
        out_m=0.0,
        along_m=_middles(length_m, lights),
        practice=(f"path lights {spacing} apart at most, on both sides",),
        geometry=(f"{length_m:.1f} m in {lights} equal parts of {length_m / lights:.1f} m, a light in each",),
    )


def _middles(length_m: float, parts: int) -> tuple[float, ...]:
    return tuple((part + 0.5) * length_m / parts for part in range(parts))


def feet_and_metres(length_m: float) -> str:
    """Write a length in feet and in metres."""
    return f"{length_m / M_PER_FT:.1f} ft ({length_m:.2f} m)"


def parse_placement(text: str, candela: float | None = None) -> Placement:
    """Place lights for an object as a person describes it, such as ``tree 7 ft by 5 ft`` or ``path 12 m``.

    Raises:
        WiringError: the text cannot be read, or a figure cannot be.
    """
    found = _OBJECT.fullmatch(text)
    if found is None:
        raise WiringError(f"“{text}” is not an object that lights can be placed at; {_HOW}")
    return place_object(Target(found[1].lower()), found[2], found[3], candela)


def place_object(
    what: Target, first: str, second: str | None = None, candela: float | None = None
) -> Placement:
    """Place lights for an object.

    ``first`` is its height, or the length of a path; ``second`` its width, or its length where it is long (a
    tree or a tall thing may do without); ``candela`` is of one light in the middle of its beam.

    Raises:
        WiringError: a figure is missing, or cannot be.
    """
    first_m = parse_length(first)
    second_m = None if second is None else parse_length(second)
    if candela is not None and not (math.isfinite(candela) and candela > 0.0):
        raise WiringError(f"candela = {candela:g}; it must be a number above zero")
    if what is Target.PATH:
        if second_m is not None:
            raise WiringError("a path has a length only: “path 12 m”")
        return replace(place(what, spread_m=first_m), candela=candela)
    if second_m is None and what not in {Target.TREE, Target.TALL}:
        raise WiringError(f"a {what} has a height and a length; {_HOW}")
    placed = place(what, height_m=first_m, spread_m=USUAL_SPREAD * first_m if second_m is None else second_m)
    if second_m is None:
        assumed = f"no width was given: taken as half the height, {feet_and_metres(placed.spread_m)}"
        placed = replace(placed, spread_assumed=True, practice=(*placed.practice, assumed))
    if candela is not None:
        lux = upright_illuminance_lx(candela, placed.out_m, AIM_PART * first_m)
        words = f"{candela:g} cd give {lux:.0f} lx on an upright face there"
        geometry = (*placed.geometry, f"{words}, by the inverse-square and cosine laws")
        placed = replace(placed, candela=candela, lux=lux, geometry=geometry)
    return placed


def tilt_deg(distance_m: float, aim_height_m: float) -> float:
    """Angle above the level at which a lamp must point to hit a height at some distance."""
    return math.degrees(math.atan2(aim_height_m, distance_m))


def beam_for_width_deg(throw_m: float, width_m: float) -> float:
    """Beam angle whose spot has this width at this throw."""
    return 2.0 * math.degrees(math.atan2(width_m / 2.0, throw_m))


def illuminance_lx(intensity_cd: float, throw_m: float, incidence_deg: float = 0.0) -> float:
    """Illuminance of a surface by one lamp, in lux: candela × cos(incidence) ÷ throw².

    Source: the laws of Lambert, CIE S 017 (International Lighting Vocabulary), from memory; held by
    tests/controller/design/test_placement.py against the definition of the lux.
    """
    if throw_m <= 0.0:
        raise WiringError(f"throw = {throw_m:g} m: a lamp lights a place at some distance, above zero")
    return max(0.0, intensity_cd * math.cos(math.radians(incidence_deg))) / throw_m**2


def upright_illuminance_lx(intensity_cd: float, distance_m: float, height_m: float) -> float:
    """Illuminance of an upright surface at some height, by a lamp on the ground that points there."""
    throw_m = math.hypot(distance_m, height_m)
    return illuminance_lx(intensity_cd, throw_m, tilt_deg(distance_m, height_m))
