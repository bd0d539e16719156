"""The journal when its process is killed or the power is cut: what was acknowledged stays."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from controller.journal.database import PAGE_BYTES, find_damage
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from tests.controller.journal_samples import dark, event, heartbeat, lit, reading, unended

# A keeper that switches two zones as fast as it can, and says after each flush how far it came.
PROGRAM = """
import sys
from pathlib import Path
from controller.journal.journal import Journal
from tests.controller.journal_samples import heartbeat, dark, lit, reading

begin = int(sys.argv[2])
journal = Journal(Path(sys.argv[1]))
journal.open()
journal.close_open_runs(reading(begin, boot=f"boot-{begin}"))
for number in range(begin, begin + 100_000):
    at = reading(number, boot=f"boot-{begin}")
    for zone in ("jetty", "steps"):
        journal.append((dark if (number - begin) % 2 else lit)(zone, at))
    journal.append(heartbeat(at))
    if number % 3 == 2:
        journal.flush()
        print(number, flush=True)
"""


def switched_at(state: Path, zone: str) -> list[int]:
    """Give the numbers of the switchings of a zone, without the ends that were added for unfinished runs."""
    switchings = JournalReader(state).switchings(zone=zone)
    return [
        round(entry.at.boot_s) - 1000
        for entry in switchings
        if entry.words in ("dusk to midnight", "midnight")
    ]


class TestKilled:
    def test_what_was_acknowledged_is_there_after_any_kill(self, tmp_path):
        """Killed at random ten times over, it has all that flush returned for, each once, in order."""
        dice = random.Random(20270621)
        begin = 0
        expected: list[int] = []
        for _ in range(10):
            with subprocess.Popen(
                [sys.executable, "-c", PROGRAM, str(tmp_path), str(begin)], stdout=subprocess.PIPE, text=True
            ) as keeper:
                acknowledged = begin
                for _ in range(dice.randrange(1, 60)):
                    acknowledged = int(keeper.stdout.readline())
                # Dies somewhere in the rounds that follow.
                keeper.kill()
                keeper.wait()
            assert find_damage(tmp_path / "journal.sqlite") is None
            found = switched_at(tmp_path, "jetty")
            assert found == switched_at(tmp_path, "steps")
            assert found[: len(expected)] == expected
            latest = found[len(expected) :]
            assert latest == list(range(begin, begin + len(latest)))
            assert latest[-1] >= acknowledged
            # Whole transactions only: three rounds go together.
            assert (latest[-1] + 1) % 3 == 0
            expected, begin = found, latest[-1] + 1
        journal = Journal(tmp_path)
        journal.close_open_runs(reading(begin, boot="the last"))
        journal.flush()
        assert unended(journal) == []
        journal.close()
        assert all(run.off_utc is not None for run in JournalReader(tmp_path).runs())


class TestPowerCut:
    """A power cut leaves a log of which only a part, or garbage at the end, has reached the disk."""

    @pytest.fixture
    def before_the_cut(self, tmp_path):
        """A journal with ten transactions in its log, and where the log ended after each."""
        state = tmp_path / "state"
        journal = Journal(state)
        journal.open()
        log = state / "journal.sqlite-wal"
        ends = []
        for number in range(10):
            for zone in ("jetty", "steps", "path"):
                journal.append((dark if number % 2 else lit)(zone, reading(number)))
            journal.append(event(reading(number)))
            journal.append(heartbeat(reading(number)))
            journal.flush()
            ends.append(log.stat().st_size)
        kept = tmp_path / "kept"
        kept.mkdir()
        for file in (state / "journal.sqlite", log):
            shutil.copyfile(file, kept / file.name)
        journal.close()
        return kept, ends

    def written_after(self, cut: Path) -> int:
        """Open what is left as a keeper does, and count the whole transactions that are there, in order."""
        journal = Journal(cut)
        journal.open()
        assert journal.check(reading(99)) is None
        switchings = list(JournalReader(cut).switchings())
        assert len(switchings) % 3 == 0
        count = len(switchings) // 3
        assert [round(entry.at.boot_s) - 1000 for entry in switchings] == sorted(list(range(count)) * 3)
        assert len(list(JournalReader(cut).events())) == count
        assert journal.previous_run().last_sign == (reading(count - 1) if count else None)
        assert len(unended(journal)) == (3 if count % 2 else 0)
        journal.close()
        return count

    def test_a_log_that_was_cut_anywhere(self, before_the_cut, tmp_path):
        """Cut at any byte, the log gives the transactions that are whole in it, no more and no less."""
        kept, ends = before_the_cut
        full = (kept / "journal.sqlite-wal").read_bytes()
        dice = random.Random(7)
        places = {end + shift for end in ends for shift in (-1, 0, 1)} | {
            dice.randrange(len(full)) for _ in range(40)
        }
        for place in sorted(place for place in places if place <= len(full)):
            cut = tmp_path / "cut"
            shutil.copytree(kept, cut)
            (cut / "journal.sqlite-wal").write_bytes(full[:place])
            if place >= ends[0]:
                assert self.written_after(cut) == sum(end <= place for end in ends)
            shutil.rmtree(cut)

    def test_a_log_with_a_block_that_never_reached_the_disk(self, before_the_cut, tmp_path):
        """A hole in the log ends it there: what came before is whole, nothing after it is believed."""
        kept, ends = before_the_cut
        full = (kept / "journal.sqlite-wal").read_bytes()
        for hole in range(ends[0], len(full) - PAGE_BYTES, 3 * PAGE_BYTES):
            cut = tmp_path / "cut"
            shutil.copytree(kept, cut)
            (cut / "journal.sqlite-wal").write_bytes(
                full[:hole] + bytes(PAGE_BYTES) + full[hole + PAGE_BYTES :]
            )
            assert self.written_after(cut) == sum(end <= hole for end in ends)
            shutil.rmtree(cut)

    def test_a_cut_in_a_checkpoint(self, before_the_cut, tmp_path):
        """Pages half copied from the log into the file do no harm, because the log is still there."""
        kept, ends = before_the_cut
        whole = tmp_path / "whole"
        shutil.copytree(kept, whole)
        journal = Journal(whole)
        journal.open()
        journal.close()
        folded = (whole / "journal.sqlite").read_bytes()
        old = (kept / "journal.sqlite").read_bytes()
        for pages in range(1, len(folded) // PAGE_BYTES):
            cut = tmp_path / "cut"
            shutil.copytree(kept, cut)
            half = folded[: pages * PAGE_BYTES] + old[pages * PAGE_BYTES :]
            (cut / "journal.sqlite").write_bytes(half)
            assert self.written_after(cut) == len(ends)
            shutil.rmtree(cut)
