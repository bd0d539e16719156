"""What repeats from row to row of the journal, kept once and found again by its id."""

from __future__ import annotations

import sqlite3

from controller.calendar.intervals import MS_PER_S, ms_of
from controller.records.entries import Cause
from controller.records.reading import Reading

# The four columns that every row has: at_ms, boot_ms, boot, trusted.
When = tuple[int, int, int, bool]


class RowIds:
    """Finds the ids of boots, zones, reasons and loads, and makes rows for new ones.

    It remembers what it found, so after a rollback it must be thrown away.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        """Take a connection; nothing is read yet."""
        self._execute = connection.execute
        self._ids: dict[tuple[object, ...], int] = {}
        self._trusted_boots: set[int] = set()

    def when(self, at: Reading) -> When:
        """Give the columns of a reading: instants in whole milliseconds."""
        boot = self.boot(at)
        if at.trusted and boot not in self._trusted_boots:
            self._execute("UPDATE boot SET trusted = 1 WHERE id = ? AND NOT trusted", (boot,))
            self._trusted_boots.add(boot)
        return ms_of(at.utc), round(at.boot_s * MS_PER_S), boot, at.trusted

    def key(self, zone_id: str, at: Reading) -> tuple[int, int, int]:
        """Tell one entry of a zone from another: zone, boot, boot_ms."""
        _, boot_ms, boot, _ = self.when(at)
        return self.zone(zone_id), boot, boot_ms

    def boot(self, at: Reading) -> int:
        """Give the id of the boot of a reading."""
        return self._id("boot", "boot_id = ?", "boot_id", at.boot_id)

    def zone(self, zone_id: str) -> int:
        """Give the id of a zone."""
        return self._id("zone", "name = ?", "name", zone_id)

    def reason(self, cause: Cause, words: str) -> int:
        """Give the id of a reason."""
        return self._id("reason", "cause = ? AND words = ?", "cause, words", cause.value, words)

    def load(self, watts: float | None, origin: str) -> int:
        """Give the id of a load."""
        return self._id("load", "watts IS ? AND origin = ?", "watts, origin", watts, origin)

    def _id(self, table: str, where: str, columns: str, *values: object) -> int:
        """Find the id of a row that is kept once, or make the row."""
        key = (table, *values)
        if key not in self._ids:
            # Table and columns are the words above, never a value.
            found = self._execute(f"SELECT id FROM {table} WHERE {where}", values).fetchone()  # noqa: S608
            if found is None:
                marks = ", ".join("?" * len(values))
                made = self._execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", values)  # noqa: S608
                found = (made.lastrowid,)
            self._ids[key] = int(found[0])
        return self._ids[key]
