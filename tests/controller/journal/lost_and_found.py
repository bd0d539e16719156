"""A garden whose state folder is moved, emptied and replaced; and what its journals say, read by other means.

The truth is what the mock pins were driven to. What a journal says of it is read with plain SQL and pandas
from the raw rows of ``switching``: nothing of Leerie's own reading is used.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from config.errors import JournalError
from config.models.site import Site
from controller.clock.clock import SteppedClock
from controller.journal.database import JOURNAL_NAME
from controller.journal.journal import Journal
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.keeper import Keeper
from controller.records.entries import EventKind
from controller.relays import Relays
from tests.controller.kept import Board
from tests.sites import site, zone

# Noon in London in January, where local time is UTC.
NOON = datetime(2027, 1, 5, 12, tzinfo=UTC)
EVENING, EARLY = "20:00 to 23:00", "05:30 to 07:00"

Lit = tuple[float, float]


def two_zones() -> Site:
    """Make a site of two zones, jetty on pin 17 and orchard on pin 27."""
    return site(
        zone("jetty", EVENING, pin=17),
        zone("orchard", "21:00 to 22:00", EARLY, pin=27),
        relays={"rest_s": 0.0, "stagger_s": 0.0},
    )


class Garden:
    """One board with its keeper and its journal; ``state`` is where the journal is looked for."""

    def __init__(self, folder: Path, *, trusted: bool = True) -> None:
        self.state, self.away = folder / "state", folder / "away"
        self.clock = SteppedClock(NOON, trusted=trusted)
        self.begin()

    def begin(self) -> None:
        """Start, as the daemon does."""
        self.board = Board(self.clock)
        self.pins = {"jetty": self.board.pin(17), "orchard": self.board.pin(27)}
        self.journal = Journal(self.state)
        past = self.journal.previous_run()
        self.keeper = Keeper(
            two_zones(), clock=self.clock, relays=Relays(lambda: self.board), journal=self.journal, past=past
        )
        self.maintenance = JournalMaintenance(
            self.journal, clock=self.clock, past=past, learn=self.keeper.adopt_previous_run
        )
        self.round()

    def round(self) -> None:
        """Make a round and write, as the control loop does."""
        self.due_in_s = self.keeper.reconcile()
        with contextlib.suppress(JournalError):
            self.maintenance.flush()

    def until(self, clock_time: str) -> None:
        """Let time pass until the clock says so next."""
        hour, minute = (int(part) for part in clock_time.split(":"))
        minutes = (hour - self.clock.utc.hour) * 60 + minute - self.clock.utc.minute
        ends_boot_s = self.clock.boot_s + (minutes % 1440 or 1440) * 60
        while self.clock.boot_s < ends_boot_s:
            self.clock.advance(min(self.due_in_s, ends_boot_s - self.clock.boot_s))
            self.round()

    def stop(self) -> None:
        """End as asked."""
        self.keeper.stop()
        self.maintenance.flush()
        self.journal.close()

    def cut(self, *, off_s: float) -> None:
        """Cut the power; the board starts again with a good clock."""
        self.journal.close()
        self.keeper.stop()
        self.clock.reboot(off_s=off_s)

    # -- what somebody does to the folder --------------------------------------------------------------------

    def move_away(self) -> None:
        self.state.rename(self.away)

    def bring_back(self) -> Path:
        """Put the folder back where it was; what was there meanwhile is moved aside, and given."""
        between = self.state.with_name("between")
        if self.state.exists():
            self.state.rename(between)
        self.away.rename(self.state)
        return between

    def remove(self) -> None:
        shutil.rmtree(self.state)

    def empty(self) -> None:
        for each in self.state.iterdir():
            shutil.rmtree(each) if each.is_dir() else each.unlink()

    def delete_journal(self) -> None:
        for each in self.state.glob(JOURNAL_NAME + "*"):
            each.unlink()

    def delete_journal_to(self, folder: Path) -> None:
        """Move the journal's files, and nothing else, to another folder."""
        folder.mkdir()
        for each in self.state.glob(JOURNAL_NAME + "*"):
            each.rename(folder / each.name)

    # -- the truth, and what a journal says of it ------------------------------------------------------------

    def truth(self, zone_id: str) -> list[Lit]:
        """When a zone was lit, in seconds of the boot-time clock, by the levels of its pin; low is lit."""
        found: list[Lit] = []
        since_s = None
        for boot_s, level in self.pins[zone_id].levels:
            if level == 0 and since_s is None:
                since_s = boot_s
            elif level == 1 and since_s is not None:
                found.append((since_s, boot_s))
                since_s = None
        return found if since_s is None else [*found, (since_s, self.clock.boot_s)]

    def truth_h(self, zone_id: str) -> float:
        return sum(off_s - on_s for on_s, off_s in self.truth(zone_id)) / 3600


def rows_of(folder: Path) -> pd.DataFrame:
    """Read the raw rows of a journal's switchings, in the order of writing; nothing in it is changed."""
    with contextlib.closing(sqlite3.connect(folder / JOURNAL_NAME)) as connection:
        return pd.read_sql_query(
            "SELECT s.id, z.name AS zone, b.boot_id, s.at_ms, s.boot_ms, s.lit FROM switching s "
            "JOIN zone z ON z.id = s.zone JOIN boot b ON b.id = s.boot ORDER BY s.id",
            connection,
        )


def said(folder: Path, zone_id: str) -> list[Lit]:
    """Pair the switchings of a zone: when it was lit, by the boot-time clock. They must alternate."""
    rows = rows_of(folder)
    rows = rows[rows["zone"] == zone_id].reset_index(drop=True)
    assert list(rows["lit"]) == [(number + 1) % 2 for number in range(len(rows))], rows
    ons, offs = rows[rows["lit"] == 1], rows[rows["lit"] == 0]
    ons = ons.iloc[: len(offs)]
    assert list(ons["boot_id"]) == list(offs["boot_id"]), "a run that reaches over a boot"
    pairs = zip(ons["boot_ms"] / 1000, offs["boot_ms"] / 1000, strict=True)
    return [(float(on_s), float(off_s)) for on_s, off_s in pairs]


def said_h(folder: Path, zone_id: str) -> float:
    return sum(off_s - on_s for on_s, off_s in said(folder, zone_id)) / 3600


def assert_true(said_of_it: Sequence[Lit], truth: Sequence[Lit]) -> None:
    """See that nothing is said to have been lit that was not, to the millisecond."""
    for on_s, off_s in said_of_it:
        assert any(since_s - 0.001 <= on_s and off_s <= till_s + 0.001 for since_s, till_s in truth), (
            f"said to be lit from {on_s} to {off_s}, lit {truth}"
        )


def events_of(folder: Path, *kinds: EventKind) -> list[tuple[str, float | None]]:
    """Read the events of some kinds out of the raw rows: their words and sizes."""
    wanted = ", ".join(f"'{kind.value}'" for kind in kinds)
    with contextlib.closing(sqlite3.connect(folder / JOURNAL_NAME)) as connection:
        return connection.execute(
            f"SELECT words, size_s FROM event WHERE kind IN ({wanted}) ORDER BY id"
        ).fetchall()
