"""The sun's path over one night in closed form: so close that it settles nearly every edge of darkness.

The sun's declination and the equation of time change so evenly that a parabola through their values at three
noons (the night's own, the one before, the one after) gives the sine of the elevation to ``GUIDE_ERROR`` over
any night, and a crossing at usual latitudes to a few thousandths of a second. ``Place.exact_sine``, which is
astral's own position, decides wherever that is not close enough.
"""

from functools import lru_cache
from math import acos, asin, ceil, cos, floor, pi, radians, sin, tan

from astral.sun import eq_of_time, sun_declination

GUIDE_ERROR = radians(0.002)
"""Bound of the error of a sine over a night of up to 48 hours, so of 0.002 degrees near the horizon.

Held by tests/controller/sun/test_approximation.py.
"""

# Up to 25 hours after the night's beginning the parabola is off by less than 2e-5 degrees, as the third
# differences of both values are about 1.2e-4 degrees. A crossing faster than 1e-3 degrees a second (2.6e-3 at
# 51.5 N) is then within 0.02 s, if the last of Newton's steps was short; only a crossing nearer than 0.03 s
# to a whole second is left to the exact position. Held by tests/controller/sun/test_properties.py.
_SURE_FOR_S = 25 * 3600
_BRISK_RAD_PER_S = radians(1e-3)
_LAST_STEP_S = 2.0
_UNSURE_S = 0.03
_DAY_S = 86_400
_TURN_RAD_PER_S = 2 * pi / _DAY_S  # the mean sun, once round in a day
_J2000_UNIX_S = 946_728_000  # 2000-01-01 12:00, from which astral counts Julian centuries
_CENTURY_S = 36_525 * 86_400
_SMALLEST = 1e-15  # in place of zero in a division, at a pole or where the path runs level


def _declination_and_equation(unix_s: float) -> tuple[float, float]:
    """Give the sun's declination and the equation of time as an angle, both in radians."""
    century = (unix_s - _J2000_UNIX_S) / _CENTURY_S
    return radians(sun_declination(century)), radians(eq_of_time(century) / 4)  # 4 minutes a degree


# A night's end is the next one's beginning, and every angle asks again.
_at_noon = lru_cache(maxsize=64)(_declination_and_equation)


class Place:
    """A place on the earth, by what the sine of the sun's elevation takes from it."""

    __slots__ = ("across", "along", "latitude_rad", "longitude_rad")

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        self.latitude_rad, self.longitude_rad = radians(latitude_deg), radians(longitude_deg)
        self.along = sin(self.latitude_rad)  # share of the elevation that lies along the earth's axis
        self.across = cos(self.latitude_rad)  # share that goes round with the day

    def exact_sine(self, unix_s: int) -> float:
        """Give the sine of the sun's elevation, without refraction, at a whole second since 1970.

        It is the sine of ``astral.sun.elevation(..., with_refraction=False)``, from astral's own declination
        and equation of time. What astral does beside that is left out: it works out the azimuth as well, and
        moves places near a pole to 89.8 degrees. Held by tests/controller/sun/test_sun.py.
        """
        declination, equation = _declination_and_equation(unix_s)
        hour = (unix_s % _DAY_S) * _TURN_RAD_PER_S - pi + self.longitude_rad + equation
        return self.along * sin(declination) + self.across * cos(declination) * cos(hour)


class SunApproximation:
    """The sine of the sun's elevation over one place, as a function of the seconds since an instant.

    Attributes:
        extrema_s: the seconds at which the sun is highest or lowest, inside the path, in order.
    """

    __slots__ = (
        "_across",
        "_along",
        "_declination",
        "_hour",
        "extrema_s",
        "lasts_s",
        "place",
        "starts_unix_s",
    )

    def __init__(self, place: Place, starts_unix_s: int, lasts_s: int) -> None:
        self.place, self.starts_unix_s, self.lasts_s = place, starts_unix_s, lasts_s
        self._along, self._across = place.along, place.across
        before, now, after = (_at_noon(starts_unix_s + shift_s) for shift_s in (-_DAY_S, 0, _DAY_S))
        self._declination = _parabola(before[0], now[0], after[0])
        equation, drift, bend = _parabola(before[1], now[1], after[1])
        hour = (starts_unix_s % _DAY_S) * _TURN_RAD_PER_S - pi + place.longitude_rad + equation
        self._hour = hour, _TURN_RAD_PER_S + drift, bend
        self.extrema_s = self._find_extrema_s()

    def exact_sine_at(self, after_s: int) -> float:
        """Give the sine of the sun's elevation as it truly is: see ``Place.exact_sine``."""
        return self.place.exact_sine(self.starts_unix_s + after_s)

    def sine_at(self, after_s: float) -> float:
        """Give the sine of the sun's elevation; negative below the horizon."""
        start, drift, bend = self._declination
        declination = start + (drift + bend * after_s) * after_s
        start, drift, bend = self._hour
        hour = start + (drift + bend * after_s) * after_s
        return self._along * sin(declination) + self._across * cos(declination) * cos(hour)

    def sine_and_slope_at(self, after_s: float) -> tuple[float, float]:
        """Give the sine of the sun's elevation and how fast it grows, per second; never exactly level."""
        start, drift, bend = self._declination
        declination = start + (drift + bend * after_s) * after_s
        declination_per_s = drift + 2 * bend * after_s
        start, drift, bend = self._hour
        hour = start + (drift + bend * after_s) * after_s
        hour_per_s = drift + 2 * bend * after_s
        sine, cosine = sin(declination), cos(declination)
        across = self._across * cos(hour)
        slope = (self._along * cosine - across * sine) * declination_per_s
        slope -= self._across * cosine * sin(hour) * hour_per_s
        return self._along * sine + across * cosine, slope or _SMALLEST

    def _find_extrema_s(self) -> list[int]:
        """Find where the sun turns.

        That is a little off due south and due north, because the declination drifts meanwhile, by
        ``sin(hour angle) = tan(latitude) * drift / turn``. Close to a pole no hour angle fulfils that: there
        the sun only climbs, or only sinks, all day. A term of tan(declination) is left out: it shifts the
        extremum by 7 s at most, and the elevation is level there.
        """
        hour, turn, _ = self._hour
        _, drift, bend = self._declination
        steepness = tan(self.place.latitude_rad) / turn
        found = []
        for half_turns in range(ceil(hour / pi - 0.5), floor((hour + turn * self.lasts_s) / pi + 0.5) + 1):
            due_s = (half_turns * pi - hour) / turn
            steep = steepness * (drift + 2 * bend * due_s)
            if abs(steep) >= 1:
                continue
            shift_s = asin(steep) / turn
            # Lowest at odd half turns, highest at even ones.
            after_s = round(due_s - shift_s if half_turns % 2 else due_s + shift_s)
            if 0 < after_s < self.lasts_s - 1 and after_s not in found:
                found.append(after_s)
        if not found and bend and 0 < (vertex_s := round(-drift / (2 * bend))) < self.lasts_s - 1:
            found.append(vertex_s)  # at a pole, where the sun turns at the solstice alone
        return sorted(found)

    def crossing_s(self, low_s: int, high_s: int, sine: float, *, climbs: bool) -> tuple[float, bool]:
        """Find the second from ``low_s`` to ``high_s`` at which the sun crosses an elevation.

        Between these two it only climbs or only sinks.

        Returns:
            The second, never outside the two; and whether the next whole second is certain to be the first on
            the other side by the exact position as well.
        """
        start, drift, bend = self._declination
        middle_s = (low_s + high_s) / 2
        declination = start + (drift + bend * middle_s) * middle_s
        round_part = self._across * cos(declination) or _SMALLEST
        cosine = (sine - self._along * sin(declination)) / round_part
        hour = acos(min(max(cosine, -1.0), 1.0))
        if climbs:
            hour = -hour
        first_hour, turn, _ = self._hour
        hour += 2 * pi * round((first_hour + turn * middle_s - hour) / (2 * pi))
        found_s = min(max((hour - first_hour) / turn, low_s), high_s)
        # That was with the declination of the middle; two steps of Newton's method take the right one.
        for _ in range(2):
            before_s = found_s
            found, slope_per_s = self.sine_and_slope_at(before_s)
            found_s = min(max(before_s + (sine - found) / slope_per_s, low_s), high_s)
        sure = (
            low_s + 1 < found_s < min(high_s - 1, _SURE_FOR_S)
            and abs(slope_per_s) > _BRISK_RAD_PER_S
            and abs(found_s - before_s) < _LAST_STEP_S
            and _UNSURE_S < found_s % 1 < 1 - _UNSURE_S
        )
        return found_s, sure


def _parabola(day_before: float, first: float, day_after: float) -> tuple[float, float, float]:
    """Give value, drift and bend, by the second, of the parabola through three values a day apart."""
    drift, bend = (day_after - day_before) / 2, (day_after - 2 * first + day_before) / 2
    return first, drift / _DAY_S, bend / _DAY_S**2
