"""What history asks of a journal, as a protocol: `controller.journal.reader.JournalReader` answers it.

Read it through `controller.history.renames.RenamedJournal`, which calls zones and fixtures what they are
called now.

Stretches of time are half-open and in UTC; None leaves an end open. Every question may raise `JournalError`
at its first value.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Protocol

from controller.records.entries import Event, Replacement, SiteRecord, Switching
from controller.records.past import LoadAt, PastOverride, Run, ZoneSum
from controller.records.reading import Reading


class JournalSource(Protocol):
    """A journal that can be read."""

    def began_at(self) -> datetime | None:
        """Give the first instant of a trusted clock; None where there is none."""

    def zones_began(self) -> dict[str, datetime]:
        """Give the first instant of a trusted clock since each zone was known, by its first program."""

    def last_sign(self) -> Reading | None:
        """Give the last sign of life of any keeper; None in an empty journal."""

    def events_about(self, from_utc: datetime, to_utc: datetime, /) -> Iterator[Event]:
        """Give the events that say what held over a stretch, in the order in which they were written."""

    def site_records(self) -> Iterator[SiteRecord]:
        """Give what the site was, from each change to the next, in the order in which they were written."""

    def overrides(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None, /
    ) -> Iterator[PastOverride]:
        """Give every override that was in force at some moment of a stretch."""

    def runs(self, from_utc: datetime | None = None, to_utc: datetime | None = None, /) -> Iterator[Run]:
        """Give every run that reaches into a stretch, in the order in which they began."""

    def loads_at(self, at_utc: datetime, /) -> dict[str, LoadAt]:
        """Give the load at which each zone was last lit before an instant, else first lit after it."""

    def replacements(self) -> Iterator[Replacement]:
        """Give what was replaced and not taken back, in the order of the dates."""

    def totals(self) -> list[ZoneSum]:
        """Add up all runs of every zone that have ended."""

    def totals_since(self, since_utc: datetime, /) -> list[ZoneSum]:
        """The same since an instant; of a run that it cuts, only the later part counts."""

    def switchings(
        self,
        from_utc: datetime | None = None,
        to_utc: datetime | None = None,
        /,
        *,
        zone: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> Iterator[Switching]:
        """Give the switchings of a stretch in the order of their instants, at most so many."""
