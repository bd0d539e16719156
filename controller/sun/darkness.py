"""Where one night is darker than one angle: which way the sun passes it, and at which second.

An edge is a whole second, because astral reads whole seconds: a stretch begins at the first second at which
the sun is below the angle and ends at the first at which it no longer is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil, cos, radians, sin

from controller.calendar.night import Night
from controller.sun.approximation import GUIDE_ERROR, SunApproximation

_NEWTON_TRIES = 6  # two or three are enough; after that halving the interval is sure to arrive
# Up to 45 degrees from the horizon the sun's path bends by at most 6e-7 degrees per second squared. So where
# it passes faster than 1e-4 degrees a second (2.6e-3 at 51.5 N), a height within 2 s of the root tells the
# root to 0.012 s. Only a root nearer than 0.05 s to a whole second needs the height once more.
_STRAIGHT_UP_TO_DEG = 45.0
_BRISK_RAD_PER_S = radians(1e-4)
_CLOSE_S = 2.0
_UNSURE_S = 0.05


@dataclass(frozen=True, kw_only=True, slots=True)
class DarkInterval:
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


class Darkness:
    """Where one night is darker than one angle; an edge is found when it is first asked for."""

    __slots__ = (
        "_angle_deg",
        "_begins_dark",
        "_edges",
        "_elevation_deg",
        "_flips",
        "_night",
        "_path",
        "_sine",
    )

    def __init__(
        self,
        night: Night,
        angle_deg: float,
        path: SunApproximation,
        turnings_s: list[int],
        elevation_deg: Callable[[datetime], float],
    ) -> None:
        """Tell between which turnings of the sun the night gets dark or light.

        Args:
            night: the night to look at.
            angle_deg: degrees below the horizon, positive downwards.
            path: the guide to that night.
            turnings_s: where the guide turns.
            elevation_deg: the sun's height at an instant, the last word on it.
        """
        self._night = night
        self._angle_deg = angle_deg
        self._sine = sin(radians(-angle_deg))
        self._path = path
        self._elevation_deg = elevation_deg
        self._flips: list[tuple[int, int, bool]] = []  # not yet, by then, whether it gets dark
        # The last second is the last point: the night's end is the next night's. And a night without length,
        # of a date that the zone skipped, is never dark.
        points_s = [0, *turnings_s, path.lasts_s - 1] if path.lasts_s else []
        self._begins_dark = was_dark = False
        for place in range(len(points_s)):  # a point may be moved on the way
            above = path.sine_at(points_s[place]) - self._sine
            is_dark = above < 0 if abs(above) > GUIDE_ERROR else self._is_dark_at(points_s, place)
            if not place:
                self._begins_dark = is_dark
            elif is_dark != was_dark:
                self._flips.append((points_s[place - 1], points_s[place], is_dark))
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

    def stretches(self) -> tuple[DarkInterval, ...]:
        """Give all stretches."""
        edges = [self._edge(number) for number in range(len(self._flips))]
        if self._begins_dark:
            edges.insert(0, self._night.starts_at_utc)
        if len(edges) % 2:
            edges.append(self._night.ends_at_utc)
        pairs = zip(edges[::2], edges[1::2], strict=True)
        return tuple(DarkInterval(starts_at_utc=starts, ends_at_utc=ends) for starts, ends in pairs)

    def _above_deg(self, after_s: int) -> float:
        """Give how far the sun stands above the angle; negative where it is dark."""
        at_utc = self._night.starts_at_utc + timedelta(seconds=after_s)
        return self._elevation_deg(at_utc) + self._angle_deg

    def _is_dark_at(self, points_s: list[int], place: int) -> bool:
        """Whether it is dark where the guide cannot tell; a turning is moved to its very second."""
        if 0 < place < len(points_s) - 1:
            points_s[place] = self._turning_s(points_s[place - 1], points_s[place + 1], points_s[place])
        return self._above_deg(points_s[place]) < 0

    def _turning_s(self, low_s: int, high_s: int, guess_s: int) -> int:
        """Give the very second at which the sun turns, between two neighbouring points."""
        lowest = self._path.sine_at(guess_s) < self._path.sine_at(low_s)
        while high_s - low_s > 1:
            middle_s = (low_s + high_s) // 2
            climbs = self._above_deg(middle_s) > self._above_deg(middle_s - 1)
            if climbs == lowest:
                high_s = middle_s
            else:
                low_s = middle_s
        return low_s

    def _edge(self, number: int) -> datetime:
        """Give the first whole second after a change between dark and light."""
        known = self._edges[number]
        if known is None:
            after_s = self._first_second(*self._flips[number])
            known = self._edges[number] = self._night.starts_at_utc + timedelta(seconds=after_s)
        return known

    def _first_second(self, low_s: int, high_s: int, gets_dark: bool) -> int:  # noqa: FBT001 (one of a flip)
        """Give the first second at which it is as it is at ``high_s``; it is not yet so at ``low_s``.

        The sun's height itself decides, whatever the guide said: the search ends with two seconds side by
        side on either side of the angle, or with a height so close to it that the slope settles the second.
        """
        next_s = ceil(self._path.crossing_s(low_s, high_s, self._sine, climbs=not gets_dark))
        straight = abs(self._angle_deg) <= _STRAIGHT_UP_TO_DEG
        brisk = _BRISK_RAD_PER_S * cos(radians(self._angle_deg))
        tries = 0
        while high_s - low_s > 1:
            now_s = min(max(next_s, low_s + 1), high_s - 1)
            above_deg = self._above_deg(now_s)
            if (above_deg < 0) == gets_dark:
                high_s = now_s
            else:
                low_s = now_s
            tries += 1
            next_s = (low_s + high_s) // 2
            if tries < _NEWTON_TRIES:
                above = sin(radians(above_deg - self._angle_deg)) - self._sine
                slope_per_s = self._path.sine_and_slope_at(now_s)[1]
                root_s = min(max(now_s - above / slope_per_s, low_s), high_s)
                next_s = ceil(root_s)
                sure = straight and abs(slope_per_s) > brisk and abs(root_s - now_s) < _CLOSE_S
                if sure and _UNSURE_S < next_s - root_s < 1 - _UNSURE_S:
                    return next_s
        return high_s
