"""The plan of a night: from a zone's program to the windows in which it is lit, or why there are none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from config.program.spans import ClockEdge, Span, SunEdge, SunEvent
from config.program.special_nights import Nights
from controller.calendar.night import Night, clock_in_night, local
from controller.records.entries import Cause
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun

EVERY_NIGHT = "every night"


class SpecialNightLike(Protocol):
    """What the plan needs of a special night."""

    @property
    def nights(self) -> Nights:
        """On which nights it holds."""

    @property
    def program(self) -> Sequence[Span]:
        """What the zone does then; empty for a dark night."""


class ZoneLike(Protocol):
    """What the plan needs of a zone."""

    @property
    def id(self) -> str:
        """Id of the zone."""

    @property
    def program(self) -> Sequence[Span]:
        """What it does every night."""

    @property
    def special_nights(self) -> Sequence[SpecialNightLike]:
        """Nights that differ; the last one that matches decides."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Spans resolved for one night: lit from ``on_utc`` up to, not including, ``off_utc``.

    ``span`` is the text of the span; where several spans touch or overlap, their texts joined by "and".
    """

    on_utc: datetime
    off_utc: datetime
    span: str


@dataclass(frozen=True, kw_only=True, slots=True)
class NightPlan:
    """What one zone does in one night.

    Attributes:
        night: the night.
        zone: id of the zone.
        windows: disjoint, in order, inside the night; empty for a dark night.
        because: "every night" or the special night that decides; for a dark night, what made it dark.
        cause: whether the program or a special night decided.
        nights: "every night", or the special night's condition as written.
    """

    night: Night
    zone: str
    windows: tuple[Window, ...]
    because: str
    cause: Cause
    nights: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanContext:
    """Where a night is planned: the sky, the degrees below the horizon at dusk, and the time zone."""

    sun: Sun
    dusk_angle_deg: float
    tz: ZoneInfo


def plan_night(zone: ZoneLike, night: Night, place: PlanContext) -> NightPlan:
    """Resolve a zone's program for one night.

    Args:
        zone: the zone, with its program and special nights.
        night: the night to plan.
        place: the sky over the site, its angle of dusk and its time zone.

    Returns:
        The windows of the night, or the reason for having none. Never raises for want of a sun.
    """
    special = _special_night(zone, night)
    program = zone.program if special is None else special.program
    cause = Cause.PROGRAM if special is None else Cause.SPECIAL_NIGHT
    nights = EVERY_NIGHT if special is None else f"special night {special.nights}"
    lit: list[Window] = []
    dark: list[str] = []
    for span in program:
        windows, why_dark = _windows_of_span(span, night, place)
        lit += windows
        if not windows:
            dark.append(f"{span}: {why_dark}")
    merged = _union(lit)
    because = nights
    if not merged:
        reason = "; ".join(dark) or "no light"
        because = reason if special is None else f"{nights}: {reason}"
    return NightPlan(night=night, zone=zone.id, windows=merged, because=because, cause=cause, nights=nights)


def _special_night(zone: ZoneLike, night: Night) -> SpecialNightLike | None:
    """Find the special night that decides: the last in the file that matches the night's own date."""
    for special in reversed(zone.special_nights):
        if special.nights.match(night.date):
            return special
    return None


def _windows_of_span(span: Span, night: Night, place: PlanContext) -> tuple[list[Window], str]:
    """Resolve one span; without windows, the second value says why there is no light."""
    begins = _instant(span.begins, night, place)
    if isinstance(begins, str):
        return [], begins
    if span.lasts is not None:
        ends: datetime | str = begins + timedelta(seconds=span.lasts.seconds)
    else:
        assert span.ends is not None, "a span has an end or a duration"
        ends = _instant(span.ends, night, place)
    if isinstance(ends, str):
        return [], ends
    if ends <= begins:
        return [], f"{_spoken(span.begins, begins, place)} is not before {_spoken(span.ends, ends, place)}"
    stretches = _clip([(begins, ends)], night.starts_at_utc, night.ends_at_utc)
    if not stretches:
        return [], f"{_at(begins, place)} to {_at(ends, place)} lies outside this night"
    if span.while_dark:
        dark = place.sun.dark_intervals(night, place.dusk_angle_deg)
        stretches = [
            piece for each in dark for piece in _clip(stretches, each.starts_at_utc, each.ends_at_utc)
        ]
        if not stretches:
            return [], f"it is never dark from {_at(begins, place)} to {_at(ends, place)}"
    if span.at_most is not None:
        stretches = _first_seconds(stretches, span.at_most.seconds)
    text = str(span)
    return [Window(on_utc=on, off_utc=off, span=text) for on, off in stretches], ""


def _instant(edge: ClockEdge | SunEdge, night: Night, place: PlanContext) -> datetime | str:
    """Say when an edge falls in a night, or in words why it does not."""
    if isinstance(edge, ClockEdge):
        return clock_in_night(night, edge.hour, edge.minute, place.tz)
    twilight = edge.event in (SunEvent.DUSK, SunEvent.DAWN)
    angle_deg = place.dusk_angle_deg if twilight else SUNSET_ANGLE_DEG
    rises = edge.event in (SunEvent.DAWN, SunEvent.SUNRISE)
    at = place.sun.dawn(night, angle_deg) if rises else place.sun.dusk(night, angle_deg)
    if at is None:
        if twilight:
            return f"no {edge.event} this night, the sun does not sink {angle_deg:g}° below the horizon"
        return f"no {edge.event} this night, the sun does not set"
    return at + timedelta(seconds=edge.offset_s)


Stretches = list[tuple[datetime, datetime]]


def _clip(stretches: Stretches, starts_at_utc: datetime, ends_at_utc: datetime) -> Stretches:
    """Keep what lies inside the two instants."""
    clipped = [(max(on, starts_at_utc), min(off, ends_at_utc)) for on, off in stretches]
    return [(on, off) for on, off in clipped if on < off]


def _first_seconds(stretches: Stretches, lasts_s: float) -> Stretches:
    """Keep the first so many seconds of light: "at most" is a limit on light, not on the span."""
    left = timedelta(seconds=lasts_s)
    kept: Stretches = []
    for on, off in stretches:
        if left <= timedelta(0):
            break
        off_at_most = min(off, on + left)
        kept.append((on, off_at_most))
        left -= off_at_most - on
    return kept


def _union(windows: Iterable[Window]) -> tuple[Window, ...]:
    """Merge windows that overlap or touch: no relay is switched where one span hands over to the next."""
    merged: list[Window] = []
    for window in sorted(windows, key=lambda each: (each.on_utc, each.off_utc)):
        if merged and window.on_utc <= merged[-1].off_utc:
            merged[-1] = _joined(merged[-1], window)
        else:
            merged.append(window)
    return tuple(merged)


def _joined(first: Window, second: Window) -> Window:
    """Make one window of two that overlap or touch, naming each span once."""
    span = first.span
    if second.span not in span.split(" and "):
        span = f"{span} and {second.span}"
    return Window(on_utc=first.on_utc, off_utc=max(first.off_utc, second.off_utc), span=span)


def _spoken(edge: ClockEdge | SunEdge | None, at_utc: datetime, place: PlanContext) -> str:
    """Name an edge, with its local time where the name does not tell it."""
    return f"{edge} ({_at(at_utc, place)})" if isinstance(edge, SunEdge) else _at(at_utc, place)


def _at(at_utc: datetime, place: PlanContext) -> str:
    """Local wall-clock time of an instant, to the minute."""
    return f"{local(at_utc, place.tz):%H:%M}"
