"""From how far and with which beam lights cover an upright face from foot to top."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from controller.design.photometry import Lamps, Point, Spread, beam_for_width_deg, measure_spread, tilt_deg

# All common practice, no source, but where one is named.
AIM_PART: Final = 2.0 / 3.0
"""The middle of a beam is aimed at two thirds of the height, where the crown of a tree is."""

CROWN_FROM_PART: Final = 1.0 / 3.0
"""The crown of a tree begins at a third of its height; below is the trunk."""

LEAST_SHARE: Final = 0.2
"""Every height from foot to top gets this part of the lux where the lights are aimed. A fifth of the mean is
also what the classes P of EN 13201-2 (for people on foot; from memory) ask of the darkest place."""

MOST_PER_LEAST: Final = 10.0
"""More between the brightest and the darkest place looks uneven."""

USUAL_BEAMS_DEG: Final = (12.0, 24.0, 36.0, 60.0, 90.0, 120.0)

_HEIGHTS: Final = 24
_STEP_BACK: Final = 1.1


@dataclass(frozen=True, kw_only=True, slots=True)
class Face:
    """What lights in a row on the ground have to cover: a flat face, or the crown and trunk of a tree.

    Attributes:
        width_m: that one light covers.
        across_m: sideways, where it is looked at from foot to top.
        lamps_m: sideways, where the lights stand; the first is the one that is looked at.
        crown_m: half the width of a crown, which comes towards the lights; 0 for a flat face.
        least_deg: no narrower beam.
    """

    height_m: float
    width_m: float
    across_m: tuple[float, ...] = (0.0,)
    lamps_m: tuple[float, ...] = (0.0,)
    crown_m: float = 0.0
    least_deg: float = 0.0

    def aim_from(self, out_m: float) -> Point:
        """Give the place that the first light is aimed at, from so far out; in a crown it is the middle."""
        return Point(self.lamps_m[0], AIM_PART * self.height_m, out_m + self.crown_m)

    def points_from(self, out_m: float) -> Iterator[Point]:
        """Give places from foot to top; of a tree the near side, and its outline to one side."""
        for place in range(_HEIGHTS + 1):
            up_m = self.height_m * place / _HEIGHTS
            bulge_m = self._bulge_m(up_m)
            for across_m in self.across_m:
                yield Point(across_m, up_m, out_m + self.crown_m - bulge_m)
            if bulge_m:
                yield Point(bulge_m, up_m, out_m + self.crown_m)

    def _bulge_m(self, up_m: float) -> float:
        """Half the width of a crown at a height: an ellipse from a third of the height to the top."""
        half_m = (1.0 - CROWN_FROM_PART) * self.height_m / 2.0
        part = (up_m - CROWN_FROM_PART * self.height_m - half_m) / half_m
        return self.crown_m * math.sqrt(max(0.0, 1.0 - part * part))


@dataclass(frozen=True, kw_only=True, slots=True)
class Aimed:
    """Lights at one distance with one beam.

    Attributes:
        out_m: from the crown's edge or the face.
        aim: what they are aimed at.
        needed_deg: the beam that is as wide as the part of the face of one light.
        lux_per_candela: where they are aimed, for one candela of each light.
        spread: the darkest and the brightest place of the face as parts of that.
    """

    out_m: float
    aim: Point
    needed_deg: float
    beam_deg: float
    lux_per_candela: float
    spread: Spread

    @property
    def throw_m(self) -> float:
        """From a light to what it is aimed at."""
        return math.hypot(self.aim.up_m, self.aim.away_m)

    @property
    def tilt_deg(self) -> float:
        """Above the level."""
        return tilt_deg(self.aim.away_m, self.aim.up_m)

    @property
    def covers(self) -> bool:
        """Whether every height gets its share, and none much more than another."""
        return self.spread.least >= LEAST_SHARE and self.spread.most <= MOST_PER_LEAST * self.spread.least


def aim_lights(face: Face, usual_m: float, fixed_m: float | None = None) -> Aimed:
    """Choose the narrowest beam that covers a face from the usual distance, or else from farther out.

    A fixed distance is kept. Where no beam covers the face, not even from twice its height and width, the
    most even is chosen.
    """
    out_m = usual_m if fixed_m is None else fixed_m
    farthest_m = max(out_m, 2.0 * max(face.height_m, face.width_m)) if fixed_m is None else out_m
    tried = []
    while out_m <= farthest_m:
        for beam_deg in USUAL_BEAMS_DEG:
            aimed = _aim(face, out_m, beam_deg)
            if beam_deg < min(max(face.least_deg, aimed.needed_deg), USUAL_BEAMS_DEG[-1]):
                continue
            if aimed.covers:
                return aimed
            tried.append(aimed)
        out_m *= _STEP_BACK
    return max(tried, key=lambda each: each.spread.least / each.spread.most)


def _aim(face: Face, out_m: float, beam_deg: float) -> Aimed:
    aim = face.aim_from(out_m)
    lamps = Lamps(face.lamps_m, aim, beam_deg)
    at_aim = lamps.lux_per_candela(aim)
    return Aimed(
        out_m=out_m,
        aim=aim,
        needed_deg=beam_for_width_deg(math.hypot(aim.up_m, aim.away_m), face.width_m),
        beam_deg=beam_deg,
        lux_per_candela=at_aim,
        spread=measure_spread((lamps.lux_per_candela(each) for each in face.points_from(out_m)), at_aim),
    )
