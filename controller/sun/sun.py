"""The sun over one place: how high it is, and when a night is dark.

An edge of darkness is the root of ``astral.sun.elevation(..., with_refraction=False)``, not astral's own
``dusk``: that one iterates twice and works by UTC dates, so it is minutes off in the north and a day off far
from Greenwich. A root has no special cases: a night that begins dark, never gets dark or is dark for three
minutes is the same question with another answer. Nothing raises because there is no sunset.

``controller.sun.darkness`` finds the edges.
"""

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from math import asin, degrees, floor, isfinite, radians, sin

from controller.calendar.intervals import Interval, merge, ms_of
from controller.calendar.night import Night
from controller.sun.approximation import Place, SunApproximation
from controller.sun.darkness import DarkInterval, Darkness

SUNSET_ANGLE_DEG = 50 / 60
"""Degrees below the horizon of the sun's centre at sunset and sunrise: 34' refraction, 16' semidiameter.

Source: US Naval Observatory, "Rise, Set, and Twilight Definitions".
"""

_ANSWERS_KEPT = 2_048  # a year of nights for five angles; bounded, because a daemon runs for years


class Sun:
    """The sun over one place. It remembers its answers, so that asking again costs almost nothing.

    An angle is in degrees below the horizon, positive downwards, -90 to 90.

    Args:
        latitude_deg: north positive, -90 to 90.
        longitude_deg: east positive, -180 to 180.

    Raises:
        ValueError: a place that is not on the earth, quoting it.
    """

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        if not (isfinite(latitude_deg) and abs(latitude_deg) <= 90):  # noqa: PLR2004 (a quarter of a circle)
            raise ValueError(f"a latitude lies between -90 and 90 degrees, got {latitude_deg}")
        if not (isfinite(longitude_deg) and abs(longitude_deg) <= 180):  # noqa: PLR2004 (half a circle)
            raise ValueError(f"a longitude lies between -180 and 180 degrees, got {longitude_deg}")
        self.latitude_deg = latitude_deg
        self._place = Place(latitude_deg, longitude_deg)
        self._darkness = lru_cache(maxsize=_ANSWERS_KEPT)(self._find_darkness)
        self._path: tuple[Night, SunApproximation] | None = None  # of the last night, for its other angles

    def elevation_deg(self, at_utc: datetime) -> float:
        """Give the elevation of the sun's centre, without refraction.

        Args:
            at_utc: an aware instant; parts of a second do not count.

        Returns:
            Degrees, negative below the horizon; within 0.017 degrees of JPL DE421 from 2026 to 2039.

        Raises:
            ValueError: a naive time.

        Held by tests/controller/sun/test_against_de421.py.
        """
        return degrees(asin(min(max(self._exact_sine(at_utc), -1.0), 1.0)))

    def is_dark(self, at_utc: datetime, angle_deg: float) -> bool:
        """Whether the sun is more than an angle below the horizon."""
        return self._exact_sine(at_utc) < sin(radians(-angle_deg))

    def dark_intervals(self, night: Night, angle_deg: float) -> tuple[DarkInterval, ...]:
        """Give when the sun is below an angle in a night, in order.

        Returns:
            None to three intervals inside the night; none is missed, however short, if it holds a whole
            second, and ``is_dark`` agrees with them at every instant.

        Held by tests/controller/sun/test_properties.py.
        """
        return self._darkness(night, angle_deg).intervals()

    def dusk(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the beginning of the first dark interval of a night; None where it never gets that dark."""
        return self._darkness(night, angle_deg).dusk()

    def dawn(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the end of the last dark interval of a night; None where it never gets that dark."""
        return self._darkness(night, angle_deg).dawn()

    def _exact_sine(self, at_utc: datetime) -> float:
        if at_utc.tzinfo is None:
            raise ValueError(f"an instant needs a zone, got the naive {at_utc!r}")
        return self._place.exact_sine(floor(at_utc.timestamp()))

    def _find_darkness(self, night: Night, angle_deg: float) -> Darkness:
        kept = self._path  # another thread may replace it meanwhile
        if kept is None or kept[0] != night:
            starts_s, ends_s = floor(night.starts_at_utc.timestamp()), floor(night.ends_at_utc.timestamp())
            self._path = kept = night, SunApproximation(self._place, starts_s, ends_s - starts_s)
        return Darkness(night, angle_deg, kept[1])


def dark_intervals(sun: Sun, nights: Iterable[Night], angle_deg: float) -> list[Interval]:
    """Give when the sun is below an angle over some nights, joined across noon in the polar night."""
    return merge(
        (ms_of(dark.starts_at_utc), ms_of(dark.ends_at_utc))
        for night in nights
        for dark in sun.dark_intervals(night, angle_deg)
    )
