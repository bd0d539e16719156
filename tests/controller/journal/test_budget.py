"""What the journal costs: bytes a row, bytes a day."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.journal.database import PAGE_BYTES
from controller.journal.journal import Journal
from controller.records.entries import Entry
from tests.controller.journal_samples import dark, heartbeat, lit, reading

ZONES = tuple(f"zone {number}" for number in range(8))
EVENING_S = 36_000


def bytes_given_to_the_system() -> int:
    """Count the bytes that this process handed to write(2) and its kin since it started; see proc(5)."""
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)["wchar"])


def a_day(day: int) -> list[Entry]:
    """Eight zones lit over ten hours and switched 60 times, and a heartbeat every 270 s."""
    begin_s = day * 86400
    happenings: list[tuple[float, Entry]] = [
        (at_s, heartbeat(reading(begin_s + at_s))) for at_s in range(270, EVENING_S, 270)
    ]
    for pair in range(30):
        zone, on_s = ZONES[pair % 8], pair // 8 * 9000 + pair % 8 * 0.5
        happenings.append((on_s, lit(zone, reading(begin_s + on_s))))
        happenings.append((on_s + 8000, dark(zone, reading(begin_s + on_s + 8000))))
    return [entry for _, entry in sorted(happenings, key=lambda happening: happening[0])]


def test_a_switching_costs_at_most_150_bytes(tmp_path):
    """Rows of a year of eight zones, with all their indexes and all else in the file."""
    journal = Journal(tmp_path)
    rows = 0
    for night in range(365):
        for number, zone in enumerate(ZONES):
            journal.append(lit(zone, reading(night * 86400 + number, boot=f"boot-{night // 30}")))
            journal.append(dark(zone, reading(night * 86400 + 9000 + number, boot=f"boot-{night // 30}")))
            rows += 2
        journal.flush()
    journal.close()
    assert journal.path.stat().st_size / rows <= 150


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="nobody counts what a process writes here")
def test_a_day_writes_at_most_1_mb(tmp_path):
    """Thirty days of eight zones, every entry flushed by itself, with the checkpoints that this leads to."""
    journal = Journal(tmp_path)
    journal.open()
    written = 0
    before = bytes_given_to_the_system()
    for day in range(30):
        for entry in a_day(day):
            journal.append(entry)
            written += journal.flush()
    journal.close()
    assert written / 30 == 60 + 133
    daily = (bytes_given_to_the_system() - before) / 30
    # Less than a page for each would mean that the count misses something.
    assert 193 * PAGE_BYTES < daily <= 1_000_000
