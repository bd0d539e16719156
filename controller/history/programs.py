"""What was planned over a stretch of the past: by the programs that were in force, not by today's."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from controller.calendar.intervals import Interval, merge, ms_of, overlap
from controller.calendar.night import Night
from controller.history.clock_correction import ClockCorrection
from controller.planning.plan import PlanContext, ZoneLike, plan_night
from controller.planning.program_text import ZoneProgram, parse_program_record
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramPeriod:
    """What a zone was told to do, and from when to when, in milliseconds since 1970; half-open."""

    told: ZoneProgram
    starts_ms: int
    ends_ms: int


def program_periods(
    events: Iterable[Event], true_time: ClockCorrection, *, starts_ms: int, ends_ms: int
) -> dict[str, list[ProgramPeriod]]:
    """Read out of events what each zone was told to do over a stretch.

    Args:
        events: in the order in which they were written, beginning with the start of a keeper.
        true_time: knows the true instants of their readings.
        starts_ms: beginning of the stretch; what was told first is taken to hold from here on, if the keeper
            was at work by then.
        ends_ms: its end, not included.

    Returns:
        For each zone that was told anything, its programs in order, apart. A zone may be told nothing for a
        while, when the site file did not have it.
    """
    walk = _Walk(true_time, starts_ms)
    for event in events:
        walk.take(event)
    return walk.finish(ends_ms)


def planned_intervals(
    programs: Iterable[ProgramPeriod], nights: Sequence[Night], place: PlanContext
) -> list[Interval]:
    """Give when a zone was to be lit over some nights, by the programs that were in force.

    Args:
        programs: what it was told, apart and in order.
        nights: in order.
        place: the sky over the site, its angle of dusk and its time zone.
    """
    planned: list[Interval] = []
    for program in programs:
        inside = [(program.starts_ms, program.ends_ms)]
        windows = [
            window
            for night in nights
            if ms_of(night.starts_at_utc) < program.ends_ms and ms_of(night.ends_at_utc) > program.starts_ms
            for window in windows_of(program.told, night, place)
        ]
        planned += overlap(merge(windows), inside)
    return merge(planned)


def windows_of(zone: ZoneLike, night: Night, place: PlanContext) -> list[Interval]:
    """Plan one zone for one night, as intervals."""
    windows = plan_night(zone, night, place).windows
    return [(ms_of(window.on_utc), ms_of(window.off_utc)) for window in windows]


class _Walk:
    """Goes along the events and remembers what each zone was told last."""

    def __init__(self, true_time: ClockCorrection, starts_ms: int) -> None:
        """Nobody was told anything yet."""
        self._true = true_time
        self._at_ms = starts_ms
        self._told: dict[str, tuple[ZoneProgram, int]] = {}
        self._found: dict[str, list[ProgramPeriod]] = defaultdict(list)
        # Zones that a keeper that just started has not told of yet, and its first reading.
        self._silent: set[str] = set()
        self._started: Reading | None = None

    def take(self, event: Event) -> None:
        """Take the next event."""
        if self._started is not None and event.at != self._started:
            self._drop_silent()
        at_utc: datetime | None = self._true.of(event.at)
        if at_utc is not None:
            self._at_ms = max(self._at_ms, ms_of(at_utc))
        if event.kind is EventKind.STARTED:
            self._started, self._silent = event.at, set(self._told)
        elif event.kind is EventKind.PROGRAM and event.zone is not None:
            self._silent.discard(event.zone)
            self._tell(event.zone, parse_program_record(event.zone, event.words))

    def finish(self, ends_ms: int) -> dict[str, list[ProgramPeriod]]:
        """Give what was found; what was told last holds until the end."""
        self._drop_silent()
        self._at_ms = ends_ms
        for zone in list(self._told):
            self._tell(zone, None)
        return dict(self._found)

    def _drop_silent(self) -> None:
        """Let go of zones that a fresh start no longer told of: the site file does not have them."""
        if self._started is not None:
            for zone in self._silent:
                self._tell(zone, None)
            self._started, self._silent = None, set()

    def _tell(self, zone: str, told: ZoneProgram | None) -> None:
        """Tell a zone something else from now on; nothing at all where None."""
        before = self._told.get(zone)
        if before is not None and before[0] == told:
            return
        if before is not None and before[1] < self._at_ms:
            self._found[zone].append(ProgramPeriod(told=before[0], starts_ms=before[1], ends_ms=self._at_ms))
        if told is None:
            self._told.pop(zone, None)
        else:
            self._told[zone] = (told, self._at_ms)
