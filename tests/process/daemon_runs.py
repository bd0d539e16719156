"""The runs of a daemon that is killed and started again, from outside and by its journal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from controller.journal.writer import DIED
from controller.keeper.keeper import TICK_S
from controller.keeper.recorder import HELD_UP_S
from controller.records.entries import Event, EventKind, Switching
from controller.records.reading import Reading
from tests.process.comparison import Match, edges_in, is_passed_over, match_up
from tests.process.gardens import Garden
from tests.process.oracle import Edge, NightOutside, Window


def _many(minutes: int, lasts: int) -> list[str]:
    """Write spans of some minutes, one after the other through the night."""
    starts = range(17 * 60, 34 * 60, minutes)
    return [f"{_clock(start)} to {_clock(start + lasts)}" for start in starts]


def _clock(minutes: int) -> str:
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _resolve(night: NightOutside, spans: list[str]) -> list[Window]:
    found = []
    for span in spans:
        on, off = (night.clock(text) for text in span.split(" to "))
        found.append((on, off))
    return found


# The clock goes from 02:00 back to 01:00 in this night. Two spans are lit in the first of two hours only.
OFTEN = _many(20, 9)
GARDEN = Garden(
    name="Sorrel Landing",
    night=NightOutside(41.4901, -71.3128, "America/New_York", date(2027, 11, 6)),
    starts_at_utc=datetime(2027, 11, 6, 21, 10, tzinfo=UTC),
    ends_at_utc=datetime(2027, 11, 8, 16, 30, tzinfo=UTC),
    nights=2,
    programs={
        "jetty": (("dusk to midnight",), lambda n: [(n.dusk, n.midnight)]),
        "lane": (("dusk to dawn",), lambda n: [(n.dusk, n.dawn)]),
        "often": (tuple(OFTEN), lambda n: _resolve(n, OFTEN)),
    },
)

# Every zone that comes on waits for its turn, and each turn may come late without being noted.
CERTAIN_S = HELD_UP_S * len(GARDEN.programs)


@dataclass(kw_only=True)
class DaemonRun:
    """One run of the daemon, from outside and by the journal; times are of the boot-time clock.

    Attributes:
        launched_s, killed_s: from outside.
        ready_s: when it said that the lights are right; None where it ended before.
        meant: whether the kill was to come right after a switching.
        started: its first reading, from the journal; None where it never reached it.
        own: the switchings that it made, from the journal.
        closed: those that the next run made for it.
        events: what else it wrote.
    """

    launched_s: float
    killed_s: float
    ready_s: float | None
    meant: bool
    started: Reading | None = None
    own: list[Switching] = field(default_factory=list)
    closed: list[Switching] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)

    @property
    def heard_s(self) -> float:
        """The last that the journal knows of it."""
        readings = [each.at for each in (*self.own, *self.closed)] + [each.at for each in self.events]
        return max(reading.boot_s for reading in readings)

    def utc(self, boot_s: float) -> datetime:
        """Say what its wall clock said at a time of the boot-time clock."""
        assert self.started is not None
        return self.started.utc + timedelta(seconds=boot_s - self.started.boot_s)

    @property
    def _certain_s(self) -> float:
        """Up to when all that was switched is in the journal.

        A kill may come between two entries of one round, so the last recorded round does not count:
        nothing that came due since the one before it.
        """
        last_s = self.heard_s
        held_up_s = sum(
            each.size_s or 0.0
            for each in self.events
            if each.kind is EventKind.RESUMED and each.at.boot_s == last_s
        )
        return last_s - held_up_s - TICK_S - CERTAIN_S

    def boot_s(self, utc: datetime) -> float:
        """Say what the boot-time clock said at an instant of its wall clock."""
        assert self.started is not None
        return self.started.boot_s + (utc - self.started.utc).total_seconds()

    def lit_s(self, zone_id: str) -> float:
        """Say for how long a zone was lit, by its switchings and by those that closed them.

        A run that nobody has closed yet, as in the last run, counts for nothing: so does the account.
        """
        rows = [each for each in (*self.own, *self.closed) if each.zone == zone_id]
        if rows and rows[-1].on:
            rows.pop()
        return sum(-each.at.boot_s if each.on else each.at.boot_s for each in rows)

    def wanted(self) -> tuple[list[Match], list[Edge]]:
        """Pair what it had to do with what it did, and give what it had to do but did not write."""
        assert self.started is not None
        edges, unclear = edges_in(
            GARDEN.windows,
            self.started.utc,
            self.utc(self.killed_s),
            switchings=self.own,
            events=self.events,
        )
        edges = [edge for edge in edges if edge.zone not in unclear]
        own = [each for each in self.own if each.zone not in unclear]
        matches = match_up(edges, own, heard_utc=self.utc(self._certain_s))
        done = {(match.edge.zone, match.edge.at.at_utc) for match in matches}
        return matches, [edge for edge in edges if (edge.zone, edge.at.at_utc) not in done]

    def wanted_s(self, zone_id: str) -> float:
        """Say for how long a zone had to be lit, from the start to its last entry."""
        assert self.started is not None
        from_utc, to_utc = self.started.utc, self.utc(self.heard_s)
        own = [each for each in self.own if each.zone == zone_id]
        turns = len(GARDEN.programs)
        return sum(
            max(0.0, (min(off.at_utc, to_utc) - max(on.at_utc, from_utc)).total_seconds())
            for on, off in GARDEN.windows[zone_id]
            if not is_passed_over((on, off), from_utc, own=own, events=self.events, turns=turns)
        )

    def left_lit(self) -> set[str]:
        """Name the zones that it was the last to light, by the journal."""
        last = {each.zone: each.on for each in self.own}
        return {zone_id for zone_id, on in last.items() if on}


def sort_by_run(runs: Sequence[DaemonRun], switchings: Sequence[Switching], events: Sequence[Event]) -> None:
    """Sort every entry of a journal to the run that made it."""
    for event in events:
        run = _run_at(runs, event.at.boot_s)
        run.events.append(event)
        if event.kind is EventKind.STARTED:
            assert run.started is None, f"a run that started twice: {run}"
            run.started = event.at
    for switching in switchings:
        run = _run_at(runs, switching.at.boot_s)
        (run.closed if switching.words == DIED else run.own).append(switching)


def with_entries(runs: Sequence[DaemonRun]) -> list[DaemonRun]:
    """Leave out the runs that ended before they wrote anything."""
    return [run for run in runs if run.started is not None]


def _run_at(runs: Sequence[DaemonRun], boot_s: float) -> DaemonRun:
    found = [run for run in runs if run.launched_s <= boot_s <= run.killed_s]
    assert len(found) == 1, f"an entry at {boot_s} is of no run"
    return found[0]
