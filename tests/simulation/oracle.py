"""The second opinion: when a zone should be lit, worked out in another way than the keeper's.

It shares only the site file's models with the program under test. The sun is scanned every half hour
and then bisected, where the program splits the night at the sun's extremes and takes Newton's steps. Local
time is turned into instants by trying the UTC offsets in force around it, where the program relies on fold.
Windows are kept as a set of stretches, and every question is answered by looking through them.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import elevation

from config.models.site import Site, Zone
from config.program.spans import ClockEdge, Span, SunEdge

# Sunset is at 50 arc minutes: 34' of refraction and 16' of semidiameter (US Naval Observatory).
SUNSET_DEG = 50 / 60
SCAN = timedelta(minutes=30)
# Within half a scan of its turn the sun's height changes by at most 1 - cos(3.75 degrees), 0.12 degrees.
# A night whose sun turns this close to the angle may hide a stretch shorter than the scan: no opinion.
TOO_CLOSE_DEG = 0.2

Stretches = list[tuple[datetime, datetime]]


class NoOpinionError(Exception):
    """The sun turns too close to the angle to say."""


class ScannedSun:
    """The sun over one place: its height is scanned, and every crossing of an angle bisected."""

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        """Take the place."""
        self._observer = Observer(latitude_deg, longitude_deg, 0.0)
        self._heights: dict[tuple[datetime, datetime], list[tuple[datetime, float]]] = {}
        self._below: dict[tuple[datetime, datetime, float], Stretches] = {}

    def below(self, begins: datetime, ends: datetime, angle_deg: float) -> Stretches:
        """Give the stretches between two instants in which the sun is below an angle.

        Raises:
            NoOpinionError: the sun turns so close to the angle that a stretch may be hidden.
        """
        key = (begins, ends, angle_deg)
        if key not in self._below:
            self._below[key] = self._find_below(begins, ends, angle_deg)
        return self._below[key]

    def _height(self, at: datetime) -> float:
        return elevation(self._observer, at, with_refraction=False)

    def _scan(self, begins: datetime, ends: datetime) -> list[tuple[datetime, float]]:
        """Give the heights from one scan before to one after, both ends among them."""
        key = (begins, ends)
        if key not in self._heights:
            inside = [begins + SCAN * n for n in range(-(-(ends - begins) // SCAN))]
            instants = [begins - SCAN, *inside, ends, ends + SCAN]
            self._heights[key] = [(at, self._height(at)) for at in instants]
        return self._heights[key]

    def _find_below(self, begins: datetime, ends: datetime, angle_deg: float) -> Stretches:
        heights = self._scan(begins, ends)
        for (_, one), (_, two), (_, three) in zip(heights, heights[1:], heights[2:], strict=False):
            turns = (two - one) * (three - two) <= 0
            if turns and abs(two + angle_deg) < TOO_CLOSE_DEG:
                raise NoOpinionError
        heights = heights[1:-1]
        stretches: Stretches = []
        since = begins if heights[0][1] < -angle_deg else None
        for (at, high), (then, low) in pairwise(heights):
            was, becomes = high < -angle_deg, low < -angle_deg
            if was == becomes:
                continue
            edge = self._bisect(at, then, angle_deg, dark_after=becomes)
            if becomes:
                since = edge
            elif since is not None:
                stretches.append((since, edge))
                since = None
        if since is not None:
            stretches.append((since, ends))
        return stretches

    def _bisect(self, early: datetime, late: datetime, angle_deg: float, *, dark_after: bool) -> datetime:
        while late - early > timedelta(seconds=1):
            middle = early + (late - early) / 2
            if (self._height(middle) < -angle_deg) == dark_after:
                late = middle
            else:
                early = middle
        return late


# A site file that is rewritten keeps its place nearly always.
scanned_sun = lru_cache(maxsize=8)(ScannedSun)


class Oracle:
    """Windows of a site's zones by brute force, remembered night by night."""

    def __init__(self, site: Site) -> None:
        """Take the site."""
        self.site = site
        self.tz = ZoneInfo(site.time_zone)
        self._sun = scanned_sun(site.latitude_deg, site.longitude_deg)
        self._windows: dict[tuple[str, date], Stretches | None] = {}
        self._noons: dict[date, datetime] = {}
        self._standing: dict[str, tuple[datetime, datetime, bool | None, datetime | None]] = {}

    # -- local time ------------------------------------------------------------------------------------------

    def instant(self, naive: datetime) -> datetime:
        """Turn a wall time into an instant: the first of two, or counted on from before a gap."""
        guess = naive.replace(tzinfo=UTC)
        around = [guess + timedelta(hours=hours) for hours in (-26, 26)]
        offsets = {at.astimezone(self.tz).utcoffset() for at in around}
        fits = sorted(
            guess - offset
            for offset in offsets
            if offset is not None and (guess - offset).astimezone(self.tz).utcoffset() == offset
        )
        if fits:
            return fits[0]
        before = around[0].astimezone(self.tz).utcoffset()
        assert before is not None
        return guess - before

    def night_date(self, at: datetime) -> date:
        """Name the night of an instant."""
        day = at.astimezone(self.tz).date()
        return day if at >= self.noon(day) else day - timedelta(days=1)

    def noon(self, day: date) -> datetime:
        """Give the instant at which a night begins."""
        if day not in self._noons:
            self._noons[day] = self.instant(datetime(day.year, day.month, day.day, 12))  # noqa: DTZ001
        return self._noons[day]

    def _dark(self, day: date, angle_deg: float) -> Stretches:
        """Give the stretches of a night in which the sun is below an angle."""
        return self._sun.below(self.noon(day), self.noon(day + timedelta(days=1)), angle_deg)

    # -- program ---------------------------------------------------------------------------------------------

    def windows(self, zone: Zone, day: date) -> Stretches | None:
        """Give the stretches in which a zone's program lights it in a night; None without an opinion."""
        key = (zone.id, day)
        if key not in self._windows:
            try:
                self._windows[key] = self._resolve(zone, day)
            except NoOpinionError:
                self._windows[key] = None
        return self._windows[key]

    def lit(self, zone: Zone, at: datetime) -> bool | None:
        """Say whether a zone's program lights it at an instant; None without an opinion."""
        return self._look(zone, at)[2]

    def next_edge(self, zone: Zone, at: datetime) -> datetime | None:
        """Give the first edge of a window after an instant, in its night or the next."""
        return self._look(zone, at)[3]

    def _look(self, zone: Zone, at: datetime) -> tuple[datetime, datetime, bool | None, datetime | None]:
        """Look at an instant, or remember what was seen where nothing can have changed since."""
        standing = self._standing.get(zone.id)
        if standing is None or not standing[0] <= at < standing[1]:
            day = self.night_date(at)
            windows = self.windows(zone, day)
            lit = None if windows is None else any(on <= at < off for on, off in windows)
            edge = self._edge_after(zone, day, at)
            ends = self.noon(day + timedelta(days=1))
            standing = (at, ends if edge is None else min(edge, ends), lit, edge)
            self._standing[zone.id] = standing
        return standing

    def _edge_after(self, zone: Zone, day: date, at: datetime) -> datetime | None:
        for each in (day, day + timedelta(days=1)):
            edges = [edge for window in self.windows(zone, each) or [] for edge in window if edge > at]
            if edges:
                return min(edges)
        return None

    def _resolve(self, zone: Zone, day: date) -> Stretches:
        program = zone.program
        for special in zone.special_nights:
            if special.nights.match(day):
                program = special.program
        begins, ends = self.noon(day), self.noon(day + timedelta(days=1))
        lit: Stretches = []
        for span in program:
            lit += [
                (max(on, begins), min(off, ends))
                for on, off in self._span(span, day)
                if max(on, begins) < min(off, ends)
            ]
        return lit

    def _span(self, span: Span, day: date) -> Stretches:
        on = self._edge(span.begins, day)
        if on is None:
            return []
        off = on + timedelta(seconds=span.lasts.seconds) if span.lasts else self._edge(span.ends, day)
        if off is None or off <= on:
            return []
        on, off = max(on, self.noon(day)), min(off, self.noon(day + timedelta(days=1)))
        pieces = [(on, off)]
        if span.while_dark:
            dark = self._dark(day, self.site.dusk_angle_deg)
            pieces = [(max(on, d), min(off, e)) for d, e in dark if max(on, d) < min(off, e)]
        if span.at_most:
            left = timedelta(seconds=span.at_most.seconds)
            limited: Stretches = []
            for start, stop in pieces:
                length = min(stop - start, left)
                if length > timedelta(0):
                    limited.append((start, start + length))
                left -= length
            pieces = limited
        return pieces

    def _edge(self, edge: ClockEdge | SunEdge | None, day: date) -> datetime | None:
        assert edge is not None
        if isinstance(edge, ClockEdge):
            on_day = day if edge.hour >= 12 else day + timedelta(days=1)
            naive = datetime(on_day.year, on_day.month, on_day.day, edge.hour, edge.minute)  # noqa: DTZ001
            at = self.instant(naive)
            return min(max(at, self.noon(day)), self.noon(day + timedelta(days=1)))
        angle_deg = self.site.dusk_angle_deg if edge.event in ("dusk", "dawn") else SUNSET_DEG
        stretches = self._dark(day, angle_deg)
        if not stretches:
            return None
        at = stretches[0][0] if edge.event in ("sunset", "dusk") else stretches[-1][1]
        return at + timedelta(seconds=edge.offset_s)
