"""The sun over one place: how high it stands, and the stretches of a night in which it is dark.

An edge of darkness is the root of ``astral.sun.elevation(..., with_refraction=False)``, not astral's own
``dusk``: that one iterates twice and works by UTC dates, so it is minutes off in the north and a day off far
from Greenwich. A root has no special cases: a night that begins dark, never gets dark or is dark
for three minutes is the same question with another answer. Nothing here raises for want of a sunset.

astral reads whole seconds, so an edge is a whole second: a stretch begins at the first second at which the
sun is below the angle and ends at the first at which it no longer is.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import asin, ceil, cos, degrees, isfinite, radians, sin

from astral import Observer
from astral.sun import elevation

from controller.night import Night
from controller.sun_path import GUIDE_ERROR_DEG, SunPath

SUNSET_ANGLE_DEG = 50 / 60
"""Degrees below the horizon of the sun's centre at sunset and sunrise: 34' refraction, 16' semidiameter.

Source: US Naval Observatory, "Rise, Set, and Twilight Definitions".
"""

CIVIL_ANGLE_DEG = 6.0
"""Degrees below the horizon at civil dusk and dawn. Source: US Naval Observatory, as above."""

_ASTRAL_LIMIT_DEG = 89.8  # astral moves everybody who lives nearer to a pole to this latitude
_NEWTON_TRIES = 6  # two or three are enough; after that halving the interval is sure to arrive
# From a height within 2 s of the root, where the sun crosses at more than 1e-4 degrees a second (it does
# 2.6e-3 at 51.5 N), the tangent tells the root to 0.006 s: the path bends by at most 3e-7 degrees a second
# squared. Only a root nearer than 0.05 s to a whole second needs the height asked for once more.
_BRISK_DEG_PER_S = 1e-4
_CLOSE_S = 2.0
_UNSURE_S = 0.05
_NIGHTS_KEPT = 64
_ANSWERS_KEPT = 4_096  # a year and more of nights for eight angles; a daemon lives for years


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """One stretch of darkness.

    Attributes:
        starts_at_utc: first whole second at which the sun is below the angle, or the night's beginning.
        ends_at_utc: first whole second at which it no longer is, or the night's end.
    """

    starts_at_utc: datetime
    ends_at_utc: datetime

    def __post_init__(self) -> None:
        """Refuse a stretch without length."""
        if self.ends_at_utc <= self.starts_at_utc:
            edges = f"{self.starts_at_utc} to {self.ends_at_utc}"
            raise ValueError(f"a stretch ends after it begins, got {edges}")


class Sky:
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
            Degrees, negative below the horizon; within 0.012 degrees of JPL DE421.

        Raises:
            ValueError: a naive time.

        Held by tests/controller/test_sun_against_de421.py.
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
            angle_deg: degrees below the horizon, positive downwards.
        """
        return self.elevation_deg(at_utc) < -angle_deg

    def dark_stretches(self, night: Night, angle_deg: float) -> tuple[Stretch, ...]:
        """Give the stretches of a night in which the sun is below an angle, in order.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards.

        Returns:
            None to three stretches inside the night; none is missed, however short, if it holds a whole
            second, and ``is_dark`` agrees with them at every instant.

        Held by tests/controller/test_sun_properties.py.
        """
        return self._darkness(night, angle_deg).stretches()

    def dusk(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the first instant of a night at which the sun is below an angle.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards.

        Returns:
            The night's beginning where it begins dark, None where it never gets that dark.
        """
        return self._darkness(night, angle_deg).dusk()

    def dawn(self, night: Night, angle_deg: float) -> datetime | None:
        """Give the end of the last stretch of a night in which the sun is below an angle.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards.

        Returns:
            The night's end where it ends dark, None where it never gets that dark.
        """
        return self._darkness(night, angle_deg).dawn()

    def _draw_path(self, night: Night) -> tuple[SunPath, list[int]]:
        """Give the sun's path over a night with its turnings; every angle shares it."""
        lasts_s = round((night.ends_at_utc - night.starts_at_utc).total_seconds())
        path = SunPath(self.latitude_deg, self.longitude_deg, night.starts_at_utc, lasts_s)
        return path, path.turnings_s()

    def _find_darkness(self, night: Night, angle_deg: float) -> _Darkness:
        """Give what is to be known about a night and an angle; it finds its edges when asked."""
        path, turnings_s = self._path(night)
        return _Darkness(self, night, angle_deg, path, turnings_s)


class _Darkness:
    """Where one night is darker than one angle; an edge is found when it is first asked for."""

    __slots__ = ("_angle_deg", "_begins_dark", "_edges", "_flips", "_night", "_path", "_sky")

    def __init__(
        self, sky: Sky, night: Night, angle_deg: float, path: SunPath, turnings_s: list[int]
    ) -> None:
        """Tell between which turnings of the sun the night gets dark or light."""
        self._sky = sky
        self._night = night
        self._angle_deg = angle_deg
        self._path = path
        self._flips: list[tuple[int, int]] = []
        # A night without length, of a date that the zone skipped, is never dark.
        points_s = [0, *turnings_s, path.lasts_s] if path.lasts_s else []
        was_dark = self._begins_dark = bool(points_s) and self._is_dark_at(points_s, 0)
        for place in range(1, len(points_s)):
            is_dark = self._is_dark_at(points_s, place)
            if is_dark != was_dark:
                self._flips.append((points_s[place - 1], points_s[place]))
            was_dark = is_dark
        self._edges: list[datetime | None] = [None] * len(self._flips)

    def dusk(self) -> datetime | None:
        """Give the beginning of the first stretch."""
        if self._begins_dark:
            return self._night.starts_at_utc
        return self._edge(0) if self._flips else None

    def dawn(self) -> datetime | None:
        """Give the end of the last stretch."""
        if self._begins_dark != bool(len(self._flips) % 2):
            return self._night.ends_at_utc
        return self._edge(-1) if self._flips else None

    def stretches(self) -> tuple[Stretch, ...]:
        """Give all stretches."""
        edges = [self._edge(number) for number in range(len(self._flips))]
        if self._begins_dark:
            edges.insert(0, self._night.starts_at_utc)
        if len(edges) % 2:
            edges.append(self._night.ends_at_utc)
        pairs = zip(edges[::2], edges[1::2], strict=True)
        return tuple(Stretch(starts_at_utc=starts, ends_at_utc=ends) for starts, ends in pairs)

    def _depth_deg(self, after_s: int) -> float:
        """Give how far the sun stands above the angle; negative where it is dark. This is the last word."""
        at_utc = self._night.starts_at_utc + timedelta(seconds=after_s)
        return self._sky.elevation_deg(at_utc) + self._angle_deg

    def _is_dark_at(self, points_s: list[int], place: int) -> bool:
        """Whether it is dark at an end of the night or at a turning; moves a turning that decides closely."""
        guide_deg = self._path.height_deg(points_s[place]) + self._angle_deg
        if abs(guide_deg) > GUIDE_ERROR_DEG:
            return guide_deg < 0
        if 0 < place < len(points_s) - 1:
            points_s[place] = self._turning_s(points_s[place - 1], points_s[place + 1], points_s[place])
        return self._depth_deg(points_s[place]) < 0

    def _turning_s(self, low_s: int, high_s: int, guess_s: int) -> int:
        """Give the very second at which the sun turns, between two neighbouring points."""
        lowest = self._path.height_deg(guess_s) < self._path.height_deg(low_s)
        while high_s - low_s > 1:
            middle_s = (low_s + high_s) // 2
            climbs = self._depth_deg(middle_s) > self._depth_deg(middle_s - 1)
            if climbs == lowest:
                high_s = middle_s
            else:
                low_s = middle_s
        return low_s

    def _edge(self, number: int) -> datetime:
        """Give the first whole second after a change between dark and light."""
        known = self._edges[number]
        if known is None:
            low_s, high_s = self._flips[number]
            after_s = self._first_second(low_s, high_s, gets_dark=self._gets_dark(number))
            known = self._edges[number] = self._night.starts_at_utc + timedelta(seconds=after_s)
        return known

    def _gets_dark(self, number: int) -> bool:
        """Whether a change is one from light to dark; they alternate."""
        return self._begins_dark == bool(number % len(self._flips) % 2)

    def _first_second(self, low_s: int, high_s: int, *, gets_dark: bool) -> int:
        """Give the first second at which it is as it is at ``high_s``; it is not yet so at ``low_s``.

        The sun's height itself decides, whatever the guide said: the search ends with two seconds side by
        side on either side of the angle, or with a height so close to it that the slope settles the second.
        """
        next_s = ceil(self._path.crossing_s(low_s, high_s, -self._angle_deg, climbs=not gets_dark))
        tries = 0
        while high_s - low_s > 1:
            now_s = min(max(next_s, low_s + 1), high_s - 1)
            depth_deg = self._depth_deg(now_s)
            if (depth_deg < 0) == gets_dark:
                high_s = now_s
            else:
                low_s = now_s
            tries += 1
            next_s = (low_s + high_s) // 2
            if tries < _NEWTON_TRIES:
                slope_deg_per_s = self._path.slope_deg_per_s(now_s)
                root_s = min(max(now_s - depth_deg / slope_deg_per_s, low_s), high_s)
                next_s = ceil(root_s)
                brisk = abs(slope_deg_per_s) > _BRISK_DEG_PER_S and abs(root_s - now_s) < _CLOSE_S
                if brisk and _UNSURE_S < next_s - root_s < 1 - _UNSURE_S:
                    return next_s
        return high_s


def elevation_deg(latitude_deg: float, longitude_deg: float, at_utc: datetime) -> float:
    """Give the height of the sun's centre over a place, without refraction.

    Args:
        latitude_deg: north positive, -90 to 90.
        longitude_deg: east positive, -180 to 180.
        at_utc: an aware instant; parts of a second do not count.

    Returns:
        Degrees, negative below the horizon; within 0.012 degrees of JPL DE421.

    Raises:
        ValueError: a place that is not on the earth, or a naive time.
    """
    return Sky(latitude_deg, longitude_deg).elevation_deg(at_utc)
