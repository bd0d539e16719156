"""Lights along a path: how many, on which side, and what the ground gets."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from config.errors import WiringError
from config.models.cables import M_PER_FT
from controller.design.photometry import Spread, measure_spread

# All common practice, no source.
FARTHEST_M: Final = 8.0 * M_PER_FT
NARROW_M: Final = 3.0 * M_PER_FT
UP_M: Final = 1.5 * M_PER_FT
ASIDE_M: Final = 1.0 * M_PER_FT
LEAST_OF_MEAN: Final = 0.1
"""Pools of light meet where no place on the path gets less than this part of the mean."""

MOST_LIGHTS: Final = 500

# A row repeats itself: its end and two parts more show the darkest and the brightest place.
_PARTS_LOOKED_AT, _STEPS_A_PART, _LIGHTS_LOOKED_AT, _STEPS_ACROSS = 3, 12, 8, 8


class PathSide(StrEnum):
    """Where the lights of a path stand."""

    ALTERNATING = "alternating"
    ONE = "one"


@dataclass(frozen=True, kw_only=True, slots=True)
class PathLights:
    """Lights along a path.

    Attributes:
        along_m: where each stands, from the beginning of the path.
        lux_per_candela: the mean on the path, for one candela of each light in all directions below its hat.
        spread: the darkest and the brightest place on the path as parts of that.
    """

    side: PathSide
    along_m: tuple[float, ...]
    spacing_m: float
    lux_per_candela: float
    spread: Spread

    @property
    def meets(self) -> bool:
        """Whether the pools of light meet."""
        return self.spread.least >= LEAST_OF_MEAN


def light_path(
    length_m: float, width_m: float, spacing_m: float | None = None, side: PathSide | None = None
) -> PathLights:
    """Place lights along a path, in the middles of equal parts of the usual spacing or that asked for."""
    if side is None:
        side = PathSide.ONE if width_m <= NARROW_M + 1e-9 else PathSide.ALTERNATING
    along_m = middles(length_m, spacing_m or FARTHEST_M)
    part_m = length_m / len(along_m)
    lux = list(_lux_on_path(along_m, part_m, width_m, side))
    mean = sum(lux) / len(lux)
    return PathLights(
        side=side,
        along_m=along_m,
        spacing_m=part_m,
        lux_per_candela=mean,
        spread=measure_spread(lux, mean),
    )


def middles(length_m: float, spacing_m: float) -> tuple[float, ...]:
    """Place lights in the middles of equal parts of a length, so many that none is longer than a spacing.

    Raises:
        WiringError: they are more than anyone places at once.
    """
    # A hair of rounding must not add a light to a length of exactly so many spacings.
    parts = max(1, math.ceil(length_m / spacing_m - 1e-9))
    if parts > MOST_LIGHTS:
        raise WiringError(f"{parts} lights are more than {MOST_LIGHTS}; place them piece by piece")
    return tuple((part + 0.5) * length_m / parts for part in range(parts))


def _lux_on_path(
    along_m: tuple[float, ...], spacing_m: float, width_m: float, side: PathSide
) -> Iterator[float]:
    """Give the lux for one candela of each light, in the middle of equal fields of the path."""
    near_m, far_m = -ASIDE_M, width_m + ASIDE_M
    stands = [
        (along, far_m if side is PathSide.ALTERNATING and number % 2 else near_m)
        for number, along in enumerate(along_m[:_LIGHTS_LOOKED_AT])
    ]
    parts = min(_PARTS_LOOKED_AT, len(along_m))
    for along in middles(parts * spacing_m, spacing_m / _STEPS_A_PART):
        for across in middles(width_m, width_m / _STEPS_ACROSS):
            yield sum(
                UP_M / ((along - at) ** 2 + (across - beside) ** 2 + UP_M**2) ** 1.5 for at, beside in stands
            )
