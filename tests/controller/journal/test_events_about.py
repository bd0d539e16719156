"""What history asks of the journal: the events about an interval, its ends, and loads before it."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Event, EventKind
from controller.records.past import LoadAt
from controller.records.reading import Reading
from tests.controller.journal_samples import DUSK, dark, event, heartbeat, lit, reading, written_to

HOUR = 3600.0


def after(seconds: float) -> datetime:
    return DUSK + timedelta(seconds=seconds)


def program(zone: str, at: Reading) -> Event:
    return Event(kind=EventKind.PROGRAM, at=at, words="dusk to midnight", zone=zone)


def life(number: int, starts_h: float, stops_h: float, *, trusted: bool = True) -> list:
    """A keeper's life: started, a program, and stopped, at hours after dusk."""
    at = reading(starts_h * HOUR, boot=f"boot-{number}", boot_s=0.0, trusted=trusted)
    ended = reading(
        stops_h * HOUR, boot=f"boot-{number}", boot_s=(stops_h - starts_h) * HOUR, trusted=trusted
    )
    return [
        event(at, f"life {number}", EventKind.STARTED),
        event(at, "dusk to midnight", EventKind.PROGRAM),
        event(ended, f"end {number}", EventKind.STOPPED),
    ]


def texts_about(reader: JournalReader, from_h: float, to_h: float) -> list[str]:
    """Texts of the events about an interval, in hours after dusk."""
    interval = (DUSK + timedelta(hours=from_h), DUSK + timedelta(hours=to_h))
    return [each.words for each in reader.events_about(*interval)]


@pytest.fixture
def three_runs(tmp_path):
    """Three lives of ten hours each, with two hours between them."""
    return written_to(tmp_path, *life(1, 0, 10), *life(2, 12, 22), *life(3, 24, 34))


def test_a_stretch_begins_with_the_start_of_the_life_that_it_falls_into(three_runs):
    """What was recorded at that start holds in the interval, however long before it that was."""
    program = "dusk to midnight"
    assert texts_about(three_runs, 15, 20) == ["life 2", program, "end 2"]
    assert texts_about(three_runs, 9, 13) == ["life 1", program, "end 1", "life 2", program, "end 2"]


def test_a_stretch_between_two_lives_knows_both_ends(three_runs):
    """The stop before it and the start after it are in, so that the gap can be explained."""
    words = texts_about(three_runs, 10.5, 11.5)
    assert words[2] == "end 1"
    assert words[3:5] == ["life 2", "dusk to midnight"]


def test_a_stretch_before_and_after_everything(three_runs):
    """Before the journal the first run of the program is given; after it the last one."""
    assert texts_about(three_runs, -20, -10)[0] == "life 1"
    assert texts_about(three_runs, 50, 60) == ["life 3", "dusk to midnight", "end 3"]


def test_events_of_a_wrong_clock_stand_where_they_were_written(tmp_path):
    """A run of the program whose clock said 1970 comes between those around it."""
    lost = [
        event(reading(-1e9, boot="boot-2", boot_s=0, trusted=False), "life 2", EventKind.STARTED),
        event(reading(-1e9 + 60, boot="boot-2", boot_s=60, trusted=False), "what time is it"),
    ]
    reader = written_to(tmp_path, *life(1, 0, 10), *lost, *life(3, 24, 34))
    assert texts_about(reader, 5, 30)[2:5] == ["end 1", "life 2", "what time is it"]


def test_a_clock_that_once_ran_ahead_hides_nothing(tmp_path):
    """A trusted entry from years ahead, written early, does not cut off what came after it."""
    ahead = event(reading(1e8, boot="boot-1", boot_s=30), "years ahead")
    first, *rest = life(1, 0, 10)
    reader = written_to(tmp_path, first, ahead, *rest, *life(2, 12, 22))
    assert texts_about(reader, 1, 30)[-1] == "end 2"


def test_an_empty_journal_tells_nothing(tmp_path):
    """No event, no beginning, no sign of life, no load."""
    journal = Journal(tmp_path)
    journal.open()
    journal.close()
    reader = JournalReader(tmp_path)
    assert texts_about(reader, 0, 10) == []
    assert reader.began_at() is None
    assert reader.last_sign() is None
    assert reader.loads_at(DUSK) == {}


def test_the_beginning_is_the_first_that_can_be_believed(tmp_path):
    """A clock that said 1970 does not make the journal old."""
    before = event(reading(-1e9, trusted=False), "what time is it", EventKind.STARTED)
    reader = written_to(tmp_path, before, event(reading(60)), event(reading(90)))
    assert reader.began_at() == DUSK + timedelta(seconds=60)


def test_the_last_sign_is_the_latest_of_the_newest_boot(tmp_path):
    """A heartbeat after the last switching counts, and what a wrong clock dated later does not."""
    wrong: Reading = reading(1e8, boot="boot-1", boot_s=1e4, trusted=False)
    alive = reading(500, boot="boot-2", boot_s=400)
    at = reading(200, boot="boot-2", boot_s=100)
    reader = written_to(tmp_path, event(wrong), lit("jetty", at), heartbeat(alive))
    assert reader.last_sign() == alive


def test_loads_are_those_of_the_last_light_before_else_of_the_first_after(tmp_path):
    """Only what lit a zone counts; a zone that was never lit is left out; an unknown load is none."""
    reader = written_to(
        tmp_path,
        dark("never", reading(1)),
        lit("jetty", reading(10), load_w=30.0),
        dark("jetty", reading(20), load_w=15.0),
        lit("steps", reading(30), load_w=None),
        lit("jetty", reading(40), load_w=15.0),
        lit("later", reading(50), load_w=7.0),
    )
    steps, later = LoadAt(lit_at_utc=after(30), load_w=None), LoadAt(lit_at_utc=after(50), load_w=7.0)
    for at_s, lit_s, load_w in ((25, 10, 30.0), (45, 40, 15.0), (0, 10, 30.0)):
        jetty = LoadAt(lit_at_utc=after(lit_s), load_w=load_w)
        assert reader.loads_at(after(at_s)) == {"jetty": jetty, "steps": steps, "later": later}


def test_a_zone_began_with_its_first_program_by_a_right_clock(tmp_path):
    """A program that a wrong clock dated began once the clock was right; another event begins no zone."""
    wrong = reading(-1e9, trusted=False, boot_s=10)
    reader = written_to(
        tmp_path,
        event(wrong),
        program("jetty", wrong),
        event(reading(60)),
        program("steps", reading(60)),
        program("steps", reading(90)),
        Event(kind=EventKind.RELAY_FAULT, at=reading(95), words="stuck", zone="pond"),
        program("later", reading(120, trusted=False)),
    )
    assert reader.zones_began() == {"jetty": after(60), "steps": after(60)}
