"""The past: what a keeper that starts is told by the journal of the one before it."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from config.errors import JournalError
from controller.records.entries import Override, Switching
from controller.records.reading import Reading

if TYPE_CHECKING:
    from controller.journal.journal import Journal

log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True, slots=True)
class PreviousRun:
    """What the journal knows of earlier keepers.

    Attributes:
        overrides: those in force when the last keeper ended.
        last_sign: the last sign of life; None in a new journal.
        ended_well: whether the last keeper said that it stopped.
        last_instant_utc: the latest instant that was written by a trusted clock; None where there is none.
        trusted_boot_id: the newest boot in which the clock was trusted; None where there is none.
        last_switchings: the newest switching of each zone that switched lately.
    """

    overrides: tuple[Override, ...] = ()
    last_sign: Reading | None = None
    ended_well: bool = True
    last_instant_utc: datetime | None = None
    trusted_boot_id: str | None = None
    last_switchings: tuple[Switching, ...] = ()

    def switched_in(self, boot_id: str) -> dict[str, float]:
        """Say when relays were last switched in a boot, by zone, on its clock: they may have to rest."""
        return {each.zone: each.at.boot_s for each in self.last_switchings if each.at.boot_id == boot_id}


def read_previous_run(journal: Journal) -> PreviousRun | None:
    """Ask the journal what was; None where it cannot say now, for whatever reason: the lights come first."""
    try:
        return PreviousRun(
            overrides=tuple(journal.overrides_in_force()),
            last_sign=journal.last_beat(),
            ended_well=journal.ended_well(),
            last_instant_utc=journal.last_instant(),
            trusted_boot_id=journal.trusted_boot_id(),
            last_switchings=tuple(journal.last_switchings()),
        )
    except JournalError as error:
        log.warning("journal: %s", error)
    except Exception:
        log.exception("journal: it could not be asked what was")
    return None
