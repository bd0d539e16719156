"""The sun over one place: how high it stands, and the stretches of a night in which it is dark.

An edge of darkness is the root of ``astral.sun.elevation(..., with_refraction=False)``, not astral's own
``dusk``: that one iterates twice and works by UTC dates, so it is minutes off in the north and a day off far
from Greenwich. A root has no special cases: a night that begins dark, never gets dark or is dark
for three minutes is the same question with another answer. Nothing here raises for want of a sunset.

Finding the edges is the work of ``controller.sun.darkness``.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from functools import lru_cache
from math import asin, cos, degrees, isfinite, radians, sin

from astral import Observer
from astral.sun import elevation

from controller.calendar.intervals import (
    Interval,
    merge,
    ms_of,
)
from controller.calendar.night import Night
from controller.sun.approximation import SunApproximation
from controller.sun.darkness import DarkInterval, Darkness

__all__ = ["CIVIL_ANGLE_DEG", "SUNSET_ANGLE_DEG", "DarkInterval", "Sun", "elevation_deg"]

SUNSET_ANGLE_DEG = 50 / 60
"""Degrees below the horizon of the sun's centre at sunset and sunrise: 34' refraction, 16' semidiameter.

Source: US Naval Observatory, "Rise, Set, and Twilight Definitions".
"""

CIVIL_ANGLE_DEG = 6.0
"""Degrees below the horizon at civil dusk and dawn. Source: US Naval Observatory, as above."""

_ASTRAL_LIMIT_DEG = 89.8  # astral moves everybody who lives nearer to a pole to this latitude
_NIGHTS_KEPT = 64
_ANSWERS_KEPT = 2_048  # a year of nights for five angles; bounded, because a daemon lives for years


class Sun:
    """The sun over one place. Remembers its answers, so that asking again costs next to nothing."""

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        """Stand at a place.

        Args:
            latitude_deg: north positive, -90 to 90.
            longitude_deg: east positive, -180 to 180.

        Raises:
            ValueError: a place that is not on the earth, quoting it.
        """
        # astral would move a latitude of 99 to 90 without a word.
        if not (isfinite(latitude_deg) and abs(latitude_deg) <= 90):  # noqa: PLR2004 (a quarter of a circle)
            raise ValueError(f"a latitude lies between -90 and 90 degrees, got {latitude_deg}")
        if not (isfinite(longitude_deg) and abs(longitude_deg) <= 180):  # noqa: PLR2004 (half a circle)
            raise ValueError(f"a longitude lies between -180 and 180 degrees, got {longitude_deg}")
        self.latitude_deg = latitude_deg
        self.longitude_deg = longitude_deg
        self._observer = Observer(latitude_deg, longitude_deg, 0.0)
        opposite_deg = longitude_deg - 180 if longitude_deg > 0 else longitude_deg + 180
        self._opposite = Observer(latitude_deg, opposite_deg, 0.0)
        self._darkness = lru_cache(maxsize=_ANSWERS_KEPT)(self._find_darkness)
        self._path = lru_cache(maxsize=_NIGHTS_KEPT)(self._draw_path)

    def elevation_deg(self, at_utc: datetime) -> float:
        """Give the height of the sun's centre above the horizon, without refraction.

        Args:
            at_utc: an aware instant; parts of a second do not count.

        Returns:
            Degrees, negative below the horizon; within 0.017 degrees of JPL DE421 from 2026 to 2039.

        Raises:
            ValueError: a naive time.

        Held by tests/controller/sun/test_against_de421.py.
        """
        if at_utc.tzinfo is not UTC:
            if at_utc.tzinfo is None:
                raise ValueError(f"an instant needs a zone, got the naive {at_utc!r}")
            at_utc = at_utc.astimezone(UTC)
        here_deg = elevation(self._observer, at_utc, with_refraction=False)
        if abs(self.latitude_deg) <= _ASTRAL_LIMIT_DEG:
            return here_deg
        # Half the sum of the sines at opposite longitudes is the part along the earth's axis, half the
        # difference the part that goes round with the day; each scales with the true latitude.
        there_deg = elevation(self._opposite, at_utc, with_refraction=False)
        here, there = sin(radians(here_deg)), sin(radians(there_deg))
        limit_rad, latitude_rad = radians(_ASTRAL_LIMIT_DEG), radians(abs(self.latitude_deg))
        along = (here + there) / 2 * sin(latitude_rad) / sin(limit_rad)
        across = (here - there) / 2 * cos(latitude_rad) / cos(limit_rad)
        return degrees(asin(min(max(along + across, -1.0), 1.0)))

    def is_dark(self, at_utc: datetime, angle_deg: float) -> bool:
        """Whether the sun is more than an angle below the horizon.

        Args:
            at_utc: an aware instant.
            angle_deg: degrees below the horizon, positive downwards, -90 to 90.
        """
        return self.elevation_deg(at_utc) < -angle_deg

    def dark_intervals(self, night: Night, angle_deg: float) -> tuple[DarkInterval, ...]:
        """Give the stretches of a night in which the sun is below an angle, in order.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards, -90 to 90.

        Returns:
            None to three stretches inside the night; none is missed, however short, if it holds a whole
            second, and ``is_dark`` agrees with them at every instant.

        Held by tests/controller/sun/test_properties.py.
        """
        return self._darkness(night, angle_deg).stretches()

    def dusk(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the first instant of a night at which the sun is below an angle.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards, -90 to 90.

        Returns:
            The night's beginning where it begins dark, None where it never gets that dark.
        """
        return self._darkness(night, angle_deg).dusk()

    def dawn(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the end of the last stretch of a night in which the sun is below an angle.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards, -90 to 90.

        Returns:
            The night's end where it ends dark, None where it never gets that dark.
        """
        return self._darkness(night, angle_deg).dawn()

    def _draw_path(self, night: Night) -> tuple[SunApproximation, list[int]]:
        """Give the sun's path over a night with its turnings; every angle shares it."""
        lasts_s = round((night.ends_at_utc - night.starts_at_utc).total_seconds())
        path = SunApproximation(self.latitude_deg, self.longitude_deg, night.starts_at_utc, lasts_s)
        return path, path.extrema_s()

    def _find_darkness(self, night: Night, angle_deg: float) -> Darkness:
        """Give what is to be known about a night and an angle; it finds its edges when asked."""
        path, turnings_s = self._path(night)
        return Darkness(night, angle_deg, path, turnings_s, self.elevation_deg)


def elevation_deg(latitude_deg: float, longitude_deg: float, at_utc: datetime) -> float:
    """Give the height of the sun's centre over a place, without refraction.

    Args:
        latitude_deg: north positive, -90 to 90.
        longitude_deg: east positive, -180 to 180.
        at_utc: an aware instant; parts of a second do not count.

    Returns:
        Degrees, negative below the horizon; within 0.017 degrees of JPL DE421 from 2026 to 2039.

    Raises:
        ValueError: a place that is not on the earth, or a naive time.
    """
    return Sun(latitude_deg, longitude_deg).elevation_deg(at_utc)


def dark_intervals(sun: Sun, nights: Iterable[Night], angle_deg: float) -> list[Interval]:
    """Give when the sun is below an angle over some nights, joined across noon in the polar night."""
    return merge(
        (ms_of(stretch.starts_at_utc), ms_of(stretch.ends_at_utc))
        for night in nights
        for stretch in sun.dark_intervals(night, angle_deg)
    )
