"""The journal after 30 years with eight zones: what a row costs, and how long questions take.

The reference is the plain way: one table of text in a SQLite file of default settings, an index on time,
summed in Python. Bytes a day are those handed to the system, with every entry written on its own.
"""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from controller.journal.database import JOURNAL_NAME
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Cause, Heartbeat, Switching
from controller.records.reading import Reading
from tests.bench.benchmark import Benchmark, Measurement, best_ms

ZONES = tuple(f"zone-{number}" for number in range(8))
NIGHTS = 30 * 365
FIRST_UTC = datetime(2027, 1, 1, 18, tzinfo=UTC)
LIT_S = 14_400
SEASON = (FIRST_UTC + timedelta(days=5000), FIRST_UTC + timedelta(days=5091))
TABLE = "a table of text"
BENCHMARKS = (
    Benchmark(what="a switching on disk", unit="bytes", reference=TABLE, max_value=150),
    Benchmark(what="every run of a season, of 30 years × 8 zones", unit="ms", reference=TABLE, max_value=50),
    Benchmark(what="hours of all 30 years, 8 zones", unit="ms", reference=TABLE, max_value=50),
    Benchmark(what="opening it at the start, 30 years × 8 zones", unit="ms", max_value=50),
    Benchmark(what="a day's writing, 60 switchings and 133 heartbeats", unit="kB", max_value=1000),
)


def switchings() -> Iterator[Switching]:
    """Give every switching of the 30 years, in order; a board that starts afresh every hundred nights."""
    for night in range(NIGHTS):
        for on in (True, False):
            for number, zone in enumerate(ZONES):
                after_s = night * 86_400 + number * 0.5 + (0 if on else LIT_S)
                at = Reading(
                    utc=FIRST_UTC + timedelta(seconds=after_s),
                    boot_s=after_s % 8_640_000,
                    boot_id=f"00000000-0000-4000-8000-{night // 100:012d}",
                    trusted=True,
                    trust="set from the network",
                )
                yield Switching(
                    zone=zone,
                    at=at,
                    on=on,
                    cause=Cause.PROGRAM,
                    words="dusk to midnight",
                    load_w=27.0 + number,
                    load_from="fixtures",
                )


def build_ours(folder: Path) -> int:
    """Write all switchings to a journal; give how many."""
    journal = Journal(folder)
    count = 0
    for count, switching in enumerate(switchings(), 1):
        journal.append(switching)
        if count % 8000 == 0:
            journal.flush()
    journal.flush()
    journal.close()
    return count


def build_table(path: Path) -> None:
    """Write the same to one table of text."""
    with sqlite3.connect(path) as connection:
        connection.execute(
            "CREATE TABLE switching (at, boot_s, boot_id, zone, state, cause, words, load_w, load_from)"
        )
        connection.execute("CREATE INDEX by_time ON switching (zone, at)")
        connection.executemany(
            "INSERT INTO switching VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                (
                    entry.at.utc.isoformat(),
                    entry.at.boot_s,
                    entry.at.boot_id,
                    entry.zone,
                    "on" if entry.on else "off",
                    entry.cause.value,
                    entry.words,
                    entry.load_w,
                    entry.load_from,
                )
                for entry in switchings()
            ),
        )
    connection.close()


def table_lit_s(path: Path, from_utc: datetime | None = None, to_utc: datetime | None = None) -> float:
    """Add up the seconds lit from the table of text."""
    connection = sqlite3.connect(path)
    total_s = 0.0
    for zone in ZONES:
        begun = None
        rows = connection.execute(
            "SELECT at, state FROM switching WHERE zone = ? AND at >= ? AND at < ? ORDER BY at",
            (zone, from_utc.isoformat() if from_utc else "", to_utc.isoformat() if to_utc else "9"),
        )
        for at, state in rows:
            if state == "on":
                begun = at
            elif begun is not None:
                total_s += (datetime.fromisoformat(at) - datetime.fromisoformat(begun)).total_seconds()
    connection.close()
    return total_s


def start(folder: Path) -> None:
    """Do what a keeper that starts does before its first light."""
    journal = Journal(folder)
    journal.open()
    journal.previous_run()
    journal.close()


def bytes_a_day(folder: Path) -> float:
    """Write ten days of 60 switchings and 133 heartbeats, each on its own, and count the bytes of a day."""

    def given() -> int:
        lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
        return int(dict(line.split(": ") for line in lines)["wchar"])

    journal = Journal(folder)
    journal.open()
    before = given()
    source = switchings()
    for _ in range(10):
        entries = [next(source) for _ in range(60)]
        for entry in entries:
            journal.append(entry)
            journal.flush()
        for _ in range(133):
            journal.append(Heartbeat(at=entries[-1].at))
            journal.flush()
    journal.close()
    return (given() - before) / 10


def measure() -> list[Measurement]:
    """Build both files and ask both the same."""
    with tempfile.TemporaryDirectory() as name:
        ours, table = Path(name) / "state", Path(name) / "table.sqlite"
        count = build_ours(ours)
        build_table(table)
        reader = JournalReader(ours)
        wanted_s = 91 * 8 * LIT_S
        found_s = sum(run.lit_s or 0 for run in reader.runs(*SEASON))
        if not found_s == table_lit_s(table, *SEASON) == wanted_s:
            raise ValueError(f"a season has {wanted_s} s, the journal says {found_s}")
        life_s = sum(zone.lit_s for zone in reader.totals())
        if life_s != NIGHTS * 8 * LIT_S:
            raise ValueError(f"30 years have {NIGHTS * 8 * LIT_S} s, the journal says {life_s}")
        size, season, totals, opening, writing = BENCHMARKS
        return [
            size.measured((ours / JOURNAL_NAME).stat().st_size / count, table.stat().st_size / count),
            season.measured(
                best_ms(lambda: list(reader.runs(*SEASON)), 5),
                best_ms(lambda: table_lit_s(table, *SEASON), 5),
            ),
            totals.measured(best_ms(reader.totals, 5), best_ms(lambda: table_lit_s(table), 1)),
            opening.measured(best_ms(lambda: start(ours), 5)),
            writing.measured(bytes_a_day(Path(name) / "day") / 1000),
        ]
