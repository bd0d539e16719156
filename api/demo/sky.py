"""What the sky looks like by the height of the sun: a colour, a letter for want of colours, and a word."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise

# Height of the sun in degrees, and the colour of a clear sky above the place where it set: invented by eye.
_COLOURS: tuple[tuple[float, tuple[int, int, int]], ...] = (
    (-18.0, (9, 12, 32)),
    (-12.0, (20, 28, 66)),
    (-8.0, (46, 50, 110)),
    (-6.0, (84, 68, 136)),
    (-4.0, (150, 92, 130)),
    (-1.0, (226, 128, 84)),
    (2.0, (246, 188, 96)),
    (6.0, (196, 214, 222)),
    (12.0, (130, 184, 226)),
)

# Names of the heights, from below: US Naval Observatory, "Rise, Set, and Twilight Definitions".
_NAMES: tuple[tuple[float, str, str], ...] = (
    (-90.0, " ", "night"),
    (-18.0, "░", "astronomical twilight"),
    (-12.0, "▒", "nautical twilight"),
    (-6.0, "▓", "civil twilight"),
    (-50 / 60, "█", "daylight"),
)


def sky_colour(height_deg: float) -> str:
    """Give the colour of the sky as ``#rrggbb``.

    Args:
        height_deg: height of the sun's centre, negative below the horizon.
    """
    if height_deg <= _COLOURS[0][0]:
        return _hex(_COLOURS[0][1])
    for (low_deg, low), (high_deg, high) in pairwise(_COLOURS):
        if height_deg < high_deg:
            share = (height_deg - low_deg) / (high_deg - low_deg)
            parts = zip(low, high, strict=True)
            return _hex(tuple(round(one + (other - one) * share) for one, other in parts))
    return _hex(_COLOURS[-1][1])


def sky_letter(height_deg: float) -> str:
    """Give a letter that is the fuller, the lighter the sky."""
    return _band(height_deg)[1]


def sky_word(height_deg: float) -> str:
    """Name the light of the sky."""
    return _band(height_deg)[2]


def _band(height_deg: float) -> tuple[float, str, str]:
    """Find the band of twilight that a height belongs to."""
    return _NAMES[max(bisect_right([low_deg for low_deg, _, _ in _NAMES], height_deg) - 1, 0)]


def _hex(colour: tuple[int, ...]) -> str:
    """Write a colour."""
    return "#" + "".join(f"{part:02x}" for part in colour)
