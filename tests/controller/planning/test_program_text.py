"""What zones were told to do: written into the journal at every start and change, and read again."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.models.site import Zone
from controller.clock.clock import SteppedClock
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.planning.program_record import parse_program_record
from controller.planning.program_text import REMOVED, format_program
from controller.records.entries import EventKind
from controller.relays import open_relays
from tests.config.strategies import nights, spans
from tests.sites import site, zone


def test_a_line_says_it_all():
    """Spans, nights that differ, dark nights and a zone out of service stand in one line."""
    made = Zone.model_validate(
        zone(
            "drive",
            "dusk to 22:00",
            "05:30 to dawn",
            special=[("Fri, Sat", ["dusk to 01:30"]), ("12-24 to 12-26", [])],
            out_of_service="the post; it was felled",
        )
    )
    assert format_program(made) == (
        "dusk to 22:00 and 05:30 to dawn; Fri, Sat: dusk to 01:30; 12-24 to 12-26: dark; "
        "out of service: the post; it was felled"
    )


@given(
    program=st.lists(spans, max_size=3),
    special=st.lists(st.tuples(nights, st.lists(spans, max_size=2)), max_size=3),
    reason=st.none() | st.sampled_from(["felled", "a; b: c and d; out of service: e", "dark"]),
)
def test_every_line_reads_back_as_it_was_told(program, special, reason):
    """Whatever can stand in a site file comes back as it was."""
    made = Zone.model_validate(
        {
            "id": "path",
            "pin": 4,
            "program": program,
            "special_nights": [{"nights": when, "program": then} for when, then in special],
            "out_of_service": reason,
        }
    )
    told = parse_program_record("path", format_program(made))
    assert told is not None
    assert (told.id, told.program, told.out_of_service) == ("path", made.program, made.out_of_service)
    assert [(each.nights, each.program) for each in told.special_nights] == [
        (each.nights, each.program) for each in made.special_nights
    ]


def test_a_zone_that_is_gone_does_nothing():
    """The line of a zone that is gone is no program."""
    assert parse_program_record("path", REMOVED) is None


@pytest.fixture
def journal(tmp_path):
    journal = Journal(tmp_path)
    journal.open()
    yield journal
    journal.close()


def test_the_keeper_tells_programs_at_its_start_and_where_they_change(journal):
    """A start tells every zone; a change tells what differs and what is gone, and nothing else."""
    clock = SteppedClock(datetime(2027, 6, 21, 12, tzinfo=UTC))
    jetty, path = zone("jetty"), zone("path", "dusk to 23:00", pin=18)
    keeper = Keeper(site(jetty, path), clock=clock, relays=open_relays("simulated"), journal=journal)
    clock.advance(3600)
    keeper.change_site(site(jetty, path, dusk_angle=7), words="another dusk")
    clock.advance(3600)
    keeper.change_site(site(zone("jetty", "dusk to 01:00")), words="changed")
    keeper.stop()
    journal.flush()
    told = [
        (each.at.utc.hour, each.zone, each.words)
        for each in JournalReader(journal.directory).events()
        if each.kind is EventKind.PROGRAM
    ]
    assert told == [
        (12, "jetty", "dusk to midnight"),
        (12, "path", "dusk to 23:00"),
        (14, "path", REMOVED),
        (14, "jetty", "dusk to 01:00"),
    ]
