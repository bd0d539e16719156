"""The journal's rows, read without the program's own reader: how the process that wrote them left it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from tests.simulation.belief import KnownTime

# The last sign of life of each kind.
SIGNS = " UNION ALL ".join(
    f"SELECT at_ms, boot_ms, boot, trusted FROM {table} {last}"
    for table, last in (
        ("beat", ""),
        ("event", "WHERE id = (SELECT max(id) FROM event)"),
        ("switching", "WHERE id = (SELECT max(id) FROM switching)"),
        ("override", "WHERE id = (SELECT max(id) FROM override)"),
    )
)
# And the last of each kind that was believed.
BELIEVED = " UNION ALL ".join(
    f"SELECT * FROM (SELECT at_ms, boot_ms, boot FROM {table} WHERE trusted ORDER BY {order} DESC LIMIT 1)"
    for table, order in (("beat", "boot"), ("event", "id"), ("switching", "id"), ("override", "id"))
)

Row = dict[str, Any]


@dataclass(kw_only=True)
class Ended:
    """How the last process left the journal: its last sign of life, and whether it says that it stopped.

    Several signs of one moment have several instants where the clock was set just then: first and last.
    """

    at_ms: tuple[int, int]
    boot_ms: int
    trusted: bool
    boot: str
    well: bool


def known_time(journal: sqlite3.Connection) -> KnownTime:
    """Read what a start can know of the time: the last instant believed, and why it was."""
    last = journal.execute(
        f"SELECT at_ms FROM ({BELIEVED}) ORDER BY boot DESC, boot_ms DESC LIMIT 1"
    ).fetchone()
    sign = journal.execute(
        f"SELECT s.trusted, boot.boot_id FROM ({SIGNS}) s JOIN boot ON boot.id = s.boot "
        "ORDER BY s.boot DESC, boot_ms DESC, s.trusted DESC LIMIT 1"
    ).fetchone()
    word = journal.execute(
        "SELECT kind, at_ms, boot_ms, boot.boot_id FROM event e JOIN boot ON boot.id = e.boot "
        "WHERE kind IN ('clock confirmed', 'clock trusted', 'clock not trusted') "
        "AND boot = (SELECT max(id) FROM boot) ORDER BY e.id DESC LIMIT 1"
    ).fetchone()
    confirmed = None
    if word is not None and word[0] == "clock confirmed":
        confirmed = (word[3], word[1] / 1000, word[2] / 1000)
    return KnownTime(
        last_s=last[0] / 1000 if last else None,
        trusted_boot=sign[1] if sign and sign[0] and confirmed is None else "",
        confirmed=confirmed,
    )


def how_it_ended(journal: sqlite3.Connection) -> Ended | None:
    """Read the last sign of life of the newest boot, and whether the last process says that it stopped."""
    row = journal.execute(
        f"SELECT min(at_ms), max(at_ms), boot_ms, s.trusted, boot.boot_id FROM ({SIGNS}) s "
        "JOIN boot ON boot.id = s.boot WHERE s.boot = (SELECT max(id) FROM boot) "
        "GROUP BY boot_ms, s.trusted ORDER BY boot_ms DESC, s.trusted DESC LIMIT 1"
    ).fetchone()
    last = journal.execute(
        "SELECT kind FROM event "
        "WHERE kind IN ('started', 'stopped', 'journal replaced', 'journal set aside') "
        "ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is None or last is None:
        return None
    first_ms, last_ms, boot_ms, trusted, boot = row
    return Ended(
        at_ms=(first_ms, last_ms),
        boot_ms=boot_ms,
        trusted=bool(trusted),
        boot=boot,
        well=last[0] == "stopped",
    )
