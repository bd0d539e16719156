"""When the sun is below an angle in one night, to the second.

An edge is a whole second, because astral reads whole seconds: an interval begins at the first second at which
the sun is below the angle and ends at the first at which it no longer is.
"""

from bisect import bisect_left
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil, radians, sin

from controller.calendar.night import Night
from controller.sun.approximation import GUIDE_ERROR, SunApproximation

_NEWTON_TRIES = 6  # two or three are enough; after that halving the interval is sure to arrive


@dataclass(frozen=True, kw_only=True, slots=True)
class DarkInterval:
    """One unbroken time of darkness.

    Attributes:
        starts_at_utc: first whole second at which the sun is below the angle, or the night's beginning.
        ends_at_utc: first whole second at which it no longer is, or the night's end.
    """

    starts_at_utc: datetime
    ends_at_utc: datetime

    def __post_init__(self) -> None:
        if self.ends_at_utc <= self.starts_at_utc:
            edges = f"{self.starts_at_utc} to {self.ends_at_utc}"
            raise ValueError(f"a dark interval ends after it begins, got {edges}")


class Darkness:
    """When one night is darker than one angle; an edge is found when it is first asked for."""

    __slots__ = ("_begins_dark", "_edges", "_flips", "_night", "_path", "_sine")

    def __init__(self, night: Night, angle_deg: float, path: SunApproximation) -> None:
        self._night = night
        self._sine = sin(radians(-angle_deg))
        self._path = path
        self._flips: list[tuple[int, int, bool]] = []  # not yet, by then, and whether it gets dark
        # The last second is the last point: the night's end is the next night's. And a night without length,
        # of a date that the zone skipped, is never dark.
        points_s = [0, *path.extrema_s, path.lasts_s - 1] if path.lasts_s else []
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
        """Give the beginning of the first interval."""
        if self._begins_dark:
            return self._night.starts_at_utc
        return self._edge(0) if self._flips else None

    def dawn(self) -> datetime | None:
        """Give the end of the last interval."""
        if self._begins_dark != bool(len(self._flips) % 2):
            return self._night.ends_at_utc
        return self._edge(-1) if self._flips else None

    def intervals(self) -> tuple[DarkInterval, ...]:
        """Give all of them, in order."""
        edges = [self._edge(number) for number in range(len(self._flips))]
        if self._begins_dark:
            edges.insert(0, self._night.starts_at_utc)
        if len(edges) % 2:
            edges.append(self._night.ends_at_utc)
        pairs = zip(edges[::2], edges[1::2], strict=True)
        return tuple(DarkInterval(starts_at_utc=starts, ends_at_utc=ends) for starts, ends in pairs)

    def _is_dark_at(self, points_s: list[int], place: int) -> bool:
        """Whether it is dark where the guide is too close to call; an extremum is moved to its second."""
        if 0 < place < len(points_s) - 1:
            points_s[place] = self._extremum_s(points_s[place - 1], points_s[place + 1], points_s[place])
        return self._path.exact_sine_at(points_s[place]) < self._sine

    def _extremum_s(self, low_s: int, high_s: int, guess_s: int) -> int:
        """Give the exact second at which the sun is highest or lowest, between two neighbouring points."""
        sine_at, lowest = self._path.exact_sine_at, self._path.sine_at(guess_s) < self._path.sine_at(low_s)

        def is_past(at_s: int) -> bool:
            return (sine_at(at_s) > sine_at(at_s - 1)) == lowest

        return low_s + bisect_left(range(low_s + 1, high_s), x=True, key=is_past)

    def _edge(self, number: int) -> datetime:
        """Give the first whole second after a change between dark and light."""
        known = self._edges[number]
        if known is None:
            after_s = self._first_second(*self._flips[number])
            known = self._edges[number] = self._night.starts_at_utc + timedelta(seconds=after_s)
        return known

    def _first_second(self, low_s: int, high_s: int, gets_dark: bool) -> int:  # noqa: FBT001 (one of a flip)
        """Give the first second at which it is as it is at ``high_s``; it is not yet so at ``low_s``.

        Where the path is not certain of the second, the exact position decides: the search ends with two
        seconds side by side on either side of the angle.
        """
        root_s, sure = self._path.crossing_s(low_s, high_s, self._sine, climbs=not gets_dark)
        if sure:
            return ceil(root_s)
        tries = 0
        while high_s - low_s > 1:
            now_s = ceil(root_s) if tries < _NEWTON_TRIES else (low_s + high_s) // 2
            now_s = min(max(now_s, low_s + 1), high_s - 1)
            above = self._path.exact_sine_at(now_s) - self._sine
            low_s, high_s = (low_s, now_s) if (above < 0) == gets_dark else (now_s, high_s)
            root_s = now_s - above / self._path.sine_and_slope_at(now_s)[1]
            root_s = min(max(root_s, low_s), high_s)
            tries += 1
        return high_s
