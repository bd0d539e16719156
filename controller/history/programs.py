"""What was planned over a stretch of the past: by the programs that were in force, not by today's."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from controller.calendar.intervals import Interval, merge, ms_of, overlap
from controller.calendar.night import Night
from controller.history.clock_correction import ClockCorrection
from controller.history.outages import is_gap_of_journal, lost_since
from controller.history.site_history import SitePeriod
from controller.planning.plan import plan_night
from controller.planning.program_record import ZoneProgram, parse_program_record
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramPeriod:
    """The program of a zone, and from when to when it was in force, in milliseconds since 1970; half-open."""

    program: ZoneProgram
    starts_ms: int
    ends_ms: int


def program_periods(
    events: Iterable[Event], correction: ClockCorrection, *, starts_ms: int, ends_ms: int
) -> dict[str, list[ProgramPeriod]]:
    """Read out of events which program each zone had over a stretch.

    The events stand in the order in which they were written, beginning with the start of a keeper. The first
    program is taken to hold from the beginning of the stretch, if the keeper was at work by then.

    Returns:
        For each zone in the events its programs in order, apart. A zone may have none for a while, when it
        was not in the site file, or while another journal was written.
    """
    reader = _ProgramReader(correction, starts_ms)
    for event in events:
        reader.read(event)
    return reader.finish(ends_ms)


def planned_intervals(
    programs: Iterable[ProgramPeriod], nights: Sequence[Night], sites: Sequence[SitePeriod]
) -> list[Interval]:
    """Give when a zone was to be lit over some nights, by the programs and at the place of the time."""
    planned: list[Interval] = []
    for program in programs:
        for site in sites:
            starts_ms = max(program.starts_ms, site.starts_ms)
            ends_ms = min(program.ends_ms, site.ends_ms)
            windows = [
                (ms_of(window.on_utc), ms_of(window.off_utc))
                for night in nights
                if night.interval[0] < ends_ms and night.interval[1] > starts_ms
                for window in plan_night(program.program, night, site.place).windows
            ]
            planned += overlap(merge(windows), [(starts_ms, ends_ms)])
    return merge(planned)


class _ProgramReader:
    """Reads the events in their order and remembers the last program of each zone."""

    def __init__(self, correction: ClockCorrection, starts_ms: int) -> None:
        self._correction = correction
        self._at_ms = starts_ms
        self._current: dict[str, tuple[ZoneProgram, int]] = {}
        self._found: dict[str, list[ProgramPeriod]] = defaultdict(list)
        # Zones without a program since the keeper started again, and its first reading.
        self._silent: set[str] = set()
        self._started: Reading | None = None

    def read(self, event: Event) -> None:
        if self._started is not None and event.at != self._started:
            self._drop_silent()
        if is_gap_of_journal(event):
            self._go_to(lost_since(event, self._correction))
            for zone in list(self._current):
                self._change(zone, None)
        self._go_to(self._correction.utc_of(event.at))
        if event.kind is EventKind.STARTED:
            self._started, self._silent = event.at, set(self._current)
        elif event.kind is EventKind.PROGRAM and event.zone is not None:
            self._silent.discard(event.zone)
            self._change(event.zone, parse_program_record(event.zone, event.words))

    def _go_to(self, at_utc: datetime | None) -> None:
        """Take what follows to have been so from an instant on; from the last one known where it is not."""
        if at_utc is not None:
            self._at_ms = max(self._at_ms, ms_of(at_utc))

    def finish(self, ends_ms: int) -> dict[str, list[ProgramPeriod]]:
        """Give what was found; the last program holds until the end."""
        self._drop_silent()
        self._at_ms = ends_ms
        for zone in list(self._current):
            self._change(zone, None)
        return dict(self._found)

    def _drop_silent(self) -> None:
        """End the programs of zones that a fresh start did not record: they are not in the site file."""
        if self._started is not None:
            for zone in self._silent:
                self._change(zone, None)
            self._started, self._silent = None, set()

    def _change(self, zone: str, program: ZoneProgram | None) -> None:
        """Give a zone another program from now on; none where None."""
        before, since_ms = self._current.get(zone, (None, 0))
        if before == program:
            return
        if before is not None and since_ms < self._at_ms:
            period = ProgramPeriod(program=before, starts_ms=since_ms, ends_ms=self._at_ms)
            self._found[zone].append(period)
        self._current.pop(zone, None)
        if program is not None:
            self._current[zone] = (program, self._at_ms)
