"""Entries on their way to the journal, kept in memory while it cannot take them, and what is in force."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable, Sequence

from controller.journal.writer import CloseOpenRuns, StartFresh, Work
from controller.records.entries import Event, Heartbeat, Override, OverrideEnded, Switching

# Entries that are kept in memory, about 10 MB of them. At 200 entries a day a full disk may last seven weeks.
BOUND = 10_000


def _worth(work: Work) -> int:
    """Rank what waits: the lowest is given up first.

    A later beat says all that an earlier one did, and what was lit when matters more than what else happened.
    """
    match work:
        case Heartbeat():
            return 0
        case Event():
            return 1
        case Switching():
            return 3
        case CloseOpenRuns() | StartFresh():
            return 4
        case _:
            return 2


class WriteQueue:
    """Keeps entries in order, from one thread that puts them in to another that takes them out.

    Taking is in two steps: ``take`` hands out all that waits, then ``done`` forgets it or ``requeue`` keeps
    it. While some is taken, as much again may be put in; so twice the bound is the most that is ever held.

    Args:
        bound: the most entries that wait.
    """

    def __init__(self, bound: int = BOUND) -> None:
        """Begin empty."""
        if bound < 1:
            raise ValueError(f"an queue holds at least one entry, got a bound of {bound}")
        self._bound = bound
        self._waiting: deque[Work] = deque()
        self._taken: tuple[Work, ...] = ()
        self._lost = 0
        self._lock = threading.Lock()

    def __len__(self) -> int:
        """Count what is not written yet."""
        with self._lock:
            return len(self._waiting) + len(self._taken)

    @property
    def lost(self) -> int:
        """Count what was given up."""
        return self._lost

    def put(self, work: Work) -> None:
        """Add one at the end; too many, and one that matters less is given up."""
        with self._lock:
            self._waiting.append(work)
            self._shrink()

    def put_first(self, work: Work) -> None:
        """Add one before all that waits."""
        with self._lock:
            self._waiting.appendleft(work)
            self._shrink()

    def take(self) -> tuple[Work, ...]:
        """Hand out all that waits, oldest first."""
        with self._lock:
            self._taken = (*self._taken, *self._waiting)
            self._waiting.clear()
            return self._taken

    def done(self, *, lost: int = 0) -> None:
        """Forget what was taken: it is written, but for ``lost`` of it that never can be."""
        with self._lock:
            self._taken = ()
            self._lost += lost

    def forget(self, works: Iterable[Work]) -> None:
        """Forget some of what waits: it turned out to be written."""
        with self._lock:
            written = {id(work) for work in works}
            self._waiting = deque(work for work in self._waiting if id(work) not in written)

    def requeue(self) -> None:
        """Keep what was taken, before all that came meanwhile."""
        with self._lock:
            self._waiting.extendleft(reversed(self._taken))
            self._taken = ()
            self._shrink()

    def _shrink(self) -> None:
        """Give up what is too much, oldest of the least worth first."""
        excess = len(self._waiting) - self._bound
        if excess == 1:
            least, _ = min(enumerate(self._waiting), key=lambda numbered: _worth(numbered[1]))
            del self._waiting[least]
        elif excess > 1:
            # The sort keeps the order of equals, so the oldest of each rank come first.
            by_worth = sorted(enumerate(self._waiting), key=lambda numbered: _worth(numbered[1]))
            given_up = {number for number, _ in by_worth[:excess]}
            self._waiting = deque(work for i, work in enumerate(self._waiting) if i not in given_up)
        self._lost += max(excess, 0)


class CurrentState:
    """What is in force by the entries written last: the runs that are lit, and the overrides.

    A fresh journal that is begun in place of a damaged one is told these first.
    """

    def __init__(self, entries: Iterable[Switching | Override] = ()) -> None:
        """Begin with what the journal said when it was opened."""
        self._lit: dict[str, Switching] = {}
        self._overrides: dict[str, Override] = {}
        self.note(tuple(entries))

    @property
    def lit(self) -> tuple[Switching, ...]:
        """The switchings that lit what is lit."""
        return tuple(self._lit.values())

    @property
    def overrides(self) -> tuple[Override, ...]:
        """The overrides in force."""
        return tuple(self._overrides.values())

    def note(self, written: Sequence[Work]) -> None:
        """Follow entries that were written."""
        for work in written:
            match work:
                case Switching(on=True):
                    self._lit[work.zone] = work
                case Switching():
                    self._lit.pop(work.zone, None)
                case Override():
                    self._overrides[work.zone] = work
                case OverrideEnded():
                    self._overrides.pop(work.zone, None)
                case CloseOpenRuns():
                    self._lit.clear()
                case _:
                    pass
