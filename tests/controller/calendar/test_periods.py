"""Nights, months, seasons and years as stretches of UTC."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import PeriodError
from controller.calendar.periods import (
    Each,
    Period,
    Season,
    cut_into,
    month_of,
    parse_period,
    season_at,
    season_of,
    split,
    stretch_of_nights,
    up_to,
    year_earlier,
)

OSLO = ZoneInfo("Europe/Oslo")
NORTH, SOUTH = 59.9, -33.9


def test_a_month_is_the_nights_named_in_it():
    """March 2027 in Oslo begins at a noon in winter time and ends at one in summer time."""
    month = month_of(2027, 3, OSLO)
    assert (month.name, month.nights) == ("2027-03", 31)
    assert month.starts_at_utc == datetime(2027, 3, 1, 11, tzinfo=UTC)
    assert month.ends_at_utc == datetime(2027, 4, 1, 10, tzinfo=UTC)


# World Meteorological Organization practice: meteorological seasons are the quarters from 1 December on.
@pytest.mark.parametrize(
    ("year", "season", "latitude_deg", "first", "last"),
    [
        (2027, Season.WINTER, NORTH, "2027-12-01", "2028-02-29"),
        (2027, Season.SPRING, NORTH, "2027-03-01", "2027-05-31"),
        (2027, Season.SUMMER, NORTH, "2027-06-01", "2027-08-31"),
        (2027, Season.AUTUMN, NORTH, "2027-09-01", "2027-11-30"),
        (2026, Season.SUMMER, SOUTH, "2026-12-01", "2027-02-28"),
        (2027, Season.AUTUMN, SOUTH, "2027-03-01", "2027-05-31"),
        (2027, Season.WINTER, SOUTH, "2027-06-01", "2027-08-31"),
        (2027, Season.SPRING, SOUTH, "2027-09-01", "2027-11-30"),
        (2027, Season.WINTER, 0.0, "2027-12-01", "2028-02-29"),
    ],
)
def test_seasons_are_meteorological_quarters(year, season, latitude_deg, first, last):
    """A season is three whole months by its hemisphere; the one that spans New Year is one."""
    period = season_of(year, season, OSLO, latitude_deg=latitude_deg)
    assert (period.name, str(period.first), str(period.last)) == (f"{year}-{season}", first, last)
    assert season_at(period.first, latitude_deg) == season_at(period.last, latitude_deg) == (year, season)


@pytest.mark.parametrize(
    ("text", "name", "first", "last"),
    [
        ("2027-06-21", "2027-06-21", "2027-06-21", "2027-06-21"),
        ("2028-02", "2028-02", "2028-02-01", "2028-02-29"),
        ("2027-winter", "2027-winter", "2027-12-01", "2028-02-29"),
        ("2027", "2027", "2027-01-01", "2027-12-31"),
        ("2027-12-24 to 2028-01-06", "2027-12-24 to 2028-01-06", "2027-12-24", "2028-01-06"),
        (" 2027-12-24 to 2027-12-24 ", "2027-12-24", "2027-12-24", "2027-12-24"),
    ],
)
def test_a_period_is_read_as_a_person_writes_it(text, name, first, last):
    """A night, a month, a season, a year and two nights joined by "to" are understood, and read back."""
    period = parse_period(text, OSLO, latitude_deg=NORTH)
    assert (period.name, str(period.first), str(period.last)) == (name, first, last)
    assert parse_period(period.name, OSLO, latitude_deg=NORTH) == period


@pytest.mark.parametrize(
    "text", ["", "2027-13", "2027-fall", "27", "20270", "2027-02-29", "2027-06-21 to 2027-06-20"]
)
def test_what_is_no_period_is_refused_with_examples(text):
    """A text that is not a period is quoted, with what would do."""
    with pytest.raises(PeriodError, match=rf"“{text}” is not a period .*write 2027-06-21"):
        parse_period(text, OSLO, latitude_deg=NORTH)


def test_a_season_of_another_name_is_told_the_four():
    """A word that is no season is answered with those that there are."""
    with pytest.raises(PeriodError, match=r"\(a season is spring, summer, autumn or winter\)"):
        parse_period("2027-fall", OSLO, latitude_deg=NORTH)


@settings(max_examples=80)
@given(
    st.dates(date(2026, 1, 1), date(2028, 12, 31)),
    st.integers(0, 500),
    st.sampled_from(list(Each)),
    st.sampled_from(["Europe/Oslo", "Australia/Lord_Howe", "Africa/Cairo", "Pacific/Kiritimati"]),
    st.sampled_from([NORTH, SOUTH]),
)
def test_pieces_tile_the_whole(first, more, each, zone, latitude_deg):
    """Nights, months, seasons and years of a stretch follow each other without gap or overlap."""
    tz = ZoneInfo(zone)
    whole = stretch_of_nights(first, first + timedelta(days=more), tz)
    pieces = split(whole, each, tz, latitude_deg=latitude_deg)
    assert (pieces[0].starts_at_utc, pieces[-1].ends_at_utc) == (whole.starts_at_utc, whole.ends_at_utc)
    assert all(a.ends_at_utc == b.starts_at_utc for a, b in pairwise(pieces))
    assert sum(piece.nights for piece in pieces) == whole.nights
    if each is Each.SEASON:
        assert len({piece.name for piece in pieces}) == len(pieces)
        for piece in pieces:
            assert season_at(piece.first, latitude_deg) == season_at(piece.last, latitude_deg)
    if each is Each.MONTH:
        assert all(f"{piece.first:%Y-%m}" == f"{piece.last:%Y-%m}" == piece.name for piece in pieces)
    if each is Each.YEAR:
        assert all(f"{piece.first.year}" == f"{piece.last.year}" == piece.name for piece in pieces)


@settings(max_examples=80)
@given(st.dates(date(2026, 1, 1), date(2028, 12, 31)), st.integers(0, 500), st.integers(1, 120))
def test_a_long_period_is_cut_into_pieces_of_its_name(first, more, most_nights):
    """The pieces tile the period, none has more nights than asked for, and each has the period's name."""
    whole = stretch_of_nights(first, first + timedelta(days=more), OSLO)
    cut = up_to(whole, whole.ends_at_utc - timedelta(minutes=1), OSLO)
    for period in (whole, cut):
        pieces = list(cut_into(period, most_nights, OSLO))
        assert (pieces[0].starts_at_utc, pieces[-1].ends_at_utc) == (period.starts_at_utc, period.ends_at_utc)
        assert all(a.ends_at_utc == b.starts_at_utc for a, b in pairwise(pieces))
        assert sum(piece.nights for piece in pieces) == whole.nights
        assert {piece.nights for piece in pieces[:-1]} <= {most_nights}
        assert {piece.name for piece in pieces} == {whole.name}


def test_a_period_is_cut_at_an_instant():
    """Of June up to 01:00 on the 20th local time, nineteen nights are left, the last one not to its end."""
    june = month_of(2027, 6, OSLO)
    at_utc = datetime(2027, 6, 19, 23, tzinfo=UTC)
    cut = up_to(june, at_utc, OSLO)
    assert (cut.name, cut.first, cut.last) == ("2027-06", date(2027, 6, 1), date(2027, 6, 19))
    assert (cut.starts_at_utc, cut.ends_at_utc) == (june.starts_at_utc, at_utc)
    assert up_to(june, june.ends_at_utc, OSLO) == june
    assert up_to(june, june.starts_at_utc, OSLO) is None


@pytest.mark.parametrize(
    ("text", "earlier", "first", "last"),
    [
        ("2028-06-21", "2027-06-21", "2027-06-21", "2027-06-21"),
        ("2029-02-28", "2028-02-28", "2028-02-28", "2028-02-28"),
        ("2028-06", "2027-06", "2027-06-01", "2027-06-30"),
        ("2028-02", "2027-02", "2027-02-01", "2027-02-28"),
        ("2029-02", "2028-02", "2028-02-01", "2028-02-29"),
        ("2028-winter", "2027-winter", "2027-12-01", "2028-02-29"),
        ("2028", "2027", "2027-01-01", "2027-12-31"),
        ("2028-02-29 to 2028-03-10", "2027-03-01 to 2027-03-10", "2027-03-01", "2027-03-10"),
        ("2028-02-10 to 2028-02-29", "2027-02-10 to 2027-02-28", "2027-02-10", "2027-02-28"),
    ],
)
def test_the_same_period_a_year_earlier(text, earlier, first, last):
    """A month, season or year is compared with a whole one, nights with those of the same dates."""
    period = year_earlier(parse_period(text, OSLO, latitude_deg=NORTH), OSLO, latitude_deg=NORTH)
    assert (period.name, str(period.first), str(period.last)) == (earlier, first, last)


def test_no_night_stands_for_the_29th_of_february():
    """The night of a leap day has no counterpart a year earlier, and nor has one before the calendar."""
    leap_day = parse_period("2028-02-29", OSLO, latitude_deg=NORTH)
    assert year_earlier(leap_day, OSLO, latitude_deg=NORTH) is None
    assert year_earlier(parse_period("0001-06", OSLO, latitude_deg=NORTH), OSLO, latitude_deg=NORTH) is None


@settings(max_examples=80)
@given(
    st.dates(date(2026, 1, 1), date(2029, 12, 31)),
    st.integers(0, 800),
    st.sampled_from([Each.NIGHT, Each.MONTH, Each.SEASON, Each.YEAR]),
    st.sampled_from([NORTH, SOUTH]),
)
def test_pieces_a_year_earlier_follow_each_other_too(first, more, each, latitude_deg):
    """However a stretch is cut, the pieces a year earlier are in order and apart, by pandas' own calendar."""
    whole = stretch_of_nights(first, first + timedelta(days=more), OSLO)
    pieces = split(whole, each, OSLO, latitude_deg=latitude_deg)
    earlier = [year_earlier(piece, OSLO, latitude_deg=latitude_deg) for piece in pieces]
    known = [each for each in earlier if each is not None]
    assert all(a.ends_at_utc <= b.starts_at_utc for a, b in pairwise(known))
    for piece, before in zip(pieces, earlier, strict=True):
        if before is None:
            assert (piece.first.month, piece.first.day, piece.last) == (2, 29, piece.first)
            continue
        year_before = pd.DateOffset(years=1)
        assert before.last in {
            (pd.Timestamp(piece.last) - year_before).date(),
            (pd.Timestamp(piece.last) - year_before + pd.offsets.MonthEnd(0)).date(),
        }
        if (piece.first.month, piece.first.day) != (2, 29):
            assert before.first == (pd.Timestamp(piece.first) - year_before).date()


def test_local_times_make_no_period():
    """A period is given in UTC or refused."""
    noon = datetime(2027, 6, 21, 12, tzinfo=OSLO)
    with pytest.raises(ValueError, match="in UTC"):
        Period(name="", first=noon.date(), last=noon.date(), starts_at_utc=noon, ends_at_utc=noon)
