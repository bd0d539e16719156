"""The scribe: has the journal written, looked after and copied, out of the keeper's way.

All of it may be slow, so it runs beside the keeper: in a thread of the daemon, between two rounds of the
simulation.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from datetime import date

from config.errors import JournalError
from controller.clock import Clock
from controller.entries import Event, EventKind, Override
from controller.journal import Journal
from controller.past import Past, read_past

log = logging.getLogger(__name__)


class Scribe:
    """Writes a journal and keeps it whole.

    Args:
        journal: the journal.
        clock: tells when it was that something was set aside.
        past: what the journal could tell at the start; None where it could not.
        take_back: is given the overrides of an earlier keeper once the journal can tell them.
    """

    def __init__(
        self,
        journal: Journal,
        *,
        clock: Clock,
        past: Past | None,
        take_back: Callable[[Sequence[Override]], None],
    ) -> None:
        """Begin to write."""
        self._journal = journal
        self._clock = clock
        self._past = past
        self._take_back = take_back

    def write(self) -> None:
        """Write what waits; a journal that turns out damaged is set aside and begun afresh.

        Raises:
            JournalError: nothing can be written now; all of it goes on waiting.
        """
        try:
            self._journal.flush()
        except JournalError:
            if not self._journal.damaged:
                raise
            self.check()
            self._journal.flush()
        if self._past is None and (past := read_past(self._journal)) is not None:
            self._take_back(past.overrides)
            self._past = past

    def check(self) -> None:
        """Read the whole journal once, and begin it afresh where it is damaged.

        Raises:
            JournalError: it cannot be looked at, or not be replaced, now.
        """
        at = self._clock.read()
        aside = self._journal.check(at)
        if aside is not None:
            log.error("journal: %s", aside)
            words = "the journal was damaged; it was set aside whole and a fresh one begun"
            self._journal.append(Event(kind=EventKind.JOURNAL_SET_ASIDE, at=at, words=words))

    def copy(self, night: date) -> None:
        """Make the copy of a night, where one is due; a failure is logged, the next night tries again."""
        try:
            self._journal.back_up(night)
        except JournalError as error:
            log.warning("journal: no copy this night: %s", error)
