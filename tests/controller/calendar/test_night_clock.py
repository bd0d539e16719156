"""Clock times in a night, and midnight, where the clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from controller.calendar.night import Night, clock_in_night, local, night_on, nights
from tests.controller.calendar.test_night import CHANGES, DAY, HOUR, ODD_ZONES, SECOND, name_of, size_of, utc
from tests.reference import zone


@pytest.mark.parametrize("zone_name", ODD_ZONES)
def test_clock_times_stay_inside_their_night(zone_name: str) -> None:
    """No clock time leaves the night around any clock change, and each that occurs once shows on the wall."""
    tz = zone(zone_name)
    dates = {utc(change["transition_utc"]).date() for change in CHANGES if change["zone"] == zone_name}
    dates |= {date(2011, 12, 30), date(1919, 3, 31), date(1993, 8, 21), date(2027, 10, 31)}
    for on_date in sorted(dates):
        for night in nights(on_date - 2 * DAY, on_date + DAY, tz):
            for minutes in range(0, 24 * 60, 15):
                hour, minute = divmod(minutes, 60)
                at_utc = clock_in_night(night, hour, minute, tz)
                assert night.starts_at_utc <= at_utc <= night.ends_at_utc
                assert at_utc.tzinfo is UTC
                shown = local(at_utc, tz)
                wall = datetime.combine(night.date if hour >= 12 else night.date + DAY, shown.time())
                if occurs_once(wall.replace(hour=hour, minute=minute, second=0), tz) and not is_empty(night):
                    assert (shown.hour, shown.minute, shown.second) == (hour, minute, 0), night


def occurs_once(wall: datetime, tz: ZoneInfo) -> bool:
    """Whether a wall-clock time occurs exactly once (PEP 495: both folds agree and come back the same)."""
    first, second = (wall.replace(tzinfo=tz, fold=fold) for fold in (0, 1))
    there_and_back = first.astimezone(UTC).astimezone(tz).replace(tzinfo=None)
    return first.utcoffset() == second.utcoffset() and there_and_back == wall


def is_empty(night: Night) -> bool:
    """Whether a night has no length."""
    return night.starts_at_utc == night.ends_at_utc


def test_afternoon_belongs_to_the_nights_own_date_and_morning_to_the_next() -> None:
    """12:00 to 23:59 fall on the night's own date, 00:00 to 11:59 on the next."""
    tz = zone("Europe/Oslo")
    night = night_on(date(2027, 6, 24), tz)
    assert local(clock_in_night(night, 12, 0, tz), tz).isoformat() == "2027-06-24T12:00:00+02:00"
    assert local(clock_in_night(night, 23, 59, tz), tz).isoformat() == "2027-06-24T23:59:00+02:00"
    assert local(clock_in_night(night, 0, 0, tz), tz).isoformat() == "2027-06-25T00:00:00+02:00"
    assert local(clock_in_night(night, 1, 30, tz), tz).isoformat() == "2027-06-25T01:30:00+02:00"
    assert local(clock_in_night(night, 11, 59, tz), tz).isoformat() == "2027-06-25T11:59:00+02:00"


AT_MIDNIGHT = [row for row in CHANGES if row["local_before"].endswith("T00:00:00")]
MIDNIGHT_GAPS = [row for row in AT_MIDNIGHT if row["kind"] == "gap"]
MIDNIGHT_FOLDS = [row for row in AT_MIDNIGHT if row["kind"] == "fold"]


@pytest.mark.parametrize("change", MIDNIGHT_GAPS, ids=name_of)
def test_midnight_that_does_not_exist_is_the_moment_of_the_change(change: dict[str, str]) -> None:
    """Where 00:00 is skipped, midnight is the first instant of the new date: the change itself."""
    tz = zone(change["zone"])
    evening = datetime.fromisoformat(change["local_before"]).date() - DAY
    assert clock_in_night(night_on(evening, tz), 0, 0, tz) == utc(change["transition_utc"])


@pytest.mark.parametrize("change", MIDNIGHT_FOLDS, ids=name_of)
def test_midnight_after_a_repeated_last_hour_comes_when_the_date_changes(change: dict[str, str]) -> None:
    """Where the clock goes back at 24:00, the date changes once, after the repeat."""
    tz = zone(change["zone"])
    evening = datetime.fromisoformat(change["local_before"]).date() - DAY
    assert clock_in_night(night_on(evening, tz), 0, 0, tz) == utc(change["transition_utc"]) - size_of(change)


@pytest.mark.parametrize(
    ("zone_name", "evening", "first", "second"),
    [
        ("Atlantic/Azores", date(2027, 10, 30), "2027-10-31T00:00:00Z", "2027-10-31T01:00:00Z"),
        ("America/Havana", date(2025, 11, 1), "2025-11-02T04:00:00Z", "2025-11-02T05:00:00Z"),
    ],
)
def test_midnight_that_occurs_twice_is_the_first(
    zone_name: str, evening: date, first: str, second: str
) -> None:
    """In the Azores and in Havana 01:00 goes back to 00:00; the new date has then begun (tz database)."""
    tz = zone(zone_name)
    assert local(utc(first), tz).time() == local(utc(second), tz).time() == datetime.min.time()
    assert clock_in_night(night_on(evening, tz), 0, 0, tz) == utc(first)


def test_midnight_inside_a_gap_is_the_first_instant_of_the_new_date() -> None:
    """Toronto went from 23:30 to 00:30 on 30 March 1919: the new date began at 04:30Z (tz database)."""
    tz = zone("America/Toronto")
    midnight = clock_in_night(night_on(date(1919, 3, 30), tz), 0, 0, tz)
    assert midnight == utc("1919-03-31T04:30:00Z")
    assert local(midnight - SECOND, tz).date() == date(1919, 3, 30)


def test_midnight_before_a_skipped_date_is_where_the_calendar_jumps() -> None:
    """In Apia the 29th of December 2011 was followed by the 31st, at 10:00Z (tz database)."""
    tz = zone("Pacific/Apia")
    assert clock_in_night(night_on(date(2011, 12, 29), tz), 0, 0, tz) == utc("2011-12-30T10:00:00Z")


@pytest.mark.parametrize("zone_name", ODD_ZONES)
def test_midnight_is_always_the_first_instant_of_a_date(zone_name: str) -> None:
    """A second before midnight it is still the date before, whatever the clocks do."""
    tz = zone(zone_name)
    for first in (date(1919, 1, 1), date(2011, 7, 1), date(2026, 1, 1), date(2027, 1, 1), date(2028, 1, 1)):
        for night in nights(first, first + 364 * DAY, tz):
            if is_empty(night):
                continue
            midnight = clock_in_night(night, 0, 0, tz)
            assert local(midnight, tz).date() > night.date
            assert local(midnight - SECOND, tz).date() == night.date


@pytest.mark.parametrize(
    ("evening", "hours"), [(date(2027, 3, 13), 3), (date(2026, 10, 31), 5), (date(2027, 6, 1), 4)]
)
def test_the_same_clock_times_last_longer_or_shorter_over_a_change(evening: date, hours: int) -> None:
    """23:30 to 03:30 in New York lasts 3, 5 and 4 hours (energy.json, E5)."""
    tz = zone("America/New_York")
    night = night_on(evening, tz)
    assert (clock_in_night(night, 3, 30, tz) - clock_in_night(night, 23, 30, tz)) / HOUR == hours


@pytest.mark.parametrize(("hour", "minute"), [(24, 0), (-1, 0), (12, 60), (0, -1)])
def test_a_time_that_no_clock_shows_is_refused(hour: int, minute: int) -> None:
    """Hours go from 0 to 23 and minutes from 0 to 59."""
    tz = zone("Europe/London")
    with pytest.raises(ValueError, match="must be in"):
        clock_in_night(night_on(date(2027, 1, 1), tz), hour, minute, tz)
