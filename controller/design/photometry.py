"""The geometry of light: how far, how steep, how wide, and how bright.

Lengths in metres, angles in degrees. A lamp stands on level ground and shines at an upright object.
"""

from __future__ import annotations

import math

from config.errors import WiringError


def tilt_deg(distance_m: float, aim_height_m: float) -> float:
    """Angle above the level at which a lamp must point to hit a height at some distance."""
    return math.degrees(math.atan2(aim_height_m, distance_m))


def beam_for_width_deg(throw_m: float, width_m: float) -> float:
    """Beam angle whose spot has this width at this throw."""
    return 2.0 * math.degrees(math.atan2(width_m / 2.0, throw_m))


def illuminance_lx(intensity_cd: float, throw_m: float, incidence_deg: float = 0.0) -> float:
    """Illuminance of a surface by one lamp, in lux: candela × cos(incidence) ÷ throw².

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
