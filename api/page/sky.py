"""The colour of the sky by the height of the sun: what shades the picture of a night.

The steps are those of the twilights (civil to 6 degrees, nautical to 12, astronomical to 18); the colours
between are mixed. All of it is our own palette, drawn by eye; tests/api/page/test_colours.py holds the
contrast of what stands upon it.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

Colour = tuple[int, int, int]

# Degrees above the horizon, and red, green, blue.
_STEPS: tuple[tuple[float, Colour], ...] = (
    (-18.0, (19, 24, 48)),
    (-12.0, (28, 36, 74)),
    (-9.0, (44, 54, 103)),
    (-6.0, (78, 84, 136)),
    (-3.0, (158, 122, 136)),
    (-0.8, (214, 160, 126)),
    (3.0, (228, 204, 170)),
    (10.0, (222, 225, 214)),
)
_EVERY = timedelta(minutes=10)


def sky_colour(elevation_deg: float) -> Colour:
    """Give the colour of the sky with the sun so many degrees above the horizon."""
    place = bisect_right(_STEPS, elevation_deg, key=lambda step: step[0])
    if place in (0, len(_STEPS)):
        return _STEPS[min(place, len(_STEPS) - 1)][1]
    (low_deg, low), (high_deg, high) = _STEPS[place - 1], _STEPS[place]
    share = (elevation_deg - low_deg) / (high_deg - low_deg)
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(low, high, strict=True))
    return red, green, blue


def sky_stops(
    elevation_deg: Callable[[datetime], float], from_utc: datetime, to_utc: datetime
) -> Iterator[tuple[float, Colour]]:
    """Give the stops of a gradient over a stretch of time: a place from 0 to 1, and the colour there.

    Where the colour does not change, its first and last stop are enough.
    """
    whole = to_utc - from_utc
    steps = int(whole / _EVERY)
    places = [step * _EVERY / whole for step in range(steps + 1)] + [1.0]
    colours = [sky_colour(elevation_deg(from_utc + place * whole)) for place in places]
    for index, (place, colour) in enumerate(zip(places, colours, strict=True)):
        if not 0 < index < len(places) - 1 or not colours[index - 1] == colour == colours[index + 1]:
            yield place, colour
