"""Entries on their way to the journal, kept in memory until they are written, and what is in force."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from controller.planning.program_text import REMOVED
from controller.records.entries import (
    Entry,
    Event,
    EventKind,
    FixtureIds,
    Heartbeat,
    Override,
    OverrideEnded,
    SiteRecord,
    Switching,
)
from controller.records.reading import Reading

# Entries that are kept in memory, about 10 MB of them. At 200 entries a day a full disk may last seven weeks.
BOUND = 10_000


@dataclass(frozen=True, kw_only=True, slots=True)
class CloseOpenRuns:
    """Asks that every run which an earlier keeper left lit be ended; ``now`` is the new keeper's start."""

    now: Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class StartFresh:
    """Says what is in force to a file that is not the one written last; all else in it is over.

    Attributes:
        kind: of the event that says so; ``words`` are what was found.
    """

    state: CurrentState
    now: Reading
    kind: EventKind
    words: str


Work = Entry | CloseOpenRuns | StartFresh

# Where too many wait, the lowest rank is dropped first: a later heartbeat says all that an earlier one did,
# and what was lit when matters more than what else happened.
_RANKS: dict[type, int] = {Heartbeat: 0, Event: 1, Switching: 3, CloseOpenRuns: 4}
_OTHER_RANK = 2


class WriteQueue:
    """Keeps work in order, from one thread that puts it in to another that writes it.

    What is being written goes on waiting until it is removed, so a write that fails changes nothing here.

    Args:
        bound: the most that waits, at least 1.
    """

    def __init__(self, bound: int = BOUND) -> None:
        if bound < 1:
            raise ValueError(f"a queue holds at least one entry, got a bound of {bound}")
        self._bound = bound
        self._waiting: deque[Work] = deque()
        self._lock = threading.Lock()
        self.lost = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, work: Work) -> None:
        """Add one, never the same object twice; where too many wait, drop the oldest of the lowest rank."""
        with self._lock:
            self._waiting.append(work)
            if len(self._waiting) > self._bound:
                ranks = [_RANKS.get(type(each), _OTHER_RANK) for each in self._waiting]
                del self._waiting[ranks.index(min(ranks))]
                self.lost += 1

    def all(self) -> tuple[Work, ...]:
        """Give all that waits, oldest first."""
        with self._lock:
            return tuple(self._waiting)

    def remove(self, works: Iterable[Work], *, lost: int = 0) -> None:
        """Remove what was written, and count how many of it never can be."""
        with self._lock:
            written = {id(work) for work in works}
            kept = [work for work in self._waiting if id(work) not in written]
            # What was dropped while it was being written is not lost after all.
            self.lost += lost - (len(written) - (len(self._waiting) - len(kept)))
            self._waiting = deque(kept)


class CurrentState:
    """What is in force by the entries that this keeper wrote, and what it found in force at its start.

    Attributes:
        lit, overrides: what lights each zone, and what overrides it.
        started: the keeper's own start; None before it is written.
        programs, faults: the events that say what each zone is to do, and which relays do not answer.
        site, fixtures: what the site is, and what its fixtures are called; None before that was recorded.
        confirmed: the event that a person confirmed the clock, while nothing else has been found since.
    """

    def __init__(self, entries: Iterable[Switching | Override] = ()) -> None:
        self.lit: dict[str, Switching] = {}
        self.overrides: dict[str, Override] = {}
        self.started: Event | None = None
        self.programs: dict[str, Event] = {}
        self.faults: dict[str, Event] = {}
        self.site: SiteRecord | None = None
        self.fixtures: FixtureIds | None = None
        self.confirmed: tuple[Event, ...] = ()
        self.update(entries)

    def update(self, written: Iterable[Work]) -> None:
        """Follow entries that were written."""
        for work in written:
            match work:
                case Switching(on=True):
                    self.lit[work.zone] = work
                case Switching():
                    self.lit.pop(work.zone, None)
                case Override():
                    self.overrides[work.zone] = work
                case OverrideEnded():
                    self.overrides.pop(work.zone, None)
                case CloseOpenRuns():
                    self.lit.clear()
                case SiteRecord():
                    self.site = work
                case FixtureIds():
                    self.fixtures = work
                case Event(zone=str(zone)):
                    self._follow(work, zone)
                case Event():
                    self._follow_board(work)

    def _follow_board(self, event: Event) -> None:
        """Follow an event of the whole board."""
        match event.kind:
            case EventKind.STARTED:
                self.started = event
            case EventKind.CLOCK_CONFIRMED:
                self.confirmed = (event,)
            case EventKind.CLOCK_TRUSTED | EventKind.CLOCK_NOT_TRUSTED:
                self.confirmed = ()

    def _follow(self, event: Event, zone: str) -> None:
        """Follow an event of one zone."""
        match event.kind:
            case EventKind.PROGRAM if event.words == REMOVED:
                self.programs.pop(zone, None)
                self.faults.pop(zone, None)
            case EventKind.PROGRAM:
                self.programs[zone] = event
            case EventKind.RELAY_FAULT:
                self.faults[zone] = event
            case EventKind.RELAY_RECOVERED:
                self.faults.pop(zone, None)
