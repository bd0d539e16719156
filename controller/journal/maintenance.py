"""The maintenance: has the journal written, looked after and copied, out of the keeper's way.

All of it may be slow, so it runs beside the keeper: in a thread of the daemon, between two rounds of the
simulation.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import date

from config.errors import JournalError
from controller.clock.clock import Clock
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun, read_previous_run
from controller.records.entries import Event, EventKind

log = logging.getLogger(__name__)


class JournalMaintenance:
    """Writes a journal and keeps it whole.

    Args:
        journal: the journal.
        clock: tells when it was that something was set aside.
        past: what the journal could tell at the start; None where it could not.
        learn: is told of an earlier keeper once the journal can tell.
    """

    def __init__(
        self,
        journal: Journal,
        *,
        clock: Clock,
        past: PreviousRun | None,
        learn: Callable[[PreviousRun], None],
    ) -> None:
        """Begin to write."""
        self._journal = journal
        self._clock = clock
        self._past = past
        self._learn = learn
        self._before = past
        self._begun = False

    def flush(self) -> None:
        """Write what waits; a journal that turns out damaged is set aside and begun afresh.

        Raises:
            JournalError: nothing can be written now; all of it goes on waiting.
        """
        if self._before is None and not self._begun:
            self._before = read_previous_run(self._journal)
        try:
            self._journal.flush()
        except JournalError:
            if not self._journal.damaged:
                raise
            self.check()
            self._journal.flush()
        self._begun = True
        if self._past is None and (past := read_previous_run(self._journal)) is not None:
            # How an earlier keeper ended is told by what was there before our own entries, or not at all.
            self._learn(replace(self._before or PreviousRun(), overrides=past.overrides))
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

    def back_up(self, night: date) -> None:
        """Make the copy of a night, where one is due; a failure is logged, the next night tries again."""
        try:
            self._journal.back_up(night)
        except JournalError as error:
            log.warning("journal: no copy this night: %s", error)
