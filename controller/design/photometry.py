"""The geometry of light: how far, how steep, how wide, and how bright.

Lengths in metres, angles in degrees. A lamp stands on level ground and shines at an upright object.
"""

from __future__ import annotations

import math
from typing import Final

from config.errors import WiringError

STEEPEST_DEG: Final = 90.0
"""Straight up, or a right angle: no beam that far reaches an upright object or level ground."""


def tilt_deg(distance_m: float, aim_height_m: float) -> float:
    """Angle above the level at which a lamp must point to hit a height at some distance."""
    return math.degrees(math.atan2(aim_height_m, distance_m))


def beam_to_cover_deg(distance_m: float, bottom_m: float, top_m: float) -> float:
    """Beam angle that an upright object fills from its bottom to its top, seen from the lamp."""
    return tilt_deg(distance_m, top_m) - tilt_deg(distance_m, bottom_m)


def distance_to_cover_m(height_m: float, beam_deg: float) -> float:
    """Distance from which a beam whose lower edge is level just covers an object from the ground to its top.

    Raises:
        WiringError: the beam is not between 0 and 90 degrees, so no distance is right.
    """
    if not 0.0 < beam_deg < STEEPEST_DEG:
        raise WiringError(f"beam = {beam_deg:g}°: between 0 and 90 degrees is one that a distance can suit")
    return height_m / math.tan(math.radians(beam_deg))


def covered_m(distance_m: float, tilted_deg: float, beam_deg: float) -> tuple[float, float]:
    """Lowest and highest point that a tilted beam reaches of an upright object; infinite where it passes."""
    low_deg, high_deg = tilted_deg - beam_deg / 2.0, tilted_deg + beam_deg / 2.0
    top_m = math.inf if high_deg >= STEEPEST_DEG else distance_m * math.tan(math.radians(high_deg))
    bottom_m = -math.inf if low_deg <= -STEEPEST_DEG else distance_m * math.tan(math.radians(low_deg))
    return bottom_m, top_m


def spot_width_m(throw_m: float, beam_deg: float) -> float:
    """Width of the spot that a beam makes on a surface square to it."""
    return 2.0 * throw_m * math.tan(math.radians(beam_deg / 2.0))


def beam_for_width_deg(throw_m: float, width_m: float) -> float:
    """Beam angle whose spot has this width at this throw."""
    return 2.0 * math.degrees(math.atan2(width_m / 2.0, throw_m))


def illuminance_lx(intensity_cd: float, throw_m: float, incidence_deg: float = 0.0) -> float:
    """Illuminance of a surface by one lamp: the inverse-square law and the cosine law.

    Args:
        intensity_cd: of the lamp in that direction, in candela.
        throw_m: from the lamp to the place, above zero, and long against the lamp's own size.
        incidence_deg: between the light and the surface's normal, 0 to 90.

    Returns:
        Lux: candela × cos(incidence) ÷ throw².

    Source: the laws of Lambert, CIE S 017 (International Lighting Vocabulary), from memory; held by
    tests/controller/design/test_photometry.py against the definition of the lux.
    """
    if throw_m <= 0.0:
        raise WiringError(f"throw = {throw_m:g} m: a lamp lights a place at some distance, above zero")
    return max(0.0, intensity_cd * math.cos(math.radians(incidence_deg))) / throw_m**2


def upright_illuminance_lx(intensity_cd: float, distance_m: float, height_m: float) -> float:
    """Illuminance of an upright surface at some height, by a lamp on the ground that points there."""
    throw_m = math.hypot(distance_m, height_m)
    return illuminance_lx(intensity_cd, throw_m, tilt_deg(distance_m, height_m))


def pool_radius_m(lamp_height_m: float, cutoff_deg: float) -> float:
    """Radius of the light that a shaded path lamp throws on level ground.

    Args:
        lamp_height_m: of the lamp above the ground.
        cutoff_deg: from straight down to where its shade cuts the light off, 0 to below 90.
    """
    if not 0.0 < cutoff_deg < STEEPEST_DEG:
        raise WiringError(f"cut-off = {cutoff_deg:g}°: between 0 and 90 degrees from straight down is one")
    return lamp_height_m * math.tan(math.radians(cutoff_deg))
