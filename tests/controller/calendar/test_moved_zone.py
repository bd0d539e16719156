"""Local time where the time zone of the site was changed, against zones that the tz database itself moved."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.moved_zone import MovedZone
from controller.calendar.night import nights

YORK, BERLIN, APIA = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin"), ZoneInfo("Pacific/Apia")
MOVED_AT = datetime(2027, 6, 20, 16, tzinfo=UTC)
NEW_YEAR = datetime(2026, 1, 1, tzinfo=UTC)
INSTANTS = st.integers(0, 3 * 365 * 86_400).map(lambda seconds: NEW_YEAR + timedelta(seconds=seconds))
ZONES = st.sampled_from([YORK, BERLIN, APIA, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("UTC")])


@given(at_utc=INSTANTS)
def test_a_zone_that_the_tz_database_moved(at_utc):
    """UTC-10 up to a change and UTC+14 from then on is Samoa's move across the date line of December 2011."""
    at_utc = at_utc.replace(year=2011, month=12, day=29) + timedelta(hours=at_utc.day)
    moved = MovedZone.of(
        [
            (datetime(2011, 10, 1, tzinfo=UTC), _Fixed.of(-10)),
            (datetime(2011, 12, 30, 10, tzinfo=UTC), _Fixed.of(14)),
        ]
    )
    theirs, ours = at_utc.astimezone(APIA), at_utc.astimezone(moved)
    assert (ours.replace(tzinfo=None), ours.utcoffset()) == (theirs.replace(tzinfo=None), theirs.utcoffset())


class _Fixed(ZoneInfo):
    """A zone with one offset, made of the tz database's own."""

    @classmethod
    def of(cls, hours: int) -> ZoneInfo:
        return ZoneInfo(f"Etc/GMT{-hours:+d}")


@given(at_utc=INSTANTS, moved_at=INSTANTS, zone=ZONES)
def test_a_move_to_the_same_zone_changes_nothing(at_utc, moved_at, zone):
    """Wherever a zone is cut in two, each instant and each local time means what it meant."""
    same = ZoneInfo.no_cache(zone.key)
    moved = MovedZone.of([(moved_at, zone), (moved_at, same)])
    assert isinstance(moved, MovedZone)
    ours, theirs = at_utc.astimezone(moved), at_utc.astimezone(zone)
    assert (ours.replace(tzinfo=None), ours.fold) == (theirs.replace(tzinfo=None), theirs.fold)
    for fold in (0, 1):
        wall = at_utc.replace(tzinfo=zone, fold=fold)
        assert wall.replace(tzinfo=moved).utcoffset() == wall.utcoffset()


@given(at_utc=INSTANTS, moved_at=INSTANTS, before=ZONES, after=ZONES)
@settings(max_examples=400)
def test_an_instant_comes_back(at_utc, moved_at, before, after):
    """From an instant to local time and back is the same instant, however the zones follow each other."""
    moved = MovedZone.of([(moved_at, before), (moved_at, after)])
    zone = before if at_utc < moved_at else after
    there = at_utc.astimezone(moved)
    assert there.replace(tzinfo=None) == at_utc.astimezone(zone).replace(tzinfo=None)
    assert there.astimezone(UTC) == at_utc


@given(moved_at=INSTANTS, before=ZONES, after=ZONES)
@settings(deadline=None)
def test_nights_go_on_across_a_move(moved_at, before, after):
    """Nights follow each other without gap, and one that is over before the move keeps its edges."""
    moved, day = MovedZone.of([(moved_at, before), (moved_at, after)]), moved_at.date()
    found = list(nights(day - timedelta(days=4), day + timedelta(days=4), moved))
    for one, other in pairwise(found):
        assert one.ends_at_utc == other.starts_at_utc
    old = {night.date: night for night in nights(day - timedelta(days=4), day + timedelta(days=4), before)}
    for night in found:
        if old[night.date].ends_at_utc < moved_at:
            assert night == old[night.date]


def test_a_local_time_that_a_move_skips_is_read_with_the_offset_before():
    """New York to Berlin at noon skips six hours: 15:00 is read with New York's offset, as in any gap."""
    moved = MovedZone.of([(MOVED_AT, YORK), (MOVED_AT, BERLIN)])
    skipped = datetime(2027, 6, 20, 15, tzinfo=moved)
    assert skipped.astimezone(UTC) == datetime(2027, 6, 20, 19, tzinfo=UTC)
    assert skipped.replace(fold=1).utcoffset() == timedelta(hours=2)


@pytest.mark.parametrize(("fold", "hour_utc"), [(0, 12), (1, 18)])
def test_a_local_time_that_a_move_repeats_means_its_first_occurrence(fold, hour_utc):
    """Berlin to New York at 18:00 repeats six hours: 14:00 is Berlin's, and New York's only with fold 1."""
    moved = MovedZone.of([(MOVED_AT, BERLIN), (MOVED_AT, YORK)])
    wall = datetime(2027, 6, 20, 14, tzinfo=moved, fold=fold)
    assert wall.astimezone(UTC) == datetime(2027, 6, 20, hour_utc, tzinfo=UTC)


def test_no_move_is_the_zone_itself():
    """Where the zone stays the same, nothing is wrapped."""
    assert MovedZone.of([(MOVED_AT, YORK), (MOVED_AT + timedelta(days=1), YORK)]) is YORK
