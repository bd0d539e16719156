"""What was planned in the past: by the programs that were in force, as the journal was told them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from controller.calendar.intervals import MS_PER_HOUR, ms_of
from controller.calendar.night import nights
from controller.history.clock_correction import ClockCorrection
from controller.history.programs import planned_intervals, program_periods
from controller.history.site_history import SiteHistory
from controller.planning.planner import Planner
from controller.planning.program_text import REMOVED
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading
from tests.sites import site

START = datetime(2027, 6, 21, 12, tzinfo=UTC)
ALMANAC = Planner(site(latitude=0, longitude=0, time_zone="Etc/UTC"))


def at(hours: float, *, boot: str = "boot-1", trusted: bool = True, wrong_by_h: float = 0.0) -> Reading:
    """A reading some hours after the start; its boot began at the start."""
    utc = START + timedelta(hours=hours + wrong_by_h)
    return Reading(utc=utc, boot_s=hours * 3600, boot_id=boot, trusted=trusted, trust="")


def started(when: Reading) -> Event:
    return Event(kind=EventKind.STARTED, at=when, words="site")


def told(zone: str, words: str, when: Reading) -> Event:
    return Event(kind=EventKind.PROGRAM, at=when, words=words, zone=zone)


def in_force(*events: Event, ends_h: float = 100):
    """Programs by zone: words, from when to when, in hours after the start."""
    correction = ClockCorrection([each.at for each in events])
    begins_ms = ms_of(START)
    found = program_periods(
        events, correction, starts_ms=begins_ms, ends_ms=begins_ms + round(ends_h * MS_PER_HOUR)
    )
    return {
        zone: [
            (
                " and ".join(str(span) for span in each.program.program),
                (each.starts_ms - begins_ms) / MS_PER_HOUR,
                (each.ends_ms - begins_ms) / MS_PER_HOUR,
            )
            for each in programs
        ]
        for zone, programs in found.items()
    }


def test_a_program_holds_until_another_is_told():
    """From the start of the stretch to the change, and from the change to the end."""
    events = [
        started(at(-5)),
        told("path", "20:00 to 22:00", at(-5)),
        told("path", "20:00 to 23:00", at(30)),
    ]
    assert in_force(*events) == {"path": [("20:00 to 22:00", 0, 30), ("20:00 to 23:00", 30, 100)]}


def test_the_same_told_again_is_one_program():
    """A start that tells what held before cuts nothing."""
    events = [
        started(at(0)),
        told("path", "20:00 to 22:00", at(0)),
        started(at(40, boot="boot-2")),
        told("path", "20:00 to 22:00", at(40, boot="boot-2")),
    ]
    assert in_force(*events) == {"path": [("20:00 to 22:00", 0, 100)]}


def test_a_zone_that_a_start_does_not_tell_of_is_gone():
    """Taken out of the site file while the keeper was stopped, or while it ran, and put back later."""
    again = at(40, boot="boot-2")
    events = [
        started(at(0)),
        told("path", "20:00 to 22:00", at(0)),
        told("oak", "20:00 to 21:00", at(0)),
        started(again),
        told("oak", "20:00 to 21:00", again),
        told("oak", REMOVED, at(50, boot="boot-2")),
        told("oak", "20:00 to 21:00", at(60, boot="boot-2")),
    ]
    assert in_force(*events) == {
        "path": [("20:00 to 22:00", 0, 40)],
        "oak": [("20:00 to 21:00", 0, 50), ("20:00 to 21:00", 60, 100)],
    }


def test_what_a_wrong_clock_told_is_put_where_it_belongs():
    """A start with the clock in the past, put right an hour later: its program holds from the true start."""
    wrong = at(40, boot="boot-2", trusted=False, wrong_by_h=-5000)
    events = [
        started(at(0)),
        told("path", "20:00 to 22:00", at(0)),
        started(wrong),
        told("path", "20:00 to 23:00", wrong),
        Event(kind=EventKind.CLOCK_TRUSTED, at=at(41, boot="boot-2"), words="", size_s=3600),
    ]
    assert in_force(*events) == {"path": [("20:00 to 22:00", 0, 40), ("20:00 to 23:00", 40, 100)]}


def test_what_was_planned_is_cut_where_the_program_changed():
    """Changed at nine in the evening: until then the old program, from then on the new one."""
    events = [
        started(at(0)),
        told("path", "20:00 to 22:00", at(0)),
        told("path", "20:30 to 23:00", at(9)),
    ]
    correction = ClockCorrection([each.at for each in events])
    begins_ms = ms_of(START)
    programs = program_periods(events, correction, starts_ms=begins_ms, ends_ms=begins_ms + 48 * MS_PER_HOUR)
    two = list(nights(START.date(), START.date() + timedelta(days=1), ALMANAC.tz))
    sites = SiteHistory(ALMANAC, ()).periods((two[0].interval[0], two[-1].interval[1]))
    planned = planned_intervals(programs["path"], two, sites)
    edges_h = [(edge - begins_ms) / MS_PER_HOUR for interval in planned for edge in interval]
    assert edges_h == [8, 11, 32.5, 35]
