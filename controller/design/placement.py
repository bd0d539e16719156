"""How many lights for an object, and where: common practice, with the geometry behind it.

The numbers of lights, the distances out and the spacings are common practice and have no source; each
placement says which of its figures are. Tilt and beam are computed. What looks right at night decides.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.errors import WiringError
from config.models.cables import M_PER_FT, parse_length
from controller.design.photometry import beam_for_width_deg, tilt_deg, upright_illuminance_lx

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
    """Lights for one object.

    Attributes:
        kind: of fixture: "spot", "wash" or "path".
        out_m: from the object to each light; 0 for a path.
        around_deg: for a free-standing object, where the lights stand as seen from it, 0 towards the viewer.
        along_m: for a long object, where each light stands, from its beginning.
        tilt_deg: above the level; 0 for a path.
        beam_deg: the usual beam that covers the object; 0 for a path.
        practice: what of this is common practice.
        geometry: what was computed, in words.
    """

    kind: str
    lights: int
    out_m: float
    around_deg: tuple[float, ...] = ()
    along_m: tuple[float, ...] = ()
    tilt_deg: float = 0.0
    beam_deg: float = 0.0
    practice: tuple[str, ...]
    geometry: tuple[str, ...]


def place(
    what: Target, *, height_m: float = 0.0, spread_m: float, spacing_m: float | None = None
) -> Placement:
    """Place lights at an object.

    ``spread_m`` is the width of a tree or thing, or the length of a shrub bed, wall or path; ``height_m`` is
    ignored for a path, whose ``spacing_m`` may be another than the usual 8 ft.

    Raises:
        WiringError: a figure is not above zero.
    """
    needed = {"spread_m": spread_m} if what is Target.PATH else {"height_m": height_m, "spread_m": spread_m}
    for name, value in needed.items():
        if not (math.isfinite(value) and value > 0.0):
            raise WiringError(f"{what}: {name} = {value:g}; it must be a number above zero")
    match what:
        case Target.TREE:
            return _tree(height_m, spread_m)
        case Target.TALL:
            return _standing(1, height_m, spread_m, "a tall narrow thing: one spot")
        case Target.SHRUB:
            return _row(height_m, spread_m, SHRUB_OUT_PER_HEIGHT, "shrubs: wash lights")
        case Target.WALL:
            return _row(height_m, spread_m, WALL_OUT_PER_HEIGHT, "a wall: wash lights in a row")
        case Target.PATH:
            return _path(spread_m, PATH_SPACING_M if spacing_m is None else spacing_m)


def _tree(height_m: float, spread_m: float) -> Placement:
    wide = spread_m > WIDE_PER_HEIGHT * height_m
    if height_m > LARGE_TREE_M:
        rule = "a large tree: two or three spots around it, so that no side is dark"
        return _standing(3 if wide else 2, height_m, spread_m, rule)
    rule = "a small tree: one or two spots"
    return _standing(2 if wide or height_m > SMALL_TREE_M else 1, height_m, spread_m, rule)


def _standing(lights: int, height_m: float, spread_m: float, rule: str) -> Placement:
    """Lights around a free-standing object: one in front, two to either side of that, three all around."""
    out_m = max(LEAST_OUT_M, OUT_PER_HEIGHT * height_m)
    return replace(
        _aimed("spot", lights, out_m, height_m, width_m=spread_m, what=f"{spread_m:.1f} m wide"),
        around_deg={1: (0.0,), 2: (-60.0, 60.0), 3: (0.0, 120.0, 240.0)}[lights],
        practice=(
            rule,
            "about 2 ft out for 6 to 7 ft of height, farther in proportion",
            "aimed at two thirds of the height",
        ),
    )


def _row(height_m: float, length_m: float, out_per_height: float, rule: str) -> Placement:
    """Lights in a row before a long object, each for an equal part of it."""
    out_m = max(LEAST_OUT_M, out_per_height * height_m)
    lights = max(1, math.ceil(length_m / (SHRUB_SPACING_PER_OUT * out_m)))
    part_m = length_m / lights
    each = f"each lights {part_m:.1f} m of {length_m:.1f} m"
    return replace(
        _aimed("wash", lights, out_m, height_m, width_m=part_m, what=each, least_deg=60.0),
        along_m=_middles(length_m, lights),
        practice=(
            rule,
            f"{out_per_height:g} of the height out, up to {SHRUB_SPACING_PER_OUT:g} times that apart",
            "a wash has 60° or more",
        ),
    )


def _aimed(
    kind: str,
    lights: int,
    out_m: float,
    height_m: float,
    *,
    width_m: float,
    what: str,
    least_deg: float = 0.0,
) -> Placement:
    """Lights at some distance, aimed at two thirds of the height, each with the usual beam for a width."""
    aim_m = AIM_PART * height_m
    throw_m = math.hypot(out_m, aim_m)
    tilted_deg, needed_deg = tilt_deg(out_m, aim_m), beam_for_width_deg(throw_m, width_m)
    wanted_deg = max(least_deg, needed_deg)
    beam = next((each for each in USUAL_BEAMS_DEG if each >= wanted_deg), USUAL_BEAMS_DEG[-1])
    return Placement(
        kind=kind,
        lights=lights,
        out_m=out_m,
        tilt_deg=tilted_deg,
        beam_deg=beam,
        practice=(),
        geometry=(
            f"aimed at {aim_m:.1f} m from {out_m:.1f} m out: {tilted_deg:.0f}° above the level",
            f"{what} at a throw of {throw_m:.1f} m: {needed_deg:.0f}° of beam, so {beam:g}°",
        ),
    )


def _path(length_m: float, spacing_m: float) -> Placement:
    if not (math.isfinite(spacing_m) and spacing_m > 0.0):
        raise WiringError(f"path: spacing_m = {spacing_m:g}; it must be a number above zero")
    # A hair of rounding must not add a light to a path of exactly so many spacings.
    lights = max(1, math.ceil(length_m / spacing_m - 1e-9))
    return Placement(
        kind="path",
        lights=lights,
        out_m=0.0,
        along_m=_middles(length_m, lights),
        practice=(
            f"path lights {spacing_m:.1f} m ({spacing_m / M_PER_FT:.0f} ft) apart at most, on both sides",
        ),
        geometry=(f"{length_m:.1f} m in {lights} equal parts of {length_m / lights:.1f} m, a light in each",),
    )


def _middles(length_m: float, parts: int) -> tuple[float, ...]:
    return tuple((part + 0.5) * length_m / parts for part in range(parts))


@dataclass(frozen=True, kw_only=True, slots=True)
class LitObject:
    """An object with its lights.

    Attributes:
        spread_m: its width, or its length where it is long.
        spread_assumed: whether the usual width was taken, as none was given.
        candela: of one light, where it was given.
        lux: of the object at the height that is aimed at, by one light; None without candela.
    """

    what: Target
    height_m: float
    spread_m: float
    spread_assumed: bool
    placement: Placement
    candela: float | None
    lux: float | None

    @property
    def practice(self) -> tuple[str, ...]:
        """What of it is common practice."""
        if not self.spread_assumed:
            return self.placement.practice
        width = feet_and_metres(self.spread_m)
        return (*self.placement.practice, f"no width was given: taken as half the height, {width}")

    @property
    def geometry(self) -> tuple[str, ...]:
        """What of it was computed."""
        if self.lux is None:
            return self.placement.geometry
        lux = f"{self.candela:g} cd give {self.lux:.0f} lx on an upright face there"
        return (*self.placement.geometry, f"{lux}, by the inverse-square and cosine laws")


def feet_and_metres(length_m: float) -> str:
    """Write a length in feet and in metres."""
    return f"{length_m / M_PER_FT:.1f} ft ({length_m:.2f} m)"


def parse_placement(text: str, candela: float | None = None) -> LitObject:
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
) -> LitObject:
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
    height_m, spread_m = first_m, second_m
    if what is Target.PATH:
        if second_m is not None:
            raise WiringError("a path has a length only: “path 12 m”")
        height_m, spread_m = 0.0, first_m
    elif spread_m is None:
        if what not in {Target.TREE, Target.TALL}:
            raise WiringError(f"a {what} has a height and a length; {_HOW}")
        spread_m = USUAL_SPREAD * first_m
    placement = place(what, height_m=height_m, spread_m=spread_m)
    lux = None
    if candela is not None and what is not Target.PATH:
        lux = upright_illuminance_lx(candela, placement.out_m, AIM_PART * height_m)
    return LitObject(
        what=what,
        height_m=height_m,
        spread_m=spread_m,
        spread_assumed=second_m is None and what is not Target.PATH,
        placement=placement,
        candela=candela,
        lux=lux,
    )
