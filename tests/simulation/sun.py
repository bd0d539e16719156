"""The sun by JPL's ephemeris DE421, for the oracle: its height over a place, and when it is below an angle.

Skyfield gives the sun's direction from the earth's centre twice a day. Between these it moves so evenly that
a straight line is within 0.0003 degrees of it, and the height over any place is one triangle away. The height
is scanned every half hour, and every crossing of an angle bisected.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache, lru_cache
from itertools import pairwise
from math import asin, cos, degrees, radians, sin

from tests.reference.de421 import ephemeris

Stretches = list[tuple[float, float]]

DAY_S = 86_400
NODE_S = DAY_S // 2
# Directions are asked for so many days at once, which takes 10 ms.
DAYS_AT_ONCE = 48
# The sun is so near that it stands this much lower over the ground than over the earth's centre: its
# equatorial horizontal parallax, 8.794 arc seconds (IAU 1976).
PARALLAX_DEG = 8.794 / 3600
SCAN_S = 1800
# Within half a scan of its turn the sun's height changes by at most 1 - cos(3.75 degrees), 0.12 degrees.
# A night whose sun turns this close to the angle may hide a stretch shorter than the scan: no opinion.
TOO_CLOSE_DEG = 0.2


# From 2017 on UTC is 37 seconds behind TAI, which the delta T of the reference takes for granted.
SINCE_S = datetime(2017, 1, 1, tzinfo=UTC).timestamp()


class NoOpinionError(Exception):
    """The sun turns too close to the angle to say, or the year is too long ago."""


@cache
def _directions(number: int) -> list[tuple[float, float]]:
    """Give declination, and Greenwich hour angle beyond the mean sun's, in degrees, at each node."""
    planets, scale = ephemeris()
    first_s = number * DAYS_AT_ONCE * DAY_S
    start = datetime.fromtimestamp(first_s, UTC)
    nodes = range(2 * DAYS_AT_ONCE + 1)
    times = scale.utc(start.year, start.month, start.day, [node * 12 for node in nodes])
    ascension, declination, _ = planets["earth"].at(times).observe(planets["sun"]).apparent().radec("date")
    hours = (times.gast - ascension.hours) * 15 - [node * 180 for node in nodes]
    return [
        (float(south), (float(hour) + 90) % 360 - 90)
        for south, hour in zip(declination.degrees, hours, strict=False)
    ]


class SunOver:
    """The sun over one place."""

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        """Take the place."""
        self._along, self._across = sin(radians(latitude_deg)), cos(radians(latitude_deg))
        self._longitude_deg = longitude_deg
        self._heights: dict[tuple[float, float], list[tuple[float, float]]] = {}
        self._below: dict[tuple[float, float, float], Stretches] = {}

    def height_deg(self, at_s: float) -> float:
        """Give the height of the sun's centre at a second since 1970, from the ground, not refracted."""
        number, into_s = divmod(at_s, DAYS_AT_ONCE * DAY_S)
        node, into_s = divmod(into_s, NODE_S)
        nodes = _directions(int(number))
        (south, hour), (then_south, then_hour) = nodes[int(node)], nodes[int(node) + 1]
        part = into_s / NODE_S
        declination = radians(south + (then_south - south) * part)
        hour += (then_hour - hour) * part
        angle = radians(hour + self._longitude_deg + at_s % DAY_S / 240)
        height = asin(self._along * sin(declination) + self._across * cos(declination) * cos(angle))
        return degrees(height) - PARALLAX_DEG * cos(height)

    def below(self, begins_s: float, ends_s: float, angle_deg: float) -> Stretches:
        """Give the stretches between two instants in which the sun is below an angle.

        Raises:
            NoOpinionError: the sun turns so close to the angle that a stretch may be hidden, or before 2017.
        """
        if begins_s < SINCE_S:
            raise NoOpinionError
        key = (begins_s, ends_s, angle_deg)
        if key not in self._below:
            self._below[key] = self._find_below(begins_s, ends_s, angle_deg)
        return self._below[key]

    def _scan(self, begins_s: float, ends_s: float) -> list[tuple[float, float]]:
        """Give the heights from one scan before to one after, both ends among them."""
        key = (begins_s, ends_s)
        if key not in self._heights:
            inside = [begins_s + SCAN_S * n for n in range(int(-(-(ends_s - begins_s) // SCAN_S)))]
            instants = [begins_s - SCAN_S, *inside, ends_s, ends_s + SCAN_S]
            self._heights[key] = [(at_s, self.height_deg(at_s)) for at_s in instants]
        return self._heights[key]

    def _find_below(self, begins_s: float, ends_s: float, angle_deg: float) -> Stretches:
        heights = self._scan(begins_s, ends_s)
        for (_, one), (_, two), (_, three) in zip(heights, heights[1:], heights[2:], strict=False):
            if abs(two + angle_deg) < TOO_CLOSE_DEG and (two - one) * (three - two) <= 0:
                raise NoOpinionError
        heights = heights[1:-1]
        stretches: Stretches = []
        since_s = begins_s if heights[0][1] < -angle_deg else None
        for (at_s, height), (then_s, becomes) in pairwise(heights):
            if (height < -angle_deg) == (becomes < -angle_deg):
                continue
            edge_s = self._bisect(at_s, then_s, angle_deg, sinks=becomes < height)
            if becomes < height:
                since_s = edge_s
            elif since_s is not None:
                stretches.append((since_s, edge_s))
                since_s = None
        if since_s is not None:
            stretches.append((since_s, ends_s))
        return stretches

    def _bisect(self, early_s: float, late_s: float, angle_deg: float, *, sinks: bool) -> float:
        while late_s - early_s > 0.1:
            middle_s = (early_s + late_s) / 2
            if (self.height_deg(middle_s) < -angle_deg) == sinks:
                late_s = middle_s
            else:
                early_s = middle_s
        return late_s


# A site file that is rewritten keeps its place nearly always.
sun_over = lru_cache(maxsize=8)(SunOver)
