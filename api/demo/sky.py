"""What the sky looks like by the sun's elevation: a colour, a character for want of colours, a word."""

from __future__ import annotations

from bisect import bisect_right

Rgb = tuple[int, int, int]

# The sun's elevation in degrees, and the colour of a clear sky above the sunset: invented by eye.
_COLOURS: tuple[tuple[float, Rgb], ...] = (
    (-90.0, (9, 12, 32)),
    (-18.0, (9, 12, 32)),
    (-12.0, (20, 28, 66)),
    (-8.0, (46, 50, 110)),
    (-6.0, (84, 68, 136)),
    (-4.0, (150, 92, 130)),
    (-1.0, (226, 128, 84)),
    (2.0, (246, 188, 96)),
    (6.0, (196, 214, 222)),
    (12.0, (130, 184, 226)),
    (90.0, (130, 184, 226)),
)

# From below: US Naval Observatory, "Rise, Set, and Twilight Definitions".
_NAMES: tuple[tuple[float, str, str], ...] = (
    (-90.0, " ", "night"),
    (-18.0, "░", "astronomical twilight"),
    (-12.0, "▒", "nautical twilight"),
    (-6.0, "▓", "civil twilight"),
    (-50 / 60, "█", "daylight"),
)


def sky_colour(elevation_deg: float) -> str:
    """Return the colour of the sky as ``#rrggbb``.

    Args:
        elevation_deg: elevation of the sun's centre, -90 to 90, negative below the horizon.
    """
    above = bisect_right([low_deg for low_deg, _ in _COLOURS[1:-1]], elevation_deg) + 1
    (low_deg, low), (high_deg, high) = _COLOURS[above - 1 : above + 1]
    share = (elevation_deg - low_deg) / (high_deg - low_deg)
    parts = (round(one + (other - one) * share) for one, other in zip(low, high, strict=True))
    return "#" + "".join(f"{part:02x}" for part in parts)


def sky_character(elevation_deg: float) -> str:
    """Return a character that is the fuller, the lighter the sky."""
    return _band(elevation_deg)[1]


def sky_word(elevation_deg: float) -> str:
    """Return the name of the light."""
    return _band(elevation_deg)[2]


def _band(elevation_deg: float) -> tuple[float, str, str]:
    return _NAMES[max(bisect_right([low_deg for low_deg, _, _ in _NAMES], elevation_deg) - 1, 0)]
