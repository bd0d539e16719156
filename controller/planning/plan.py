"""The plan of a night: from a zone's program to the windows in which it is lit, or why there are none."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from config.models.site import Zone
from config.phrase import Phrase
from config.program.spans import ClockEdge, Span, SunEdge, SunEvent
from controller.calendar.intervals import first_part, merge, overlap
from controller.calendar.night import Night, clock_in_night, local
from controller.records.entries import Cause
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun

if TYPE_CHECKING:
    # What the journal says a zone was to do; not needed to start the lights.
    from controller.planning.program_record import ZoneProgram

EVERY_NIGHT = "every night"


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Spans resolved for one night: lit from ``on_utc`` up to, not including, ``off_utc``.

    ``span`` is the text of the span; where several spans touch or overlap, their texts joined by "and".
    """

    on_utc: datetime
    off_utc: datetime
    span: str


@dataclass(frozen=True, kw_only=True, slots=True)
class NoLight:
    """A span that gives no light in a night, and why.

    Attributes:
        words: the reason.
        event: the moment of the sun that does not come; None where it is for another reason.
        begins_utc: where the span would begin and end, in the night or not; None where the sun decides.
    """

    span: Span
    words: Phrase
    event: SunEvent | None = None
    begins_utc: datetime | None = None
    ends_utc: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class NightPlan:
    """What one zone does in one night.

    Attributes:
        windows: disjoint, in order, inside the night; empty for a dark night.
        because: "every night" or the special night that decides; for a dark night, what made it dark.
        cause: whether the program or a special night decided.
        nights: "every night", or the special night's condition as written.
        no_light: the spans that give none.
    """

    night: Night
    zone: str
    windows: tuple[Window, ...]
    because: str
    cause: Cause
    nights: str
    no_light: tuple[NoLight, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanContext:
    """Where a night is planned: the sun over it, the degrees below the horizon at dusk, and the time zone."""

    sun: Sun
    dusk_angle_deg: float
    tz: ZoneInfo


class _NoLight(Exception):  # noqa: N818 - a reason, not an error
    """Why a span gives no light in a night: in words, and what NoLight has beside."""

    def __init__(
        self,
        words: Phrase,
        *,
        event: SunEvent | None = None,
        begins: datetime | None = None,
        ends: datetime | None = None,
    ) -> None:
        super().__init__(words)
        self.words = words
        self.event = event
        self.begins_utc = begins
        self.ends_utc = ends

    def of(self, span: Span) -> NoLight:
        """Give the value."""
        return NoLight(
            span=span,
            words=self.words,
            event=self.event,
            begins_utc=self.begins_utc,
            ends_utc=self.ends_utc,
        )


def plan_night(zone: Zone | ZoneProgram, night: Night, place: PlanContext) -> NightPlan:
    """Resolve a zone's program for one night.

    Returns:
        The windows of the night, or the reason for having none. A night without dusk or dawn raises nothing.
    """
    # The last special night in the file that matches the night's own date decides.
    special = next((each for each in reversed(zone.special_nights) if each.nights.match(night.date)), None)
    program = zone.program if special is None else special.program
    nights = EVERY_NIGHT if special is None else f"special night {special.nights}"
    windows: list[Window] = []
    no_light: list[NoLight] = []
    for span in program:
        try:
            lit = _lit(span, night, place)
            windows += [Window(on_utc=on, off_utc=off, span=str(span)) for on, off in lit]
        except _NoLight as reason:
            no_light.append(reason.of(span))
    because = nights
    if not windows:
        because = "; ".join(f"{each.span}: {each.words}" for each in no_light) or "no light"
        if special is not None:
            because = f"{nights}: {because}"
    return NightPlan(
        night=night,
        zone=zone.id,
        windows=_merge(windows),
        because=because,
        cause=Cause.PROGRAM if special is None else Cause.SPECIAL_NIGHT,
        nights=nights,
        no_light=tuple(no_light),
    )


def _lit(span: Span, night: Night, place: PlanContext) -> list[tuple[datetime, datetime]]:
    """Give when a span is lit in a night; raises ``_NoLight`` where it is not."""
    begins = _instant(span.begins, night, place)
    if span.lasts is not None:
        ends = begins + timedelta(seconds=span.lasts.seconds)
    else:
        assert span.ends is not None, "a span has an end or a duration"
        ends = _instant(span.ends, night, place)
    if ends <= begins:
        first, last = _edge_text(span.begins, begins, place), _edge_text(span.ends, ends, place)
        words = Phrase("{first} is not before {last}", first=first, last=last)
        raise _NoLight(words, begins=begins, ends=ends)
    lit = overlap([(begins, ends)], [(night.starts_at_utc, night.ends_at_utc)])
    if not lit:
        first, last = _clock(begins, place), _clock(ends, place)
        words = Phrase("{first} to {last} is outside this night", first=first, last=last)
        raise _NoLight(words, begins=begins, ends=ends)
    if span.while_dark:
        dark = place.sun.dark_intervals(night, place.dusk_angle_deg)
        lit = overlap(lit, [(each.starts_at_utc, each.ends_at_utc) for each in dark])
        if not lit:
            first, last = _clock(begins, place), _clock(ends, place)
            words = Phrase("it is never dark from {first} to {last}", first=first, last=last)
            raise _NoLight(words, begins=begins, ends=ends)
    if span.at_most is not None:
        # A limit on the light, not on the span.
        lit = first_part(lit, timedelta(seconds=span.at_most.seconds))
    return lit


def _instant(edge: ClockEdge | SunEdge, night: Night, place: PlanContext) -> datetime:
    """Give the instant of an edge in a night; raises ``_NoLight`` where the sun does not reach it."""
    if isinstance(edge, ClockEdge):
        return clock_in_night(night, edge.hour, edge.minute, place.tz)
    twilight = edge.event in (SunEvent.DUSK, SunEvent.DAWN)
    angle_deg = place.dusk_angle_deg if twilight else SUNSET_ANGLE_DEG
    find = place.sun.dawn if edge.event in (SunEvent.DAWN, SunEvent.SUNRISE) else place.sun.dusk
    at_utc = find(night, angle_deg)
    if at_utc is None:
        words = Phrase("no {event} this night, the sun does not set", event=str(edge.event))
        if twilight:
            words = Phrase(
                "no {event} this night, the sun does not sink {angle:g}° below the horizon",
                event=str(edge.event),
                angle=angle_deg,
            )
        raise _NoLight(words, event=edge.event)
    return at_utc + timedelta(seconds=edge.offset_s)


def _merge(windows: list[Window]) -> tuple[Window, ...]:
    """Merge windows that overlap or touch: no relay is switched where one span hands over to the next."""
    if len(windows) == 1:  # as nearly always
        return tuple(windows)
    windows.sort(key=lambda window: (window.on_utc, window.off_utc))
    merged = []
    for on_utc, off_utc in merge((window.on_utc, window.off_utc) for window in windows):
        spans = dict.fromkeys(window.span for window in windows if on_utc <= window.on_utc < off_utc)
        merged.append(Window(on_utc=on_utc, off_utc=off_utc, span=" and ".join(spans)))
    return tuple(merged)


def _edge_text(edge: ClockEdge | SunEdge | None, at_utc: datetime, place: PlanContext) -> str:
    """Name an edge, with its local time where the name does not say it."""
    return f"{edge} ({_clock(at_utc, place)})" if isinstance(edge, SunEdge) else _clock(at_utc, place)


def _clock(at_utc: datetime, place: PlanContext) -> str:
    return f"{local(at_utc, place.tz):%H:%M}"
