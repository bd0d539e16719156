"""Placing lights, asked in words and answered in words or JSON: ``tree 7 ft by 5 ft``.

How many lights, how far out and how far apart is common practice; tilt, beam and illuminance are geometry.
The answer keeps the two apart.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Final

from config.errors import WiringError
from config.models.cables import M_PER_FT, parse_length
from controller.design.photometry import upright_illuminance_lx
from controller.design.placement import AIM_PART, Placement, Target, place

USUAL_SPREAD: Final = 0.5
"""Width of a tree or a tall thing as a part of its height where nobody gives it; common practice."""

PRACTICE: Final = "common practice, no source"
GEOMETRY: Final = "geometry"
EXAMPLE: Final = "tree 7 ft by 5 ft"

_KINDS: Final = {"tree": Target.TREE, "shrub": Target.SHRUB, "tall thing": Target.TALL, "wall": Target.WALL,
                 "path": Target.PATH}  # fmt: skip
_WISH: Final = re.compile(
    r"\s*(tree|shrub|tall thing|wall|path)s?\s+(.+?)(?:\s+by\s+(.+?))?\s*", re.IGNORECASE
)
_HOW: Final = (
    f"write a kind (tree, shrub, tall thing, wall, path), its height, and its width or length: “{EXAMPLE}”,"
    " “wall 8 ft by 30 ft”, “path 12 m”"
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Placed:
    """An object with its lights.

    Attributes:
        what: the object.
        height_m: of it; 0 for a path.
        spread_m: its width, or its length where it is long.
        spread_taken: whether the width was taken as usual, as nobody gave it.
        placement: the lights.
        candela: of one light, where it was given.
        lux: of the object at the height that is aimed at, by one light; None without candela.
    """

    what: Target
    height_m: float
    spread_m: float
    spread_taken: bool
    placement: Placement
    candela: float | None
    lux: float | None


def parse_placement(text: str, candela: float | None = None) -> Placed:
    """Place lights for an object as a person describes it.

    Args:
        text: kind, height and width, such as ``tree 7 ft by 5 ft``; a path has only its length.
        candela: of one light in the middle of its beam.

    Raises:
        WiringError: the text cannot be read, or a figure cannot be.
    """
    found = _WISH.fullmatch(text)
    if found is None:
        raise WiringError(f"“{text}” is nothing that lights can be placed at; {_HOW}")
    return place_object(_KINDS[found[1].lower()], found[2], found[3], candela)


def place_object(what: Target, first: str, second: str | None = None, candela: float | None = None) -> Placed:
    """Place lights for an object.

    Args:
        what: its kind.
        first: its height; the length of a path.
        second: its width, or its length where it is long; a tree or a tall thing may do without.
        candela: of one light in the middle of its beam.

    Raises:
        WiringError: a figure is missing, or cannot be.
    """
    first_m = parse_length(first)
    second_m = None if second is None else parse_length(second)
    if candela is not None and not (math.isfinite(candela) and candela > 0.0):
        raise WiringError(f"candela = {candela:g}; it must be a number above zero")
    height_m, spread_m, taken = first_m, second_m, False
    if what is Target.PATH:
        if second_m is not None:
            raise WiringError("a path has a length only: “path 12 m”")
        height_m, spread_m = 0.0, first_m
    elif spread_m is None:
        if what not in {Target.TREE, Target.TALL}:
            raise WiringError(f"a {what.value} has a height and a length; {_HOW}")
        spread_m, taken = USUAL_SPREAD * first_m, True
    placement = place(what, height_m=height_m, spread_m=spread_m)
    lux = None
    if candela is not None and what is not Target.PATH:
        lux = upright_illuminance_lx(candela, placement.out_m, AIM_PART * height_m)
    return Placed(
        what=what,
        height_m=height_m,
        spread_m=spread_m,
        spread_taken=taken,
        placement=placement,
        candela=candela,
        lux=lux,
    )


def placed_as_json(placed: Placed) -> dict[str, Any]:
    """Give an object with its lights; what is common practice stands apart from what is geometry."""
    lights = {
        key: [round(each, 4) for each in value]
        if isinstance(value, tuple)
        else round(value, 4)
        if isinstance(value, float)
        else value
        for key, value in asdict(placed.placement).items()
        if key not in ("practice", "geometry")
    }
    return {
        "object": placed.what.value,
        "height_m": round(placed.height_m, 4),
        "spread_m": round(placed.spread_m, 4),
        "spread_taken": placed.spread_taken,
        **lights,
        "candela": placed.candela,
        "lux": None if placed.lux is None else round(placed.lux, 2),
        "common_practice": list(_practice(placed)),
        "geometry": list(_geometry(placed)),
    }


def _practice(placed: Placed) -> Iterator[str]:
    yield from placed.placement.practice
    if placed.spread_taken:
        yield f"taken as half as wide as it is high, {_both(placed.spread_m)}, as nobody gave its width"


def _geometry(placed: Placed) -> Iterator[str]:
    yield from placed.placement.geometry
    if placed.lux is not None:
        yield (
            f"{placed.candela:g} cd give {placed.lux:.0f} lx on an upright face there, by the inverse-square"
            " and cosine laws"
        )


def words_of(placed: Placed) -> Iterator[tuple[str, str]]:
    """Say where the lights go: pairs of a sentence and where it comes from."""
    placement = placed.placement
    lights = f"{placement.lights} {placement.kind} light{'s' if placement.lights > 1 else ''}"
    where = f", {_both(placement.out_m)} out" if placement.out_m else ""
    tilt = f", tilted {placement.tilt_deg:.0f}°, with a beam of {placement.beam_deg:g}°" if where else ""
    yield f"{lights}{where}{tilt}", "sum of what follows"
    if len(placement.around_deg) > 1:
        around = ", ".join(f"{angle:+.0f}°" if angle else "0°" for angle in placement.around_deg)
        yield f"around it at {around}, 0° towards the viewer", PRACTICE
    if placement.along_m:
        along = ", ".join(_both(each) for each in placement.along_m)
        yield f"along it at {along} from its beginning", PRACTICE
    for words in _practice(placed):
        yield words, PRACTICE
    for words in _geometry(placed):
        yield words, GEOMETRY


def _both(length_m: float) -> str:
    """Write a length in feet and in metres."""
    return f"{length_m / M_PER_FT:.1f} ft ({length_m:.2f} m)"
