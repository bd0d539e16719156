"""The second opinion: when a zone should be lit, worked out in another way than the keeper's.

It shares nothing with the program under test but the text of the site file. The sun is DE421's, where the
program has astral's; its height is scanned and bisected, where the program takes Newton's steps. Local time
is turned into instants by trying the UTC offsets in force around it, where the program relies on fold.

What a second of sun decides is left open: every night is worked out with dusk and dawn a little early and a
little late, and where these differ there is no opinion.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from tests.simulation.language import EdgeText, SpanText, is_special, read_span
from tests.simulation.sun import NoOpinionError, Stretches, sun_over

# Sunset is at 50 arc minutes: 34' of refraction and 16' of semidiameter (US Naval Observatory).
SUNSET_DEG = 50 / 60
# How far astral's sun may stand from DE421's: tests/controller/sun/test_against_de421.py measures it.
SUN_OFF_DEG = 0.0141 + 0.0024
# The program's edges of darkness are whole seconds.
WHOLE_S = 1.0
NOON_S = 12 * 3600
_A_DAY = timedelta(days=1)


class Part(NamedTuple):
    """From an instant on, whether a zone's program lights it; None without an opinion."""

    from_s: float
    lit: bool | None


class Standing(NamedTuple):
    """What holds for a zone from an instant on, and until when.

    Attributes:
        lit: whether its program lights it; None without an opinion.
        lit_from_s: when it will be lit for sure, and ``dark_from_s`` when it will be dark, at the earliest;
            some noon within two nights where it will not be before.
    """

    since_s: float
    until_s: float
    lit: bool | None
    lit_from_s: float
    dark_from_s: float


NOTHING = Standing(0.0, 0.0, None, 0.0, 0.0)


class Lean(NamedTuple):
    """Which way a sun is a little off: whether dark begins late in it, and whether it ends late."""

    begins_late: bool
    ends_late: bool


# Only where two edges limit each other must the last two be tried as well.
LEANS = (Lean(False, True), Lean(True, False), Lean(False, False), Lean(True, True))


class Oracle:
    """The windows of a site's zones by brute force, kept night by night; instants in seconds since 1970."""

    def __init__(self, text: str) -> None:
        """Take the text of a site file."""
        document: dict[str, Any] = tomllib.loads(text)
        site = document["site"]
        self.tz = ZoneInfo(site["time_zone"])
        self.zones: dict[str, dict[str, Any]] = {zone["id"]: zone for zone in document["zones"]}
        self._dusk_deg = float(site["dusk_angle"])
        self._sun = sun_over(site["latitude"], site["longitude"])
        self._parts: dict[tuple[str, date], list[Part]] = {}
        self._noons: dict[date, float] = {}
        # The night that was asked for last: when it begins and ends, and its date.
        self._night = (0.0, 0.0, date.min)
        self._standing: dict[str, Standing] = {}

    # -- local time ------------------------------------------------------------------------------------------

    def instant_s(self, day: date, clock_s: int) -> float:
        """Turn a wall time into an instant: the first of two, or counted on from before a gap."""
        guess = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(seconds=clock_s)
        around = [guess + timedelta(hours=hours) for hours in (-26, 26)]
        offsets = {at.astimezone(self.tz).utcoffset() or timedelta(0) for at in around}
        fits = [guess - each for each in offsets if (guess - each).astimezone(self.tz).utcoffset() == each]
        if fits:
            return min(fits).timestamp()
        return (guess - (around[0].astimezone(self.tz).utcoffset() or timedelta(0))).timestamp()

    def night_date(self, at_s: float) -> date:
        """Name the night of an instant."""
        begins_s, ends_s, known = self._night
        if begins_s <= at_s < ends_s:
            return known
        day = datetime.fromtimestamp(at_s, self.tz).date()
        if at_s < self.noon_s(day):
            day -= _A_DAY
        self._night = self.noon_s(day), self.noon_s(day + _A_DAY), day
        return day

    def noon_s(self, day: date) -> float:
        """Give the instant at which a night begins."""
        if day not in self._noons:
            self._noons[day] = self.instant_s(day, NOON_S)
        return self._noons[day]

    # -- questions -------------------------------------------------------------------------------------------

    def lit(self, zone: str, at_s: float) -> bool | None:
        """Say whether a zone's program lights it at an instant; None without an opinion."""
        return self.look(zone, at_s).lit

    def next_change_s(self, zone: str, at_s: float) -> tuple[float, float] | None:
        """Give between which instants the light must change next; None: not within two nights."""
        now, day = self.lit(zone, at_s), self.night_date(at_s)
        earliest_s = None
        for each in (day, day + _A_DAY, day + 2 * _A_DAY):
            for part in self.parts(zone, each):
                if part.from_s <= at_s or part.lit is now:
                    continue
                earliest_s = part.from_s if earliest_s is None else earliest_s
                if part.lit is not None:
                    return earliest_s, part.from_s
        return None if earliest_s is None else (earliest_s, float("inf"))

    def parts(self, zone: str, day: date) -> list[Part]:
        """Cut a night wherever the opinion on a zone changes; the first part begins at noon."""
        key = (zone, day)
        if key not in self._parts:
            self._parts[key] = self._cut(zone, day)
        return self._parts[key]

    def look(self, zone: str, at_s: float) -> Standing:
        """Say what holds for a zone at an instant, and until when, at least to the next noon."""
        found = self._standing.get(zone, NOTHING)
        if not found.since_s <= at_s < found.until_s:
            # What was seen is remembered, since nothing changes until then.
            day = self.night_date(at_s)
            parts, tomorrow = self.parts(zone, day), self.parts(zone, day + _A_DAY)
            place = bisect_right(parts, at_s, key=lambda part: part.from_s)
            lit, ends_s = parts[place - 1].lit, self.noon_s(day + 2 * _A_DAY)
            ahead = [*parts[place:], *tomorrow]
            until_s = next((part.from_s for part in ahead if part.lit is not lit), ends_s)
            lit_s, dark_s = (
                next((part.from_s for part in ahead if part.lit is which), ends_s) for which in (True, False)
            )
            found = self._standing[zone] = Standing(at_s, until_s, lit, lit_s, dark_s)
        return found

    # -- program ---------------------------------------------------------------------------------------------

    def _cut(self, zone: str, day: date) -> list[Part]:
        noon_s, next_s = self.noon_s(day), self.noon_s(day + _A_DAY)
        program = [read_span(text) for text in self._program(zone, day)]
        leans = LEANS if any(span.at_most_s for span in program) else LEANS[:2]
        try:
            nights = [self._resolve(program, day, lean) for lean in leans]
        except NoOpinionError:
            return [Part(noon_s, None)]
        parts: list[Part] = []
        edges = {edge for night in nights for window in night for edge in window if edge < next_s}
        for at_s in sorted({noon_s, *edges}):
            answers = {any(on <= at_s < off for on, off in night) for night in nights}
            lit = answers.pop() if len(answers) == 1 else None
            if not parts or parts[-1].lit is not lit:
                parts.append(Part(at_s, lit))
        return parts

    def _program(self, zone: str, day: date) -> list[str]:
        """Give the spans of a night: those of the last special night that it is, else the usual ones."""
        found = self.zones[zone]
        program: list[str] = found["program"]
        for special in found.get("special_nights", ()):
            if is_special(special["nights"], day):
                program = special.get("program", [])
        return program

    def _resolve(self, program: list[SpanText], day: date, lean: Lean) -> Stretches:
        """Give the windows of a night."""
        begins_s, ends_s = self.noon_s(day), self.noon_s(day + _A_DAY)
        lit: Stretches = []
        for span in program:
            for on_s, off_s in self._span(span, day, lean):
                if max(on_s, begins_s) < min(off_s, ends_s):
                    lit.append((max(on_s, begins_s), min(off_s, ends_s)))
        return lit

    def _dark(self, day: date, angle_deg: float, lean: Lean) -> Stretches:
        """Give the stretches of a night in which the sun is below an angle."""
        noon_s, next_s = self.noon_s(day), self.noon_s(day + _A_DAY)
        wide = self._sun.below(noon_s, next_s, angle_deg - SUN_OFF_DEG)
        narrow = self._sun.below(noon_s, next_s, angle_deg + SUN_OFF_DEG)
        if len(wide) != len(narrow):
            raise NoOpinionError
        return [
            (
                late_s + WHOLE_S * (late_s > noon_s) if lean.begins_late else on_s,
                off_s + WHOLE_S * (off_s < next_s) if lean.ends_late else early_s,
            )
            for (on_s, off_s), (late_s, early_s) in zip(wide, narrow, strict=True)
        ]

    def _span(self, span: SpanText, day: date, lean: Lean) -> Stretches:
        on_s = self._edge(span.begins, day, lean)
        if on_s is None:
            return []
        off_s = None if span.ends is None else self._edge(span.ends, day, lean)
        if span.lasts_s is not None:
            off_s = on_s + span.lasts_s
        if off_s is None or off_s <= on_s:
            return []
        on_s, off_s = max(on_s, self.noon_s(day)), min(off_s, self.noon_s(day + _A_DAY))
        pieces = [(on_s, off_s)]
        if span.while_dark:
            dark = self._dark(day, self._dusk_deg, lean)
            pieces = [(max(on_s, d), min(off_s, e)) for d, e in dark if max(on_s, d) < min(off_s, e)]
        if span.at_most_s is not None:
            left_s = float(span.at_most_s)
            limited: Stretches = []
            for start_s, stop_s in pieces:
                length_s = min(stop_s - start_s, left_s)
                if length_s > 0:
                    limited.append((start_s, start_s + length_s))
                left_s -= length_s
            pieces = limited
        return pieces

    def _edge(self, edge: EdgeText, day: date, lean: Lean) -> float | None:
        if not edge.event:
            at_s = self.instant_s(day if edge.after_s >= NOON_S else day + _A_DAY, edge.after_s)
            return min(max(at_s, self.noon_s(day)), self.noon_s(day + _A_DAY))
        angle_deg = self._dusk_deg if edge.event in ("dusk", "dawn") else SUNSET_DEG
        stretches = self._dark(day, angle_deg, lean)
        if not stretches:
            return None
        return (stretches[0][0] if edge.event in ("sunset", "dusk") else stretches[-1][1]) + edge.after_s


# A program that is started again mostly finds the same site file, whose nights are known by then.
oracle_of = lru_cache(maxsize=4)(Oracle)
