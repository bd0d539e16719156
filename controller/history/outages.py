"""From the journal's events to gaps: when no zone, or one of them, could or should be lit, and why.

The events come in the order in which they were written. A keeper's life begins with "started"; how it ended
is told by "stopped", or by the next keeper, once a trusted clock can say for how long the garden was dark.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from controller.history.clock_correction import ClockCorrection
from controller.history.run_hours import Gap
from controller.records.entries import Cause, Event, EventKind, Override, OverrideEnded

_ENDS_BADLY = {EventKind.POWER_LOST: Cause.POWER_LOST, EventKind.DIED: Cause.STOPPED}


def gaps_of(events: Sequence[Event], true_time: ClockCorrection) -> list[Gap]:
    """Read gaps out of events.

    Args:
        events: in the order in which they were written, beginning with the start of a keeper.
        true_time: knows the true instants of their readings.

    Returns:
        Gaps in no order; they may overlap. Held by tests/controller/history/test_outages.py.
    """
    walk = _Walk(true_time)
    for event in events:
        walk.take(event)
    return walk.finish()


def gaps_of_overrides(
    overrides: Iterable[tuple[Override, OverrideEnded | None]], true_time: ClockCorrection
) -> list[Gap]:
    """Give the time over which somebody wanted a zone dark.

    Args:
        overrides: each with its end, None while it is in force.
        true_time: knows the true instants of their readings.
    """
    gaps = []
    for override, ended in overrides:
        placed_utc = true_time.of(override.placed_at)
        if override.on or placed_utc is None:
            continue
        ended_utc = None if ended is None else true_time.of(ended.at) or ended.at.utc
        gaps.append(
            Gap(zone=override.zone, starts_at_utc=placed_utc, ends_at_utc=ended_utc, reason=Cause.OVERRIDE)
        )
    return gaps


class _Walk:
    """Goes along the events and remembers what is not over yet."""

    def __init__(self, true_time: ClockCorrection) -> None:
        """Begin before the first life."""
        self._true = true_time
        self._gaps: list[Gap] = []
        self._faults: dict[str | None, datetime] = {}
        # The last true instant that was heard of, whether a keeper said then that it stopped, and what was
        # the last one of the life before.
        self._last_utc: datetime | None = None
        self._stopped = False
        self._ended_utc: datetime | None = None
        # From when on the clock of this life is not trusted, and when this life began.
        self._doubt_utc: datetime | None = None
        self._doubting = False
        self._started_utc: datetime | None = None

    def take(self, event: Event) -> None:
        """Take the next event."""
        at_utc = self._true.of(event.at)
        match event.kind:
            case EventKind.STARTED:
                self._start(at_utc)
            case EventKind.POWER_LOST | EventKind.DIED:
                self._tell_end(event)
            case EventKind.STOPPED:
                self._trust(at_utc)
            case EventKind.CLOCK_NOT_TRUSTED:
                self._doubting, self._doubt_utc = True, at_utc
            case EventKind.CLOCK_TRUSTED:
                self._trust(at_utc)
            case EventKind.RELAY_FAULT if at_utc is not None:
                self._faults.setdefault(event.zone, at_utc)
            case EventKind.RELAY_RECOVERED if at_utc is not None:
                self._recover(event, at_utc)
            case EventKind.RESUMED:
                self._add(None, self._before(event), at_utc, Cause.STOPPED)
            case EventKind.CLOCK_STEPPED if (event.size_s or 0) > 0:
                self._add(None, self._before(event), at_utc, Cause.CLOCK_NOT_TRUSTED)
            case _:
                pass
        self._stopped = event.kind is EventKind.STOPPED
        self._last_utc = at_utc or self._last_utc

    def finish(self) -> list[Gap]:
        """Give all gaps; what is not over yet goes on."""
        self._end_faults(None)
        if self._stopped:
            self._add(None, self._last_utc, None, Cause.STOPPED)
        if self._doubting:
            self._add(None, self._doubt_utc or self._last_utc, None, Cause.CLOCK_NOT_TRUSTED)
        return self._gaps

    def _start(self, at_utc: datetime | None) -> None:
        """Begin a life; the one before ended when it was last heard of."""
        self._end_faults(self._last_utc)
        if self._stopped and at_utc is not None:
            self._add(None, self._last_utc, at_utc, Cause.STOPPED)
        elif self._doubting and at_utc is not None:
            # A whole life without a trusted clock lies between.
            self._add(None, self._doubt_utc or self._last_utc, at_utc, Cause.CLOCK_NOT_TRUSTED)
        self._doubting, self._started_utc, self._ended_utc = False, at_utc, self._last_utc

    def _tell_end(self, event: Event) -> None:
        """Take what a keeper says of how the one before it ended."""
        if event.size_s is not None and self._started_utc is not None:
            since_utc: datetime | None = self._started_utc - timedelta(seconds=event.size_s)
        else:
            since_utc = self._ended_utc
        self._add(None, since_utc, self._started_utc, _ENDS_BADLY[event.kind])

    def _trust(self, at_utc: datetime | None) -> None:
        """End a time of doubt, because the clock is trusted or the life is over."""
        if self._doubting and at_utc is not None:
            self._add(None, self._doubt_utc, at_utc, Cause.CLOCK_NOT_TRUSTED)
        self._doubting = False

    def _recover(self, event: Event, at_utc: datetime) -> None:
        """End a relay's fault."""
        since_utc = self._faults.pop(event.zone, None) or self._before(event)
        self._add(event.zone, since_utc, at_utc, Cause.RELAY_FAULT)

    def _end_faults(self, at_utc: datetime | None) -> None:
        """End all faults with a life, or leave them open."""
        for zone, since_utc in self._faults.items():
            self._add(zone, since_utc, at_utc, Cause.RELAY_FAULT)
        self._faults = {}

    def _before(self, event: Event) -> datetime | None:
        """Give the instant at which something began that is over now and lasted ``size_s``, in this life."""
        at_utc = self._true.of(event.at)
        if at_utc is None or event.size_s is None:
            return None
        # A clock that jumps from 1970 is "set" by decades; it was wrong since this life began, not longer.
        lived_s = event.at.boot_s
        if self._started_utc is not None:
            lived_s = (at_utc - self._started_utc).total_seconds()
        return at_utc - timedelta(seconds=min(event.size_s, lived_s))

    def _add(
        self, zone: str | None, from_utc: datetime | None, to_utc: datetime | None, reason: Cause
    ) -> None:
        """Note a gap, unless nobody knows when it began or it is none."""
        if from_utc is not None and (to_utc is None or to_utc > from_utc):
            self._gaps.append(Gap(zone=zone, starts_at_utc=from_utc, ends_at_utc=to_utc, reason=reason))
