"""The sun's way over one night in closed form: a guide to where its height has to be asked for.

Over a night the sun's declination and the equation of time change so evenly that a straight line between
their values at noon and at the next noon tells the sine of its height to better than ``GUIDE_ERROR``. That is
enough to know where the sun turns, on which side of an angle it stands, and within a second where it passes
it. The guide never has the last word: ``darkness`` settles every edge by the sun's height itself.
"""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from math import acos, asin, ceil, cos, floor, pi, radians, sin, tan

from astral.sun import eq_of_time, sun_declination

GUIDE_ERROR = radians(0.02)
"""Bound of the error of a sine over a night of up to 48 hours, so of 0.02 degrees near the horizon.

Held by tests/controller/sun/test_approximation.py.
"""

_TURN_RAD_PER_S = 2 * pi / 86_400  # the mean sun, once round in a day
_J2000_UNIX_S = 946_728_000  # 2000-01-01 12:00, from which astral counts Julian centuries
_CENTURY_S = 36_525 * 86_400
_SMALLEST = 1e-15  # keeps a division whole at a pole, or where the path runs level


@lru_cache(maxsize=64)  # a night's end is the next one's beginning, and every angle asks again
def _declination_and_equation(unix_s: float) -> tuple[float, float]:
    """Give the sun's declination and the equation of time as an angle, both in radians."""
    century = (unix_s - _J2000_UNIX_S) / _CENTURY_S
    return radians(sun_declination(century)), radians(eq_of_time(century) / 4)  # 4 minutes a degree


class SunApproximation:
    """The sine of the sun's height over one place, as a function of the seconds since an instant."""

    __slots__ = ("_across", "_along", "_declination", "_drift", "_hour", "_latitude_rad", "_turn", "lasts_s")

    def __init__(
        self, latitude_deg: float, longitude_deg: float, starts_at_utc: datetime, lasts_s: int
    ) -> None:
        """Draw the path.

        Args:
            latitude_deg: north positive, -90 to 90.
            longitude_deg: east positive, -180 to 180.
            starts_at_utc: instant from which seconds count, in UTC.
            lasts_s: how far the path goes.
        """
        unix_s = starts_at_utc.timestamp()
        declination, equation = _declination_and_equation(unix_s)
        later_declination, later_equation = _declination_and_equation(unix_s + lasts_s)
        self.lasts_s = lasts_s
        self._latitude_rad = radians(latitude_deg)
        self._along = sin(self._latitude_rad)  # share of the height that lies along the earth's axis
        self._across = cos(self._latitude_rad)  # share that goes round with the day
        self._declination = declination
        self._drift = (later_declination - declination) / (lasts_s or 1)
        self._hour = (unix_s % 86_400) * _TURN_RAD_PER_S - pi + radians(longitude_deg) + equation
        self._turn = _TURN_RAD_PER_S + (later_equation - equation) / (lasts_s or 1)

    def sine_at(self, after_s: float) -> float:
        """Give the sine of the sun's height; negative below the horizon."""
        declination = self._declination + self._drift * after_s
        hour = self._hour + self._turn * after_s
        return self._along * sin(declination) + self._across * cos(declination) * cos(hour)

    def sine_and_slope_at(self, after_s: float) -> tuple[float, float]:
        """Give the sine of the sun's height and how fast it grows, per second; never exactly level."""
        declination = self._declination + self._drift * after_s
        hour = self._hour + self._turn * after_s
        sine, cosine = sin(declination), cos(declination)
        across = self._across * cos(hour)
        slope = (self._along * cosine - across * sine) * self._drift
        slope -= self._across * cosine * sin(hour) * self._turn
        return self._along * sine + across * cosine, slope or _SMALLEST

    def extrema_s(self) -> list[int]:
        """Give the seconds at which the sun turns, between the first and the last of the path, in order.

        It turns where it is highest and where it is lowest: a little off due south and due north, because its
        declination drifts meanwhile, by ``sin(hour angle) = tan(latitude) * drift / turn``. Close to a pole
        no hour angle fulfils that: there the sun only climbs, or only sinks, all day. A term of
        tan(declination) is left out: it shifts the turning by 7 s at most, and the height is level there.
        """
        steep = tan(self._latitude_rad) * self._drift / self._turn
        if abs(steep) >= 1:
            return []
        shift = asin(steep)
        first = ceil((self._hour - abs(shift)) / pi)
        last = floor((self._hour + self._turn * self.lasts_s + abs(shift)) / pi)
        found = []
        for half_turns in range(first, last + 1):
            off = -shift if half_turns % 2 else shift  # lowest at odd half turns, highest at even ones
            after_s = round((half_turns * pi + off - self._hour) / self._turn)
            if 0 < after_s < self.lasts_s - 1 and after_s not in found:
                found.append(after_s)
        return sorted(found)

    def crossing_s(self, low_s: int, high_s: int, sine: float, *, climbs: bool) -> float:
        """Guess the second at which the sun passes a height between two turnings.

        Args:
            low_s: where the search begins.
            high_s: where it ends; the sun only climbs or only sinks in between.
            sine: sine of the height that it passes.
            climbs: which of the two it does.

        Returns:
            The guess, never outside the two; mostly right within a second.
        """
        middle_s = (low_s + high_s) / 2
        declination = self._declination + self._drift * middle_s
        round_part = self._across * cos(declination) or _SMALLEST
        cosine = (sine - self._along * sin(declination)) / round_part
        hour = acos(min(max(cosine, -1.0), 1.0))
        if climbs:
            hour = -hour
        middle_hour = self._hour + self._turn * middle_s
        hour += 2 * pi * round((middle_hour - hour) / (2 * pi))
        guess_s = min(max((hour - self._hour) / self._turn, low_s), high_s)
        # That was with the declination of the middle; one step of Newton's takes the right one.
        guess_sine, slope_per_s = self.sine_and_slope_at(guess_s)
        return min(max(guess_s + (sine - guess_sine) / slope_per_s, low_s), high_s)
