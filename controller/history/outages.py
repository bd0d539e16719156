"""When no zone, or one of them, could or should be lit, and why: read from the journal's events.

The events come in the order in which they were written. A run of the keeper begins with "started"; how it
ended stands in "stopped", or is recorded by the next run, once a trusted clock can say for how long the
garden was dark.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from controller.history.clock_correction import ClockCorrection
from controller.history.run_hours import Gap
from controller.records.entries import Cause, Event, EventKind
from controller.records.past import PastOverride

_ENDS_BADLY = {EventKind.POWER_LOST: Cause.POWER_LOST, EventKind.DIED: Cause.STOPPED}


def gaps_of(events: Sequence[Event], correction: ClockCorrection) -> list[Gap]:
    """Read gaps out of events.

    The events stand in the order in which they were written, beginning with the start of a keeper.

    Returns:
        Gaps in no order; they may overlap. Held by tests/controller/history/test_outages.py.
    """
    reader = _OutageReader(correction)
    for event in events:
        reader.read(event)
    return reader.finish()


def gaps_of_overrides(overrides: Iterable[PastOverride], correction: ClockCorrection) -> list[Gap]:
    """Give the time over which somebody wanted a zone dark."""
    gaps = []
    for past in overrides:
        override, ended = past.override, past.ended
        placed_utc = correction.utc_of(override.placed_at)
        if override.on or placed_utc is None:
            continue
        ended_utc = None if ended is None else correction.utc_of(ended.at) or ended.at.utc
        gaps.append(
            Gap(zone=override.zone, starts_at_utc=placed_utc, ends_at_utc=ended_utc, reason=Cause.OVERRIDE)
        )
    return gaps


def is_gap_of_journal(event: Event) -> bool:
    """Whether the journal has no record of the time before an event: another one was written, or it was lost.

    Version 0.1.0 did not say for how long where it had set a journal aside.
    """
    if event.kind is EventKind.JOURNAL_SET_ASIDE:
        return event.size_s is not None
    return event.kind is EventKind.JOURNAL_REPLACED


def lost_since(event: Event, correction: ClockCorrection) -> datetime | None:
    """Give since when a journal has no record, by the event that says so; None where that is not known."""
    at_utc = correction.utc_of(event.at)
    if at_utc is None or event.size_s is None:
        return None
    return at_utc - timedelta(seconds=event.size_s)


class _OutageReader:
    """Reads the events in their order and remembers what is not over yet."""

    def __init__(self, correction: ClockCorrection) -> None:
        self._correction = correction
        self._gaps: list[Gap] = []
        self._faults: dict[str | None, datetime] = {}
        # The last true instant so far, whether a keeper said then that it stopped, and the last true instant
        # of the run before.
        self._last_utc: datetime | None = None
        self._stopped = False
        self._ended_utc: datetime | None = None
        # Whether the clock of this run is not trusted, since when, and when this run began.
        self._untrusted = False
        self._untrusted_utc: datetime | None = None
        self._started_utc: datetime | None = None

    def read(self, event: Event) -> None:
        at_utc = self._correction.utc_of(event.at)
        match event.kind:
            case EventKind.STARTED:
                self._start(at_utc)
            case EventKind.JOURNAL_REPLACED | EventKind.JOURNAL_SET_ASIDE if is_gap_of_journal(event):
                self._lose_record(lost_since(event, self._correction) or self._last_utc)
            case EventKind.POWER_LOST | EventKind.DIED:
                self._add_end(event)
            case EventKind.STOPPED | EventKind.CLOCK_TRUSTED | EventKind.CLOCK_CONFIRMED:
                self._trust(at_utc)
            case EventKind.CLOCK_NOT_TRUSTED:
                self._untrusted, self._untrusted_utc = True, at_utc
            case EventKind.RELAY_FAULT if at_utc is not None:
                self._faults.setdefault(event.zone, at_utc)
            case EventKind.RELAY_RECOVERED if at_utc is not None:
                since_utc = self._faults.pop(event.zone, None) or self._began(event)
                self._add(event.zone, since_utc, at_utc, Cause.RELAY_FAULT)
            case EventKind.RESUMED:
                self._add(None, self._began(event), at_utc, Cause.STOPPED)
            case EventKind.CLOCK_STEPPED if (event.size_s or 0) > 0:
                self._add(None, self._began(event), at_utc, Cause.CLOCK_NOT_TRUSTED)
            case _:
                pass
        self._stopped = event.kind is EventKind.STOPPED
        self._last_utc = at_utc or self._last_utc

    def finish(self) -> list[Gap]:
        """Give all gaps; what is not over yet goes on."""
        self._end_faults(None)
        if self._stopped:
            self._add(None, self._last_utc, None, Cause.STOPPED)
        if self._untrusted:
            self._add_untrusted(None)
        return self._gaps

    def _start(self, at_utc: datetime | None) -> None:
        """Begin a run; the one before ended at the last true instant so far."""
        self._end_faults(self._last_utc)
        if self._stopped and at_utc is not None:
            self._add(None, self._last_utc, at_utc, Cause.STOPPED)
        elif self._untrusted and at_utc is not None:
            # A whole run without a trusted clock lies between.
            self._add_untrusted(at_utc)
        self._untrusted, self._started_utc, self._ended_utc = False, at_utc, self._last_utc

    def _add_end(self, event: Event) -> None:
        """Add the gap that a keeper found between the end of the run before and its own start."""
        since_utc = self._ended_utc
        if event.size_s is not None and self._started_utc is not None:
            since_utc = self._started_utc - timedelta(seconds=event.size_s)
        self._add(None, since_utc, self._started_utc, _ENDS_BADLY[event.kind])

    def _lose_record(self, since_utc: datetime | None) -> None:
        """End what was not over when the record did; what goes on is told anew."""
        self._end_faults(since_utc)
        self._trust(since_utc)

    def _trust(self, at_utc: datetime | None) -> None:
        """End a time without a trusted clock, because it is trusted now or the run is over."""
        if self._untrusted and at_utc is not None:
            self._add(None, self._untrusted_utc, at_utc, Cause.CLOCK_NOT_TRUSTED)
        self._untrusted = False

    def _add_untrusted(self, to_utc: datetime | None) -> None:
        """Add the time without a trusted clock: since when it was not, else since the last true instant."""
        is_recorded = self._untrusted_utc is not None
        since_utc = self._untrusted_utc or self._last_utc
        self._add(None, since_utc, to_utc, Cause.CLOCK_NOT_TRUSTED, is_recorded=is_recorded)

    def _end_faults(self, at_utc: datetime | None) -> None:
        for zone, since_utc in self._faults.items():
            self._add(zone, since_utc, at_utc, Cause.RELAY_FAULT)
        self._faults = {}

    def _began(self, event: Event) -> datetime | None:
        """Give the instant at which something began that is over now and lasted ``size_s``, in this run."""
        at_utc = self._correction.utc_of(event.at)
        if at_utc is None or event.size_s is None:
            return None
        # A clock that jumps from 1970 is "set" by decades; it was wrong since this run began, not longer.
        ran_s = event.at.boot_s
        if self._started_utc is not None:
            ran_s = (at_utc - self._started_utc).total_seconds()
        return at_utc - timedelta(seconds=min(event.size_s, ran_s))

    def _add(
        self,
        zone: str | None,
        from_utc: datetime | None,
        to_utc: datetime | None,
        reason: Cause,
        *,
        is_recorded: bool = True,
    ) -> None:
        """Add a gap, unless it is not known when it began or it is empty."""
        if from_utc is not None and (to_utc is None or to_utc > from_utc):
            self._gaps.append(
                Gap(
                    zone=zone,
                    starts_at_utc=from_utc,
                    ends_at_utc=to_utc,
                    reason=reason,
                    is_recorded=is_recorded,
                )
            )
