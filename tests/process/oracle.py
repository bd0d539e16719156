"""What the lights must do, from outside: the sun by DE421, clock times by RFC 5545 and the package tzdata."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property

import numpy as np

from tests.reference import zone
from tests.reference.de421 import sun_heights_deg

# Definitions of the US Naval Observatory, see tests/reference/README.md.
SUNSET_DEG = -50 / 60
DUSK_DEG = -6.0


@dataclass(frozen=True, kw_only=True)
class Instant:
    """When something must happen, and how far astral's sun may be off there, in seconds."""

    at_utc: datetime
    tolerance_s: float = 0.0

    def __add__(self, later: timedelta) -> Instant:
        """The same later."""
        return Instant(at_utc=self.at_utc + later, tolerance_s=self.tolerance_s)


@dataclass(frozen=True, kw_only=True)
class Edge:
    """One change of one zone's light that the program asks for."""

    zone: str
    on: bool
    at: Instant


@dataclass(frozen=True)
class NightOutside:
    """One night at one place, worked out without Leerie: from one local noon to the next."""

    latitude_deg: float
    longitude_deg: float
    time_zone: str
    date: date

    def clock(self, text: str) -> Instant:
        """Give a clock time: the first of two, and by the offset from before a gap. RFC 5545, 3.3.5."""
        at = time.fromisoformat(text)
        on = self.date if at >= time(12) else self.date + timedelta(days=1)
        # A wall-clock time with fold=0 is read by zoneinfo just so, PEP 495.
        return Instant(at_utc=datetime.combine(on, at, zone(self.time_zone)).astimezone(UTC))

    @property
    def midnight(self) -> Instant:
        """The first instant of the next date."""
        return self.clock("00:00")

    @cached_property
    def dusk(self) -> Instant:
        """The sun sinks to 6 degrees below the horizon; the night's beginning where it is lower already."""
        return self._crossing(DUSK_DEG, sinking=True)

    @cached_property
    def dawn(self) -> Instant:
        """It rises to 6 degrees below."""
        return self._crossing(DUSK_DEG, sinking=False)

    @cached_property
    def sunset(self) -> Instant:
        """Its centre sinks to 50' below the horizon."""
        return self._crossing(SUNSET_DEG, sinking=True)

    def _crossing(self, angle_deg: float, *, sinking: bool) -> Instant:
        """Find where DE421's sun passes an angle: between two minutes, then between two seconds."""
        begins_utc = self.clock("12:00").at_utc
        ends_utc = replace(self, date=self.date + timedelta(days=1)).clock("12:00").at_utc
        lasts_s = (ends_utc - begins_utc).total_seconds()
        if self._above_deg(angle_deg, begins_utc, [0.0])[0] < 0 and sinking:
            return Instant(at_utc=begins_utc)
        by_minutes = self._above_deg(angle_deg, begins_utc, np.arange(0, lasts_s, 60))
        minutes = self._passes(by_minutes, sinking=sinking)
        from_utc = begins_utc + timedelta(minutes=minutes)
        above_deg = self._above_deg(angle_deg, from_utc, range(61))
        second = self._passes(above_deg, sinking=sinking)
        deg_per_s = abs(above_deg[second + 1] - above_deg[second])
        part = abs(above_deg[second]) / deg_per_s
        # tests/reference/README.md: astral's sun is up to 0.011 degrees off; a second is lost in rounding.
        tolerance_s = 1 + 1.1 * 0.01 / deg_per_s
        return Instant(at_utc=from_utc + timedelta(seconds=second + part), tolerance_s=tolerance_s)

    def _above_deg(self, angle_deg: float, from_utc: datetime, seconds: Iterable[float]) -> np.ndarray:
        return sun_heights_deg(self.latitude_deg, self.longitude_deg, from_utc, seconds) - angle_deg

    @staticmethod
    def _passes(above_deg: np.ndarray, *, sinking: bool) -> int:
        """Give the place after which the sign changes the way that is asked for; it must do so once."""
        before, after = above_deg[:-1], above_deg[1:]
        found = np.flatnonzero((before >= 0) & (after < 0) if sinking else (before < 0) & (after >= 0))
        assert len(found) == 1, f"the sun passes the angle {len(found)} times; choose another night"
        return int(found[0])


Window = tuple[Instant, Instant]
# What a program asks for in a night, in words of its own.
Resolve = Callable[[NightOutside], list[Window]]


def edges_of(zone_id: str, windows: Iterable[Window]) -> list[Edge]:
    """Give the changes of light that windows make."""
    found = []
    for on, off in windows:
        assert on.at_utc < off.at_utc, f"{zone_id} has a window that is none; choose other spans"
        found += [Edge(zone=zone_id, on=True, at=on), Edge(zone=zone_id, on=False, at=off)]
    return found


def is_lit(windows: Iterable[Window], at_utc: datetime) -> bool | None:
    """Say whether a zone is lit at an instant; None where it is too near to an edge to say."""
    lit = False
    for on, off in windows:
        for edge in (on, off):
            if abs((edge.at_utc - at_utc).total_seconds()) <= edge.tolerance_s:
                return None
        lit = lit or on.at_utc <= at_utc < off.at_utc
    return lit
