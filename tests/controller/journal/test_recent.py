"""The ids of entries, in memory and in the journal."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.journal.reader import JournalReader
from controller.journal.recent import EntryId, RecentEntries
from controller.records.entries import Cause, Event, EventKind, Heartbeat, Override, OverrideEnded, Switching
from tests.controller.journal.lost_and_found import Garden


def note(now, kind=EventKind.RELAY_FAULT):
    return Event(kind=kind, at=now, words="stuck", zone="jetty")


def ids(found):
    return [str(name) for name, _ in found]


@pytest.fixture
def garden(tmp_path: Path):
    garden = Garden(tmp_path)
    yield garden
    garden.journal.close()


def test_ids_only_grow(garden):
    """Ids grow from entry to entry, also within one millisecond and where an entry is older than the last."""
    recent, now = RecentEntries(), garden.clock.read()
    garden.clock.advance(0.0004)
    almost_now = garden.clock.read()
    garden.clock.advance(2.0)
    later = garden.clock.read()
    for reading in (now, almost_now, later, now, later):
        recent.add(note(reading))
    assert ids(recent.all()) == [f"boot-1:{name}" for name in ("0:1", "0:2", "2000:1", "2000:2", "2000:3")]


def test_others_are_not_told_everything(garden):
    """Heartbeats, and who was let in, have no id; nor has what the journal alone needs."""
    recent, now = RecentEntries(), garden.clock.read()
    recent.add(Heartbeat(at=now))
    recent.add(note(now, EventKind.JOURNAL_REPLACED))
    assert recent.last is None


@pytest.mark.parametrize(
    "text", ["", "7", "boot-1:1", "boot-1:x:1", "boot 1:1:1", "boot-1:1:1\n", "b:1:1:1", "b:٣:1"]
)
def test_what_is_no_id_is_none(text):
    """A text that is no id is not read as one, and one that is comes back as it was."""
    assert EntryId.parse(text) is None
    assert str(EntryId.parse("boot-1:17:2")) == "boot-1:17:2"


def test_the_oldest_are_forgotten(garden):
    """Beyond the bound the oldest entries go: what follows them cannot be told any longer."""
    recent = RecentEntries(bound=3)
    for _ in range(5):
        garden.clock.advance(1.0)
        recent.add(note(garden.clock.read()))
    assert ids(recent.after(EntryId("boot-1", 3000, 1))) == ["boot-1:4000:1", "boot-1:5000:1"]
    assert recent.after(EntryId("boot-1", 5000, 1)) == []
    assert recent.after(EntryId("boot-1", 2000, 1)) is None
    assert recent.all() is None


def as_told(found):
    """What was told, in an order of its own: within a millisecond the journal's is not that of memory."""
    return sorted(
        (name.boot_id, name.boot_ms, type(entry).__name__, entry.zone or "", getattr(entry, "words", ""))
        for name, entry in found
    )


def an_evening(garden):
    """Let a night with overrides pass, and give all of which others were told, with its ids."""
    garden.until("20:30")
    garden.keeper.override("orchard", on=True, lasts_s=600.0)
    garden.round()
    garden.keeper.override("orchard", on=True, lasts_s=1200.0)
    garden.round()
    garden.until("21:30")
    garden.keeper.override("jetty", on=False)
    garden.round()
    garden.keeper.lift_override("jetty")
    garden.until("00:30")
    return garden.journal.recent.all()


@pytest.mark.parametrize("how", ["stop", "cut"])
def test_the_next_keeper_knows_what_followed_an_entry(garden, how):
    """After a restart or a power cut, the journal gives all that followed any entry, by the same id."""
    told = an_evening(garden)
    assert {type(entry) for _, entry in told} == {Switching, Override, OverrideEnded, Event}
    if how == "stop":
        garden.stop()
        garden.clock.advance(1.0)
        told = garden.journal.recent.all()
    else:
        garden.cut(off_s=100.0)
    garden.begin()
    reader, first = JournalReader(garden.state), garden.journal.recent.first
    last_of_its_moment = {(name.boot_ms): number for number, (name, _) in enumerate(told)}
    for number, (name, _) in enumerate(told):
        found = reader.news_after(name, before=first, most=1000)
        # Those of the same millisecond may be told twice, and are never left out.
        wanted = as_told(told[number + 1 :])
        assert not [each for each in wanted if each not in as_told(found)], name
        if last_of_its_moment[name.boot_ms] == number:
            assert as_told(found) == wanted, name
        assert ids(found) == ids(sorted(found, key=lambda each: (each[0].boot_ms, each[0].number)))


def test_a_run_that_the_power_cut_ended_is_told(garden):
    """What an earlier keeper left lit is told to have ended, once the next one has written that."""
    garden.until("20:30")
    name = garden.journal.recent.last
    garden.cut(off_s=100.0)
    garden.begin()
    found = JournalReader(garden.state).news_after(name, before=garden.journal.recent.first, most=10)
    assert [entry.cause for _, entry in found if isinstance(entry, Switching) and not entry.on] == [
        Cause.POWER_LOST
    ]


def test_an_id_of_another_journal_is_not_known(garden, tmp_path):
    """An id of a boot, or of a moment, that is not in the journal leads nowhere."""
    told = an_evening(garden)
    garden.stop()
    garden.begin()
    reader, first = JournalReader(garden.state), garden.journal.recent.first
    name = told[-1][0]
    for other in (EntryId("boot-9", name.boot_ms, 1), EntryId(name.boot_id, name.boot_ms + 1, 1)):
        assert reader.news_after(other, before=first, most=1000) is None
    assert reader.news_after(told[0][0], before=first, most=len(told) - 2) is None


@pytest.mark.parametrize("change", ["remove", "delete_journal"])
def test_another_file_in_the_journals_place_begins_anew(garden, change):
    """Once another file took the journal's place nothing earlier leads anywhere, after a restart neither."""
    garden.until("20:30")
    told = garden.journal.recent.all()
    getattr(garden, change)()
    garden.until("20:31")
    recent = garden.journal.recent
    assert recent.forgotten == 1
    assert recent.all() is None
    assert all(recent.after(name) is None for name, _ in told)
    garden.stop()
    garden.begin()
    reader, first = JournalReader(garden.state), garden.journal.recent.first
    assert all(reader.news_after(name, before=first, most=1000) is None for name, _ in told)
