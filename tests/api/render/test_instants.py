"""Instants and dates as text."""

import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.render.instants import coming_text, instant_text, quote, read_date, read_instant
from controller.calendar.periods import FIRST_YEAR, LAST_YEAR

# The examples of RFC 3339, section 5.8, that lie within our years.
RFC_3339 = [
    ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC)),
    ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
    ("2027-06-21t21:30:00z", datetime(2027, 6, 21, 21, 30, tzinfo=UTC)),
    ("2027-06-21 21:30:00Z", datetime(2027, 6, 21, 21, 30, tzinfo=UTC)),
    ("2027-06-21T21:30:00+05:45", datetime(2027, 6, 21, 15, 45, tzinfo=UTC)),
]


@pytest.mark.parametrize(("text", "at_utc"), RFC_3339)
def test_instants_of_the_standard_are_read(text, at_utc):
    """The forms that RFC 3339 gives are read, and come out in UTC."""
    assert read_instant(text) == at_utc
    assert read_instant(text).tzinfo is UTC


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tomorrow", "write one such as"),
        ("1813713600", "write one such as"),
        ("2027-06-21", "write one such as"),
        ("2027-06-21T21:30:00", "needs seconds and an offset"),
        ("2027-06-21T21:30Z", "needs seconds and an offset"),
        ("2027-06-21T21:30:00 02:00", "a + in an address is written %2B"),
        ("2027-02-30T21:30:00Z", "does not exist"),
        ("2027-06-21T25:30:00Z", "does not exist"),
        ("2027-06-21T21:30:00+25:00", "does not exist"),
        ("0001-01-01T00:00:00+23:00", "does not exist"),
        ("9999-12-31T23:59:59-23:59", "does not exist"),
        ("1969-12-31T23:59:59Z", "out of range"),
        ("2200-01-01T00:00:00Z", "out of range"),
        ("２０２７-06-21T21:30:00Z", "write one such as"),
        ("x" * 5000, "write one such as"),
    ],
)
def test_what_is_no_instant_is_refused_with_what_would_do(text, words):
    """A text that is not an instant is quoted, not at length, and answered with what would do."""
    with pytest.raises(ValueError, match=re.escape(words)) as refusal:
        read_instant(text)
    assert len(str(refusal.value)) < 200


@given(
    st.datetimes(
        min_value=datetime(FIRST_YEAR, 1, 2),  # noqa: DTZ001 - hypothesis wants them so
        max_value=datetime(LAST_YEAR, 12, 30),  # noqa: DTZ001 - as above
        timezones=st.just(UTC),
    ),
    st.integers(-23 * 60, 23 * 60),
)
def test_writing_and_reading_give_the_same_second(at_utc, offset_min):
    """What is written is read back as the same second, whatever offset the instant came with."""
    at = at_utc.astimezone(timezone(timedelta(minutes=offset_min)))
    assert read_instant(instant_text(at)) == at_utc.replace(microsecond=0)


def test_what_happened_is_cut_and_what_comes_is_rounded():
    """A past instant is never shown as still to come; one to come shows the second that was meant."""
    almost = datetime(2027, 6, 22, 3, 59, 59, 999_999, tzinfo=UTC)
    assert instant_text(almost) == "2027-06-22T03:59:59Z"
    assert coming_text(almost) == "2027-06-22T04:00:00Z"


@pytest.mark.parametrize(
    "text", ["2027-6-21", "21.06.2027", "2027-06-31", "20270621", "2200-01-01", "", "2027-W25-1"]
)
def test_what_is_no_date_is_refused(text):
    """A text that names no night is refused with its quotation."""
    with pytest.raises(ValueError, match="“"):
        read_date(text)


def test_a_date_is_read():
    """A date in the form of RFC 3339 names a night."""
    assert read_date("2028-02-29") == date(2028, 2, 29)


def test_a_long_quotation_is_cut():
    """What somebody wrote is quoted whole where it is short, and cut where it is long."""
    assert quote("dusk til late") == "“dusk til late”"
    assert quote("x" * 100) == "“" + "x" * 59 + "…”"
