"""Replacements in the journal: each part and date once, taken back, and handed on from place to fixture."""

from __future__ import annotations

from datetime import date

from controller.journal.journal import Journal
from controller.journal.previous_run import read_previous_run
from controller.journal.reader import JournalReader
from controller.records.entries import FixtureIds, Replacement, ReplacementUndone
from tests.controller.journal_samples import reading, write

ON = date(2027, 6, 1)


def replaced(part: str, after_s: float = 0.0, *, on_date: date = ON, note: str = "") -> Replacement:
    return Replacement(zone="jetty", part=part, on_date=on_date, at=reading(after_s), note=note)


def undone(part: str, after_s: float = 0.0) -> ReplacementUndone:
    return ReplacementUndone(zone="jetty", part=part, on_date=ON, at=reading(after_s))


def found(journal: Journal, *entries: object) -> list[str]:
    """Write entries and name the replacements that stand in the journal."""
    write(journal, *entries)
    return [each.id for each in JournalReader(journal.path).replacements()]


def test_the_same_replacement_twice_is_one(journal):
    """A date has one replacement for each part; the last note on it counts."""
    assert found(journal, replaced("steps"), replaced("steps", 60, note="warm white")) == [
        "jetty.steps.2027-06-01"
    ]
    (only,) = JournalReader(journal.path).replacements()
    assert (only.note, only.at.utc) == ("warm white", reading(60).utc)


def test_what_was_taken_back_can_be_recorded_again(journal):
    """Taken back it is gone; recorded once more it stands again."""
    assert found(journal, replaced("relay"), undone("relay", 60)) == []
    assert found(journal, undone("relay", 70)) == []
    assert found(journal, replaced("relay", 80)) == ["jetty.relay.2027-06-01"]


def test_a_replacement_of_a_place_goes_to_its_fixture_once_that_has_an_id(journal):
    """A fixture keeps what was recorded for its place, and what is recorded for both is one replacement."""
    later = date(2027, 7, 1)
    assert found(journal, replaced("1"), replaced("1", on_date=later), replaced("path"), replaced("2")) == [
        "jetty.1.2027-06-01",
        "jetty.path.2027-06-01",
        "jetty.2.2027-06-01",
        "jetty.1.2027-07-01",
    ]
    named = FixtureIds(ids={("jetty", 1): "path", ("nowhere", 2): "spot"})
    assert found(journal, named) == ["jetty.path.2027-06-01", "jetty.2.2027-06-01", "jetty.path.2027-07-01"]
    assert found(journal, named, undone("path")) == ["jetty.2.2027-06-01", "jetty.path.2027-07-01"]


def test_a_clock_behind_a_replacement_is_behind_the_journal(journal):
    """The instant at which one was recorded or taken back is one that a trusted clock has seen."""
    write(journal, replaced("path", 3600))
    assert read_previous_run(journal.path).last_instant_utc == reading(3600).utc
    write(journal, undone("path", 7200))
    assert read_previous_run(journal.path).last_instant_utc == reading(7200).utc
