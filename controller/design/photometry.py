"""What a lamp gives: candela from lumens and beam, lux by the inverse-square and cosine laws.

A lamp is taken to have half its candela at the edge of its beam, and to fall off as a power of the cosine: a
beam of 120° is that of a flat glowing disc (Lambert's law), one of 180° shines alike in all directions.
"""

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

ALL_ROUND_DEG: Final = 180.0
"""The beam of a lamp that shines alike over half a sphere, as a path light does below its hat."""


class Point(NamedTuple):
    """A place on what is lit, in metres: sideways along it, up from the ground, and away from the lamps."""

    across_m: float
    up_m: float
    away_m: float


class Lamps(NamedTuple):
    """Equal lamps on the ground in a row, all aimed straight ahead at one height."""

    across_m: tuple[float, ...]
    aim: Point
    beam_deg: float

    def lux_per_candela(self, at: Point) -> float:
        """Illuminance at a place by all lamps, on an upright face turned to them, for one candela each.

        For each lamp candela × cos(incidence) ÷ throw². Source: the laws of Lambert, CIE S 017 (International
        Lighting Vocabulary), from memory.
        """
        power = cosine_power(self.beam_deg)
        aim_m = math.hypot(self.aim.up_m, self.aim.away_m)
        lux = 0.0
        for across_m in self.across_m:
            throw_m = math.sqrt((at.across_m - across_m) ** 2 + at.up_m**2 + at.away_m**2)
            off_axis = (at.up_m * self.aim.up_m + at.away_m * self.aim.away_m) / (throw_m * aim_m)
            lux += max(0.0, off_axis) ** power * at.away_m / throw_m**3
        return lux


class Spread(NamedTuple):
    """How evenly some places are lit: the least and the most as parts of one of them, or of their mean."""

    least: float
    most: float


def measure_spread(lux: Iterable[float], of: float) -> Spread:
    """Compare the darkest and the brightest of some places with one illuminance."""
    known = list(lux)
    return Spread(min(known) / of, max(known) / of)


def cosine_power(beam_deg: float) -> float:
    """Power of the cosine at which half the intensity is left at half the beam angle.

    The beam angle is that between the two directions of half the peak intensity. Source: CIE S 017
    (International Lighting Vocabulary), from memory.
    """
    if beam_deg >= ALL_ROUND_DEG:
        return 0.0
    return math.log(0.5) / math.log(math.cos(math.radians(beam_deg / 2.0)))


def lumens_of(candela: float, beam_deg: float) -> float:
    """Luminous flux of a lamp with this intensity in the middle of its beam: 2 π candela ÷ (power + 1).

    The integral of the intensity over half a sphere; the tests integrate it by numbers.
    """
    return 2.0 * math.pi * candela / (cosine_power(beam_deg) + 1.0)


def tilt_deg(distance_m: float, aim_height_m: float) -> float:
    """Angle above the level at which a lamp must point to hit a height at some distance."""
    return math.degrees(math.atan2(aim_height_m, distance_m))


def beam_for_width_deg(throw_m: float, width_m: float) -> float:
    """Beam angle whose spot has this width at this throw."""
    return 2.0 * math.degrees(math.atan2(width_m / 2.0, throw_m))
