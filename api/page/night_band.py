"""The picture of one night: its sky from left to right, and upon it a line for each zone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from api.page.sky import Colour, sky_stops
from controller.calendar.night import Night, local
from controller.planning.planner import Planner
from controller.sun.sun import SUNSET_ANGLE_DEG

# How much of the day is shown before sunset and after sunrise, and around any light.
_BESIDE = timedelta(hours=2)
_AROUND = timedelta(minutes=45)
# No hour is written nearer to an edge; a longer night has room for every third hour only.
_EDGE = timedelta(minutes=20)
_LONG = timedelta(hours=17)
# Percent of the width: a line that begins to the right of it has its name before its end.
_MIDDLE = 50.0

Stretch = tuple[datetime, datetime]


@dataclass(frozen=True, kw_only=True, slots=True)
class Bar:
    """A stretch on a zone's line, in percent of the picture's width.

    ``kind`` is "ran" (it was lit), "to come" (it will be), "held" (the program would have it lit, but it is
    not) or "asked" (somebody asked for light or dark meanwhile).
    """

    kind: str
    left: float
    width: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """A zone's line: its name stands at ``label`` percent, from there on to the right, or up to there."""

    zone: str
    name: str
    bars: tuple[Bar, ...]
    label: float
    to_left: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class NightBand:
    """A night that is laid out; places are percent of the width, ``now`` is None where it is outside."""

    stops: tuple[tuple[float, Colour], ...]
    hours: tuple[tuple[float, datetime], ...]
    lines: tuple[Line, ...]
    now: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneLight:
    """What one zone did and will do in a night."""

    zone: str
    name: str
    ran: Sequence[Stretch]
    to_come: Sequence[Stretch]
    held: Sequence[Stretch]
    asked: Sequence[Stretch]


def lay_out(planner: Planner, night: Night, zones: Sequence[ZoneLight], now_utc: datetime) -> NightBand:
    """Lay a night out, from two hours before sunset to two hours after sunrise, and wider for any light."""
    from_utc, to_utc = _edges(planner, night, zones)
    whole = to_utc - from_utc

    def place(at_utc: datetime) -> float:
        return round(min(max((at_utc - from_utc) / whole, 0.0), 1.0) * 100, 2)

    def bars(kinds: Mapping[str, Sequence[Stretch]]) -> Iterator[Bar]:
        for kind, stretches in kinds.items():
            for on_utc, off_utc in stretches:
                left, right = place(on_utc), place(off_utc)
                if right > left:
                    yield Bar(kind=kind, left=left, width=round(right - left, 2))

    lines = []
    for each in zones:
        kinds = {"held": each.held, "to come": each.to_come, "ran": each.ran, "asked": each.asked}
        drawn = tuple(bars(kinds))
        first = min((bar.left for bar in drawn), default=1.0)
        to_left = first > _MIDDLE
        label = max(bar.left + bar.width for bar in drawn) if to_left else first
        lines.append(Line(zone=each.zone, name=each.name, bars=drawn, label=label, to_left=to_left))
    return NightBand(
        stops=tuple(sky_stops(planner.sun.elevation_deg, from_utc, to_utc)),
        hours=tuple((place(at_utc), at_utc) for at_utc in _full_hours(from_utc, to_utc, planner.tz)),
        lines=tuple(lines),
        now=place(now_utc) if from_utc <= now_utc <= to_utc else None,
    )


def _edges(planner: Planner, night: Night, zones: Sequence[ZoneLight]) -> Stretch:
    """Give the first and last instant that are shown; without sunset or sunrise the whole night is."""
    sunset = planner.sun.dusk(night, SUNSET_ANGLE_DEG)
    sunrise = planner.sun.dawn(night, SUNSET_ANGLE_DEG)
    if sunset is None or sunrise is None:
        return night.starts_at_utc, night.ends_at_utc
    light = [each for zone in zones for some in (zone.ran, zone.to_come, zone.held) for each in some]
    first = min([sunset - _BESIDE, *(on_utc - _AROUND for on_utc, _ in light)])
    last = max([sunrise + _BESIDE, *(off_utc + _AROUND for _, off_utc in light)])
    return max(first, night.starts_at_utc), min(last, night.ends_at_utc)


def _full_hours(from_utc: datetime, to_utc: datetime, tz: ZoneInfo) -> Iterator[datetime]:
    """Give every second or third full hour of the clock on the wall, not too close to the edges."""
    every = 2 if to_utc - from_utc < _LONG else 3
    at_utc = from_utc + timedelta(hours=1) - timedelta(minutes=local(from_utc, tz).minute)
    at_utc = at_utc.replace(second=0, microsecond=0)
    while at_utc < to_utc - _EDGE:
        if local(at_utc, tz).hour % every == 0 and at_utc - from_utc >= _EDGE:
            yield at_utc
        at_utc += timedelta(hours=1)
