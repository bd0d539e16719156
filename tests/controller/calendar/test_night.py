"""The night and local time, against real clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.night import Night, local, night_at, night_on, nights, utc_of_local, zone_info
from tests.reference import rows, zone

CHANGES = rows("clock_changes.csv")
WALL_TIMES = rows("rfc5545.csv")
ZONES = sorted({row["zone"] for row in CHANGES})
ODD_ZONES = [
    *ZONES,
    "Pacific/Apia",
    "America/Toronto",
    "Atlantic/Azores",
    "America/Havana",
    "Pacific/Kwajalein",
]
SECOND = timedelta(seconds=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def utc(text: str) -> datetime:
    """Read an instant that ends in Z."""
    return datetime.fromisoformat(text).astimezone(UTC)


def name_of(row: dict[str, str]) -> str:
    """Name a row in the test report."""
    return f"{row['zone']}-{row.get('transition_utc') or row['local_wall_time']}"


def size_of(change: dict[str, str]) -> timedelta:
    """Give by how much the clock jumps; negative where it goes back."""
    return datetime.fromisoformat(change["local_after"]) - datetime.fromisoformat(change["local_before"])


# --- the rule of RFC 5545 ---


@pytest.mark.parametrize("row", WALL_TIMES, ids=name_of)
def test_a_wall_time_in_a_gap_or_a_repeat_means_what_rfc_5545_says(row: dict[str, str]) -> None:
    """A repeated time means its first occurrence, a missing one keeps the offset from before the gap."""
    at_utc = utc_of_local(datetime.fromisoformat(row["local_wall_time"]), zone(row["zone"]))
    assert at_utc == utc(row["rfc5545_utc"])
    assert at_utc.tzinfo is UTC
    assert local(at_utc, zone(row["zone"])).isoformat() == row["rfc5545_as_local"]
    if row["second_occurrence_utc"]:
        assert at_utc < utc(row["second_occurrence_utc"])


@pytest.mark.parametrize(
    ("wall", "expected"),
    [("2007-11-04T01:30:00", "2007-11-04T05:30:00Z"), ("2007-03-11T02:30:00", "2007-03-11T07:30:00Z")],
)
def test_the_examples_of_the_rfc_come_out_as_printed(wall: str, expected: str) -> None:
    """RFC 5545, section 3.3.5, prints these two for America/New_York."""
    assert utc_of_local(datetime.fromisoformat(wall), zone("America/New_York")) == utc(expected)


# --- nights tile time ---


@pytest.mark.parametrize("zone_name", ZONES)
def test_nights_are_a_day_long_but_for_the_size_of_a_clock_change(zone_name: str) -> None:
    """Over three years each night lasts 24 h less what the listed changes skip."""
    tz = zone(zone_name)
    changes = [change for change in CHANGES if change["zone"] == zone_name]
    seen = 0
    for night in nights(date(2026, 1, 1), date(2028, 12, 30), tz):
        inside = [change for change in changes if night.holds(utc(change["transition_utc"]))]
        skipped = sum((size_of(change) for change in inside), timedelta())
        assert night.ends_at_utc - night.starts_at_utc == DAY - skipped, night
        seen += len(inside)
    assert seen == len(changes)


@pytest.mark.parametrize("zone_name", ODD_ZONES)
def test_nights_leave_no_gap_and_never_overlap(zone_name: str) -> None:
    """Each night ends at the instant at which the next begins, asked for one by one or in a row."""
    tz = zone(zone_name)
    for first, last in [
        (date(1919, 1, 1), date(1919, 12, 30)),
        (date(1993, 8, 1), date(1993, 9, 1)),
        (date(2011, 12, 1), date(2012, 2, 1)),
        (date(2026, 1, 1), date(2028, 12, 30)),
    ]:
        row = list(nights(first, last, tz))
        assert [night.date for night in row] == [first + n * DAY for n in range((last - first).days + 1)]
        assert row == [night_on(night.date, tz) for night in row]
        assert all(one.ends_at_utc == two.starts_at_utc for one, two in pairwise(row))


@pytest.mark.parametrize("change", CHANGES, ids=name_of)
def test_the_night_of_an_instant_is_right_around_every_clock_change(change: dict[str, str]) -> None:
    """The night that is found holds the instant, a second before the change, at it, and for a day after."""
    tz = zone(change["zone"])
    at_utc = utc(change["transition_utc"])
    for away in [-DAY, -SECOND, -timedelta(microseconds=1), timedelta(), SECOND, HOUR, 2 * HOUR, DAY]:
        night = night_at(at_utc + away, tz)
        assert night.holds(at_utc + away)
        assert night == night_on(night.date, tz)


@settings(deadline=None)
@given(
    st.datetimes(min_value=datetime(1900, 1, 2), max_value=datetime(2100, 1, 1)),  # noqa: DTZ001
    st.sampled_from(ODD_ZONES),
)
def test_every_instant_lies_in_the_one_night_that_is_found_for_it(naive: datetime, zone_name: str) -> None:
    """Whatever the instant, its night holds it and is the one that its date names."""
    tz = zone(zone_name)
    at_utc = naive.replace(tzinfo=UTC)
    night = night_at(at_utc, tz)
    assert night.holds(at_utc)
    assert night == night_on(night.date, tz)


def test_a_date_that_the_zone_skipped_has_a_night_without_length() -> None:
    """Pacific/Apia had no 30 December 2011: that night is empty and its neighbours meet (tz database)."""
    tz = zone("Pacific/Apia")
    before, skipped, after = nights(date(2011, 12, 29), date(2011, 12, 31), tz)
    assert before.ends_at_utc == skipped.starts_at_utc == skipped.ends_at_utc == after.starts_at_utc
    assert before.ends_at_utc - before.starts_at_utc == DAY
    assert after.ends_at_utc - after.starts_at_utc == DAY
    # 04:00 on the 31st, by a clock that said 29 December at the evening's beginning.
    assert night_at(utc("2011-12-30T14:00:00Z"), tz) == before
    assert night_at(utc("2011-12-30T22:00:00Z"), tz) == after
    assert night_at(utc("2011-12-30T21:59:59Z"), tz) == before


def test_a_date_that_occurs_twice_makes_one_long_night() -> None:
    """Juneau went back from 19 to 18 October 1867 at 15:33: the night of the 19th is two days long."""
    tz = zone("America/Juneau")
    changed = utc("1867-10-19T00:31:13Z")
    assert local(changed, tz).date() == date(1867, 10, 18)
    assert local(changed - SECOND, tz).date() == date(1867, 10, 19)
    night = night_on(date(1867, 10, 19), tz)
    assert night.ends_at_utc - night.starts_at_utc == 2 * DAY
    assert night_at(changed - SECOND, tz) == night_at(changed, tz) == night_at(changed + DAY / 2, tz) == night


def test_a_leap_day_has_a_night_of_its_own() -> None:
    """The 29th of February 2028 begins its own night, and 01:30 of it belongs to the 28th."""
    tz = zone("Europe/London")
    names = [night.date for night in nights(date(2028, 2, 28), date(2028, 3, 1), tz)]
    assert names == [date(2028, 2, 28), date(2028, 2, 29), date(2028, 3, 1)]
    assert night_at(utc("2028-02-29T01:30:00Z"), tz).date == date(2028, 2, 28)
    assert night_at(utc("2028-02-29T23:30:00Z"), tz).date == date(2028, 2, 29)
    assert night_at(utc("2028-03-01T11:59:59Z"), tz).date == date(2028, 2, 29)


def test_noon_begins_the_night_and_does_not_end_in_it() -> None:
    """Noon itself belongs to the night that it begins; a microsecond earlier is the night before."""
    tz = zone("Europe/Oslo")
    noon = utc("2027-06-24T10:00:00Z")
    assert night_at(noon, tz).date == date(2027, 6, 24)
    assert night_at(noon - timedelta(microseconds=1), tz).date == date(2027, 6, 23)


@pytest.mark.parametrize(
    ("zone_name", "night_date", "hours"),
    [
        ("Australia/Lord_Howe", date(2027, 10, 2), 23.5),
        ("Australia/Lord_Howe", date(2027, 4, 3), 24.5),
        ("Antarctica/Troll", date(2027, 3, 27), 22),
        ("Antarctica/Troll", date(2027, 10, 30), 26),
    ],
)
def test_clocks_may_change_by_half_an_hour_or_by_two(zone_name: str, night_date: date, hours: float) -> None:
    """Lord Howe changes by 30 minutes and Troll by two hours (clock_changes.csv)."""
    night = night_on(night_date, zone(zone_name))
    assert (night.ends_at_utc - night.starts_at_utc) / HOUR == hours


# --- what is refused ---


@pytest.mark.parametrize("name", ["Europe/Atlantis", "Europe", "../etc/passwd", ""])
def test_a_zone_that_does_not_exist_is_refused_by_name(name: str) -> None:
    """Whatever is wrong with the name of a zone, the refusal quotes it."""
    with pytest.raises(ValueError, match="is not a time zone") as refusal:
        zone_info(name)
    assert f"“{name}”" in str(refusal.value)


def test_a_zone_that_exists_is_found() -> None:
    """A zone of the tz database comes back under its own name."""
    assert zone_info("Europe/London").key == "Europe/London"


def test_naive_and_local_times_are_refused_where_an_instant_is_meant() -> None:
    """A time without a zone names no instant, and a wall-clock time carries none."""
    tz = zone("Europe/London")
    naive = datetime(2027, 1, 1)  # noqa: DTZ001
    with pytest.raises(ValueError, match="needs a zone"):
        night_at(naive, tz)
    with pytest.raises(ValueError, match="carries no zone"):
        utc_of_local(naive.replace(tzinfo=UTC), tz)
    with pytest.raises(TypeError, match="named by a date"):
        night_on(naive, tz)
    with pytest.raises(ValueError, match="in UTC"):
        Night(date=naive.date(), starts_at_utc=naive.replace(tzinfo=tz), ends_at_utc=naive.replace(tzinfo=tz))
    with pytest.raises(ValueError, match="end before it begins"):
        Night(
            date=naive.date(),
            starts_at_utc=utc("2027-01-02T12:00:00Z"),
            ends_at_utc=utc("2027-01-01T12:00:00Z"),
        )


def test_the_edges_of_the_calendar_are_refused_without_a_crash() -> None:
    """The last date has no next noon, and the first instants have no local time in the west."""
    with pytest.raises(ValueError, match="outside the calendar"):
        night_on(date.max, zone("Europe/London"))
    with pytest.raises(ValueError, match="outside the calendar"):
        night_at(datetime.max.replace(tzinfo=UTC), zone("Pacific/Kiritimati"))
    with pytest.raises(ValueError, match="outside the calendar"):
        night_at(datetime.min.replace(tzinfo=UTC), zone("Pacific/Pago_Pago"))
    with pytest.raises(ValueError, match="outside the calendar"):
        night_at(datetime.min.replace(tzinfo=UTC), zone("Etc/UTC"))
    assert list(nights(date(2027, 1, 2), date(2027, 1, 1), zone("Europe/London"))) == []
