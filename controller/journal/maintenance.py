"""Keeps the journal written, whole and backed up, in a thread beside the keeper, since it may be slow."""

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import date

from config.errors import JournalError
from controller.clock.clock import Clock
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun

log = logging.getLogger(__name__)


class JournalMaintenance:
    """Writes a journal and keeps it whole.

    Args:
        past: what the journal said at the start; None where it could not be read.
        learn: is given what earlier keepers left behind, once the journal can be read.
        on_replaced: called once another file has taken the journal's place, perhaps in another folder, and
            once it can be written again: the folder may be another, or the old one as it was.
    """

    def __init__(
        self,
        journal: Journal,
        *,
        clock: Clock,
        past: PreviousRun | None,
        learn: Callable[[PreviousRun], None],
        on_replaced: Callable[[], None] = lambda: None,
    ) -> None:
        self._journal = journal
        self._clock = clock
        self._past = past
        self._learn = learn
        self._on_replaced = on_replaced
        self._replaced = journal.replaced
        self._failed = False
        self._before = past

    def flush(self) -> None:
        """Write what waits; a journal that turns out damaged is set aside and a new one started.

        Raises:
            JournalError: nothing can be written now; all of it goes on waiting.
        """
        if self._before is None:
            self._before = self._journal.previous_run()
        try:
            self._journal.flush(self._clock.read())
        except JournalError:
            self._failed = True
            if not self._journal.damaged:
                raise
            self.check()
            self._journal.flush(self._clock.read())
        # How an earlier keeper ended is known from what was there before our own entries, or not at all.
        self._before = self._before or PreviousRun()
        if self._journal.found is not None:
            self._before, self._past, self._journal.found = self._journal.found, None, None
        if self._past is None and (past := self._journal.previous_run()) is not None:
            # What the keeper placed itself it may have ended by now.
            before = [each for each in past.overrides if each in self._before.overrides]
            self._learn(replace(self._before, overrides=tuple(before)))
            self._past = past
        if self._failed or self._journal.replaced != self._replaced:
            self._failed, self._replaced = False, self._journal.replaced
            self._on_replaced()

    def check(self) -> None:
        """Have the whole journal read, and replaced where it is damaged; may raise JournalError."""
        replaced = self._journal.check(self._clock.read())
        if replaced is not None:
            log.error("journal: %s", replaced)

    def back_up(self, night: date) -> None:
        """Make the backup of a night, where one is due; a failure is logged, the next night tries again."""
        try:
            self._journal.back_up(night)
        except JournalError as error:
            log.warning("journal: no backup this night, the next night tries again: %s", error)
