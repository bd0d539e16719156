"""How many lights for an object, where, aimed how and how bright: common practice, and geometry.

The numbers of lights, the distances out, the spacings and the lux are common practice and have no source;
each placement says which of its figures are. Tilt, beam and candela are computed: a lamp stands on level
ground and shines at an upright face. What looks right at night decides.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, Literal

from config.errors import WiringError
from config.models.cables import M_PER_FT, parse_length
from controller.design.aiming import LEAST_SHARE, MOST_PER_LEAST, Aimed, Face, aim_lights
from controller.design.brightness import (
    ACCENT_TIMES,
    WASH_TIMES,
    Brightness,
    Wanted,
    choose_lamp,
    require_between,
)
from controller.design.path_lights import (
    ASIDE_M,
    FARTHEST_M,
    NARROW_M,
    UP_M,
    PathLights,
    PathSide,
    light_path,
    middles,
)
from controller.design.photometry import ALL_ROUND_DEG, Spread

# All common practice, no source.
OUT_PER_HEIGHT: Final = 2.0 / 6.5
"""A small tree of 6 to 7 ft is lit from about 2 ft out; larger ones from farther, here in proportion."""

LEAST_OUT_M: Final = 2.0 * M_PER_FT
SMALL_M: Final = 3.0
LARGE_M: Final = 6.0
WIDE_PER_HEIGHT: Final = 0.8
"""What is wider than this part of its height takes the larger number of lights."""

SPACING_PER_OUT: Final = 2.0
WASH_DEG: Final = 60.0
USUAL_SPREAD: Final = 0.5
"""Width of a tree or a tall thing as a part of its height where none is given."""

USUAL_PATH_WIDTH_M: Final = 4.0 * M_PER_FT

# Longer than any garden; beyond this a unit is wrong.
_MOST_M: Final = 3000.0
_BEAM: Final = "a beam has half its candela at its edge, and fades beyond as a power of the cosine"
# Where they stand as seen from the object, 0° towards the viewer.
_AROUND_DEG: Final = {1: (0.0,), 2: (-60.0, 60.0), 3: (0.0, 120.0, 240.0)}
# A row repeats itself: its end and two parts more show the darkest and the brightest place.
_PARTS_LOOKED_AT, _STEPS_A_PART, _LIGHTS_LOOKED_AT = 3, 4, 7
_OBJECT: Final = re.compile(
    r"\s*(tree|shrub|tall thing|wall|path)s?\s+(.+?)(?:\s+by\s+(.+?))?\s*", re.IGNORECASE
)
_HOW: Final = (
    "write a kind (tree, shrub, tall thing, wall), its height, and its width or length, or a path with its"
    " length and width: “tree 7 ft by 5 ft”, “wall 8 ft by 30 ft”, “path 12 m by 1 m”"
)


class Target(StrEnum):
    """What is lit."""

    TREE = "tree"
    SHRUB = "shrub"
    TALL = "tall thing"  # a column, a statue, a tall narrow plant
    WALL = "wall"
    PATH = "path"


OUT_PER_HEIGHT_OF_ROW: Final = {Target.SHRUB: 0.75, Target.WALL: 0.3}
"""Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Placement:
    """An object with its lights.

    Attributes:
        height_m: 0 for a path.
        spread_m: its width, or its length where it is long.
        width_m: of a path; None for anything else.
        spread_assumed: whether the usual width was taken, as none was given.
        kind: "spot", "wash" or "path".
        out_m: from the crown's edge, the face or the edge of the path to each light.
        from_middle_m: from the trunk or the middle of a thing to each light; None for a long object.
        around_deg: for a free-standing object, where the lights stand as seen from it, 0 towards the viewer.
        along_m: for a long object, where each light stands, from its beginning.
        side: of the lights of a path; None for anything else.
        tilt_deg: above the level; 0 for a path.
        beam_deg: the narrowest usual beam that covers the object; 0 for a path.
        spread: the darkest and the brightest place as parts of the lux that are aimed at.
        practice: what of this is common practice.
        geometry: what was computed, in words.
        warnings: what will not look right, and what to do.
    """

    what: Target
    height_m: float = 0.0
    spread_m: float
    width_m: float | None = None
    spread_assumed: bool = False
    kind: Literal["spot", "wash", "path"]
    lights: int
    out_m: float
    from_middle_m: float | None = None
    around_deg: tuple[float, ...] = ()
    along_m: tuple[float, ...] = ()
    side: PathSide | None = None
    tilt_deg: float = 0.0
    beam_deg: float = 0.0
    brightness: Brightness
    spread: Spread
    practice: tuple[str, ...]
    geometry: tuple[str, ...]
    warnings: tuple[str, ...]


def parse_placement(
    text: str,
    wanted: Wanted | None = None,
    *,
    out: str | None = None,
    spacing: str | None = None,
    side: PathSide | None = None,
) -> Placement:
    """Place lights for an object as a person describes it, such as ``tree 7 ft by 5 ft`` or ``path 12 m``.

    Raises:
        WiringError: the text cannot be read, or a figure cannot be.
    """
    found = _OBJECT.fullmatch(text)
    if found is None:
        raise WiringError(f"“{text}” is not an object that lights can be placed at; {_HOW}")
    return place_object(
        Target(found[1].lower()), found[2], found[3], wanted, out=out, spacing=spacing, side=side
    )


def place_object(
    what: Target,
    first: str,
    second: str | None = None,
    wanted: Wanted | None = None,
    *,
    out: str | None = None,
    spacing: str | None = None,
    side: PathSide | None = None,
) -> Placement:
    """Place lights for an object.

    ``first`` is its height, or the length of a path; ``second`` its width, or its length where it is long. A
    tree, a tall thing and a path may do without a width. ``out`` is how far out there is room; ``spacing``
    and ``side`` are of a path's lights.

    Raises:
        WiringError: a figure is missing, or cannot be.
    """
    first_m = parse_length(first)
    second_m = None if second is None else parse_length(second)
    if what is Target.PATH:
        if out is not None:
            raise WiringError("out is for what is lit from some distance, not for a path")
        width_m = USUAL_PATH_WIDTH_M if second_m is None else second_m
        spacing_m = None if spacing is None else parse_length(spacing)
        placed = place_on_path(first_m, width_m, wanted, spacing_m=spacing_m, side=side)
        assumed = f"no width was given: taken as {feet_and_metres(width_m)}"
    elif spacing is not None or side is not None:
        raise WiringError(f"spacing and side are for a path, not for a {what}")
    elif second_m is None and what not in {Target.TREE, Target.TALL}:
        raise WiringError(f"a {what} has a height and a length; {_HOW}")
    else:
        spread_m = USUAL_SPREAD * first_m if second_m is None else second_m
        out_m = None if out is None else parse_length(out)
        placed = place(what, height_m=first_m, spread_m=spread_m, wanted=wanted, out_m=out_m)
        assumed = f"no width was given: taken as half the height, {feet_and_metres(spread_m)}"
    if second_m is None:
        placed = replace(placed, spread_assumed=True, practice=(*placed.practice, assumed))
    return placed


def place(
    what: Target,
    *,
    height_m: float,
    spread_m: float,
    wanted: Wanted | None = None,
    out_m: float | None = None,
) -> Placement:
    """Place lights at anything but a path; ``spread_m`` is its width, or its length where it is long.

    ``out_m`` is how far out there is room, where that is fixed.

    Raises:
        WiringError: a figure cannot be.
    """
    for name, value in {"height_m": height_m, "spread_m": spread_m, "out_m": out_m}.items():
        require_between(f"{what}: {name}", value, _MOST_M)
    wanted = wanted or Wanted()
    place_them = _place_row if what in OUT_PER_HEIGHT_OF_ROW else _place_around
    return place_them(what, height_m, spread_m, wanted, out_m)


def place_on_path(
    length_m: float,
    width_m: float,
    wanted: Wanted | None = None,
    *,
    spacing_m: float | None = None,
    side: PathSide | None = None,
) -> Placement:
    """Place lights along a path, at the usual spacing and side where none are asked for.

    Raises:
        WiringError: a figure cannot be.
    """
    for name, value in {"length_m": length_m, "width_m": width_m, "spacing_m": spacing_m}.items():
        require_between(f"path: {name}", value, _MOST_M)
    found = light_path(length_m, width_m, spacing_m, side)
    bright = choose_lamp(found.lux_per_candela, ALL_ROUND_DEG, None, wanted or Wanted())
    lights = len(found.along_m)
    return Placement(
        what=Target.PATH,
        spread_m=length_m,
        width_m=width_m,
        kind="path",
        lights=lights,
        out_m=ASIDE_M,
        along_m=found.along_m,
        side=found.side,
        brightness=bright,
        spread=found.spread,
        practice=(
            f"path lights {feet_and_metres(FARTHEST_M)} apart at most",
            f"on one side of a path up to {feet_and_metres(NARROW_M)} wide, else on alternating sides",
            f"{feet_and_metres(ASIDE_M)} from the edge, the lamp {feet_and_metres(UP_M)} above the ground",
            *bright.practice,
        ),
        geometry=(
            f"{length_m:.1f} m in {lights} equal parts of {found.spacing_m:.1f} m, a light in each",
            (
                f"{bright.candela:.1f} cd in all directions below the hat give {bright.lux:.2g} lx in the"
                f" mean, and {100.0 * found.spread.least:.0f} % of that in the darkest place"
            ),
        ),
        warnings=(*_warn_dark_path(found), *bright.warnings),
    )


def _place_around(
    what: Target, height_m: float, width_m: float, wanted: Wanted, out_m: float | None
) -> Placement:
    """Place spots at a free-standing object: one in front, two to either side of that, or three around."""
    wide = width_m > WIDE_PER_HEIGHT * height_m
    if height_m > LARGE_M:
        lights = 3 if wide else 2
        rule = f"a large {what}: two or three spots around it, so that no side is dark"
    else:
        lights = 2 if wide or height_m > SMALL_M else 1
        rule = f"a small {what}: one or two spots"
    radius_m = width_m / 2.0
    if what is Target.TREE:
        edge, face = "the crown's edge", Face(height_m=height_m, width_m=width_m, crown_m=radius_m)
    else:
        edge, face = "its face", Face(height_m=height_m, width_m=width_m, across_m=(0.0, radius_m))
    usual_m = max(LEAST_OUT_M, OUT_PER_HEIGHT * height_m)
    aimed = aim_lights(face, usual_m, out_m)
    bright = choose_lamp(aimed.lux_per_candela, aimed.beam_deg, ACCENT_TIMES, wanted)
    return Placement(
        what=what,
        height_m=height_m,
        spread_m=width_m,
        kind="spot",
        lights=lights,
        out_m=aimed.out_m,
        from_middle_m=aimed.out_m + radius_m,
        around_deg=_AROUND_DEG[lights],
        tilt_deg=aimed.tilt_deg,
        beam_deg=aimed.beam_deg,
        brightness=bright,
        spread=aimed.spread,
        practice=(
            rule,
            f"about 2 ft out from {edge} for 6 to 7 ft of height, farther in proportion",
            "aimed at two thirds of the height",
            _BEAM,
            *bright.practice,
        ),
        geometry=tuple(_say_geometry(aimed, usual_m, f"{width_m:.1f} m wide", bright)),
        warnings=(*_warn_uneven(aimed), *bright.warnings),
    )


def _place_row(
    what: Target, height_m: float, length_m: float, wanted: Wanted, out_m: float | None
) -> Placement:
    """Place lights in a row before a long object, each for an equal part of it."""
    out_per_height = OUT_PER_HEIGHT_OF_ROW[what]
    usual_m = max(LEAST_OUT_M, out_per_height * height_m) if out_m is None else out_m
    along_m = middles(length_m, SPACING_PER_OUT * usual_m)
    lights = len(along_m)
    part_m, parts = length_m / lights, min(lights, _PARTS_LOOKED_AT)
    face = Face(
        height_m=height_m,
        width_m=part_m,
        across_m=tuple(part_m * step / _STEPS_A_PART for step in range(parts * _STEPS_A_PART + 1)),
        lamps_m=along_m[:_LIGHTS_LOOKED_AT],
        least_deg=WASH_DEG,
    )
    aimed = aim_lights(face, usual_m, out_m)
    bright = choose_lamp(aimed.lux_per_candela, aimed.beam_deg, WASH_TIMES, wanted)
    return Placement(
        what=what,
        height_m=height_m,
        spread_m=length_m,
        kind="wash",
        lights=lights,
        out_m=aimed.out_m,
        along_m=along_m,
        tilt_deg=aimed.tilt_deg,
        beam_deg=aimed.beam_deg,
        brightness=bright,
        spread=aimed.spread,
        practice=(
            f"a {what}: wash lights in a row",
            f"{out_per_height:g} of the height out, up to {SPACING_PER_OUT:g} times that apart",
            f"a wash has {WASH_DEG:g}° or more, aimed at two thirds of the height",
            _BEAM,
            *bright.practice,
        ),
        geometry=tuple(
            _say_geometry(aimed, usual_m, f"each lights {part_m:.1f} m of {length_m:.1f} m", bright)
        ),
        warnings=(*_warn_uneven(aimed), *bright.warnings),
    )


def _say_geometry(aimed: Aimed, usual_m: float, what: str, bright: Brightness) -> Iterator[str]:
    if aimed.out_m > usual_m:
        found = "one does" if aimed.covers else "one is the most even"
        yield f"no beam covers it from foot to top from {usual_m:.1f} m out; from {aimed.out_m:.1f} m {found}"
    yield (
        f"aimed at {aimed.aim.up_m:.1f} m up from {aimed.aim.away_m:.1f} m away: {aimed.tilt_deg:.0f}° above"
        " the level"
    )
    yield (
        f"{what} at a throw of {aimed.throw_m:.1f} m: {aimed.needed_deg:.0f}° of beam; from foot to top it"
        f" takes {aimed.beam_deg:g}°"
    )
    yield (
        f"{bright.candela:.0f} cd give {bright.lux:.3g} lx there, by the inverse-square and cosine laws, and"
        f" {100.0 * aimed.spread.least:.0f} % of that in the darkest place from foot to top"
    )


def _warn_uneven(aimed: Aimed) -> Iterator[str]:
    least, most = aimed.spread
    remedy = "place the lights farther out, or more of them and aim each at a part"
    if least < LEAST_SHARE:
        yield f"uneven: the darkest place gets {100.0 * least:.0f} % of what is aimed at; {remedy}"
    elif most > MOST_PER_LEAST * least:
        times = most / least
        # Past three times a limit a figure no longer means anything.
        often = f"{times:.0f}" if times <= 3.0 * MOST_PER_LEAST else f"over {3.0 * MOST_PER_LEAST:.0f}"
        yield f"uneven: the brightest place gets {often} times as much as the darkest; {remedy}"


def _warn_dark_path(found: PathLights) -> Iterator[str]:
    if not found.meets:
        least = f"{100.0 * found.spread.least:.0f} % of the mean"
        yield f"uneven: the darkest place of the path gets {least}; place lights closer, or on both sides"


def feet_and_metres(length_m: float) -> str:
    """Write a length in feet and in metres."""
    return f"{length_m / M_PER_FT:.1f} ft ({length_m:.2f} m)"
