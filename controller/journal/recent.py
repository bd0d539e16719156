"""What was recorded since the start that others are told of, and the id by which each entry is known.

An id is the place of an entry in time: the boot, the millisecond of it, and the how-many-th at that moment it
is. The journal has the first two of every row, so an id leads to the same entry after a restart, and says
nothing to another journal. In memory ids are given before anything is written.
"""

from __future__ import annotations

import re
import threading
from collections import deque
from dataclasses import dataclass
from itertools import dropwhile

from controller.calendar.intervals import MS_PER_S
from controller.records.entries import Entry, Event, EventKind, Override, OverrideEnded, Switching
from controller.records.reading import Reading

# How many entries a client that comes back is told at most; one more is kept, after which they came.
MOST_MISSED = 1000

News = Switching | Override | OverrideEnded | Event
# The kinds of events that others are told of: not those of who was let in.
TOLD = frozenset(
    {
        EventKind.STARTED,
        EventKind.STOPPED,
        EventKind.POWER_LOST,
        EventKind.DIED,
        EventKind.CLOCK_STEPPED,
        EventKind.CLOCK_TRUSTED,
        EventKind.CLOCK_CONFIRMED,
        EventKind.CLOCK_NOT_TRUSTED,
        EventKind.RESUMED,
        EventKind.SITE_CHANGED,
        EventKind.SITE_REFUSED,
        EventKind.PROGRAM,
        EventKind.RELAY_FAULT,
        EventKind.RELAY_RECOVERED,
        EventKind.JOURNAL_FAULT,
        EventKind.JOURNAL_RECOVERED,
    }
)
_ID = re.compile(r"([0-9A-Za-z-]{1,64}):([0-9]{1,15}):([0-9]{1,9})")


@dataclass(frozen=True, slots=True)
class EntryId:
    """Names an entry: by its boot, the milliseconds of that since it began, and its number there, from 1."""

    boot_id: str
    boot_ms: int
    number: int

    def __str__(self) -> str:
        return f"{self.boot_id}:{self.boot_ms}:{self.number}"

    def is_after(self, other: EntryId) -> bool:
        """Whether it comes after another id of the same boot."""
        return (self.boot_ms, self.number) > (other.boot_ms, other.number)

    @classmethod
    def parse(cls, text: str) -> EntryId | None:
        """Read an id again; None where it is none of ours."""
        found = _ID.fullmatch(text)
        return None if found is None else cls(found[1], int(found[2]), int(found[3]))


def reading_of(entry: News) -> Reading:
    """Give when an entry was made."""
    return entry.placed_at if isinstance(entry, Override) else entry.at


def boot_ms_of(at: Reading) -> int:
    """Give the milliseconds since the boot, as the journal has them."""
    return round(at.boot_s * MS_PER_S)


class RecentEntries:
    """The newest entries since the start, in the order in which they were recorded; for any thread.

    Attributes:
        first: the id of the first entry of all since the start; ``last`` that of the newest.
        forgotten: how often the past was forgotten.
    """

    def __init__(self, bound: int = MOST_MISSED + 1) -> None:
        self.first: EntryId | None = None
        self.last: EntryId | None = None
        self.forgotten = 0
        self._is_whole = True
        self._entries: deque[tuple[EntryId, News]] = deque(maxlen=bound)
        self._lock = threading.Lock()

    def add(self, entry: Entry) -> None:
        """Take an entry, if others are told of such; ids only grow, also where it is older than the last."""
        if not isinstance(entry, News) or (isinstance(entry, Event) and entry.kind not in TOLD):
            return
        at = reading_of(entry)
        with self._lock:
            last, boot_ms, number = self.last, boot_ms_of(at), 1
            if last is not None and boot_ms <= last.boot_ms:
                boot_ms, number = last.boot_ms, last.number + 1
            self.last = EntryId(at.boot_id if last is None else last.boot_id, boot_ms, number)
            self.first = self.first or self.last
            self._is_whole = self._is_whole and len(self._entries) < (self._entries.maxlen or 0)
            self._entries.append((self.last, entry))

    def forget(self) -> None:
        """Forget the past: another journal has taken the place of the one that it is in."""
        with self._lock:
            self._entries.clear()
            self._is_whole = False
            self.forgotten += 1

    def newer(self, entry_id: EntryId | None) -> list[tuple[EntryId, News]]:
        """Give what is here and newer than an id of since the start; all where there is none."""
        with self._lock:
            return [each for each in self._entries if entry_id is None or each[0].is_after(entry_id)]

    def after(self, entry_id: EntryId) -> list[tuple[EntryId, News]] | None:
        """Give what follows an entry; None where that one is not, or no longer, known here."""
        with self._lock:
            following = list(dropwhile(lambda each: each[0] != entry_id, self._entries))
        return following[1:] if following else None

    def all(self) -> list[tuple[EntryId, News]] | None:
        """Give all since the start; None where some of it is no longer here."""
        with self._lock:
            return list(self._entries) if self._is_whole else None
