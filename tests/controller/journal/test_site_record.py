"""What the site was: written where it changes, with its true instant once that is known."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import SiteRecord
from controller.records.reading import Reading
from tests.controller.journal_samples import DUSK, reading


@pytest.fixture
def journal(tmp_path: Path):
    journal = Journal(tmp_path)
    yield journal
    journal.close()


def records(journal: Journal, *entries: tuple[str, Reading]) -> list[SiteRecord]:
    for text, at in entries:
        journal.append(SiteRecord(at=at, text=text))
    journal.flush()
    return list(JournalReader(journal.path).site_records())


def test_only_a_change_is_written(journal):
    """A start that finds the site as it was recorded adds nothing; every change adds one record."""
    found = records(journal, ("a", reading(0)), ("a", reading(10)), ("b", reading(20)), ("a", reading(30)))
    assert [(each.text, each.at.utc) for each in found] == [
        ("a", reading(0).utc),
        ("b", reading(20).utc),
        ("a", reading(30).utc),
    ]


def test_a_record_of_a_wrong_clock_gets_its_true_instant(journal):
    """Once the clock of its boot is trusted, a record moves to the instant at which it was really written."""
    wrong = Reading(utc=DUSK.replace(year=1970), boot_s=1000, boot_id="boot-1", trusted=False, trust="")
    (found,) = records(journal, ("a", wrong), ("a", reading(60)))
    assert found.at.trusted
    assert found.at.utc == DUSK


def test_a_record_of_another_boot_stays_as_it_is(journal):
    """What a boot wrote whose clock was never trusted cannot be dated by a later one."""
    wrong = Reading(utc=DUSK.replace(year=1970), boot_s=1000, boot_id="boot-0", trusted=False, trust="")
    (found,) = records(journal, ("a", wrong), ("a", reading(60)))
    assert not found.at.trusted
