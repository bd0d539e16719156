"""Special nights: what a condition reads, what it prints, and which nights it matches."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import ProgramError
from config.program.special_nights import OneDate, Weekdays, YearlyStretch, parse_nights
from tests.config.strategies import month_days, nights, outcome_of

ANY_NIGHTS = "weekdays such as Fri, Sat, a date such as 2027-12-31, or a stretch such as 12-20 to 01-06"
A_WEEKDAY = "a weekday: Mon, Tue, Wed, Thu, Fri, Sat, Sun"
A_DATE = "2027-12-31 for one night, or 12-31 to 12-31 for that of every year"


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("Fri, Sat", Weekdays(days=(4, 5))),
        ("Sun, Mon", Weekdays(days=(6, 0))),
        ("2027-12-31", OneDate(on_date=date(2027, 12, 31))),
        ("12-20 to 01-06", YearlyStretch(first=(12, 20), last=(1, 6))),
        ("02-29 to 02-29", YearlyStretch(first=(2, 29), last=(2, 29))),
    ],
)
def test_a_canonical_condition_is_read_and_printed_as_it_was_written(text, condition):
    """Each form gives its condition, and the condition gives the same text."""
    assert parse_nights(text) == condition
    assert str(condition) == text


@pytest.mark.parametrize(
    ("text", "canonical"),
    [(" fri ,SAT", "Fri, Sat"), ("12-20  TO 01-06 ", "12-20 to 01-06"), (" 2027-12-31 ", "2027-12-31")],
)
def test_blanks_and_capitals_are_read_in_a_condition(text, canonical):
    """Extra blanks and any letters are understood, and printing is canonical."""
    assert str(parse_nights(text)) == canonical


@settings(deadline=None)
@given(nights)
def test_condition_to_text_to_condition_is_the_identity(condition):
    """Every condition that can be made is printed as a text that gives it back."""
    assert parse_nights(str(condition)) == condition
    assert str(parse_nights(str(condition))) == str(condition)


@pytest.mark.parametrize(
    ("text", "column", "found", "expected"),
    [
        ("", 1, "", ANY_NIGHTS),
        ("weekends", 1, "weekends", "Sat, Sun"),
        ("weekdays", 1, "weekdays", "Mon, Tue, Wed, Thu, Fri"),
        ("Fri-Sun", 1, "Fri-Sun", "Fri, Sat, Sun"),
        ("Saturday to Monday", 1, "Saturday", "Sat, Sun, Mon"),
        ("Fridays and Saturdays", 1, "Fridays", "Fri, Sat"),
        ("Fri; Sat", 1, "Fri;", "Fri, Sat"),
        ("Fri and Sat", 5, "and", "Fri, Sat"),
        ("December", 1, "December", "12-01 to 12-31"),
        ("nov - feb", 1, "nov", "11-01 to 02-29"),
        ("24.12.", 1, "24.12.", "12-24 to 12-24"),
        ("24.12. - 06.01.", 1, "24.12.", "12-24 to 01-06"),
        ("12-24 - 01-06", 7, "-", "“to”"),
        ("Christmas", 1, "Christmas", ANY_NIGHTS),
        ("Friday", 1, "Friday", "Fri"),
        ("Fri, saturday", 6, "saturday", "Fri, Sat"),
        ("Fri,", 5, "", A_WEEKDAY),
        ("Fri Sat", 5, "Sat", "Fri, Sat"),
        ("Fri 12-20", 5, "12-20", "a comma and another weekday, or nothing more"),
        ("Fri, Fri", 6, "Fri", "a weekday other than Fri"),
        ("Fri, 12-20", 6, "12-20", A_WEEKDAY),
        ("2027-02-29", 1, "2027-02-29", "a day that exists (that month ends on the 28th)"),
        ("2028-02-30", 1, "2028-02-30", "a day that exists (that month ends on the 29th)"),
        ("2027-01-32", 1, "2027-01-32", "a day that exists (that month ends on the 31st)"),
        ("2027-12-32", 1, "2027-12-32", "a day that exists (that month ends on the 31st)"),
        ("0001-13-01", 1, "0001-13-01", "a month from 01 to 12, then the day"),
        ("2027-13-01", 1, "2027-13-01", "a month from 01 to 12, then the day"),
        ("0000-01-01", 1, "0000-01-01", "a year from 0001 to 9999"),
        ("2027-12-31, Fri", 11, ",", "nothing more"),
        ("02-30 to 03-01", 1, "02-30", "a day that exists (that month ends on the 29th)"),
        ("04-30 to 04-31", 10, "04-31", "a day that exists (that month ends on the 30th)"),
        (
            "02-29",
            1,
            "02-29",
            "02-29 to 02-29 for that night of every year, or its year too, such as 2028-02-29",
        ),
        ("12-20 until 01-06", 7, "until", "“to” and the last night"),
        (
            "2027-12-20 to 2028-01-06",
            12,
            "to",
            "12-20 to 01-06, which holds every year, or a special night for each date",
        ),
        ("12-20 to", 9, "", "a month and a day such as 01-06"),
        ("12-20 to 2027-01-06", 10, "2027-01-06", "a month and a day such as 01-06"),
        ("12-20 to 01-06, Fri", 15, ",", "nothing more"),
        ("12/20", 1, "12/20", A_DATE),
        ("31.12.2027", 1, "31.12.2027", "2027-12-31"),
        ("x" * 40, 1, "x" * 40, ANY_NIGHTS),
        ("x" * 50, 1, "x" * 39 + "…", ANY_NIGHTS),
    ],
)
def test_a_wrong_condition_is_refused_with_its_column_and_what_would_do(text, column, found, expected):
    """The error names the column, what stands there, and what a person should have written."""
    with pytest.raises(ProgramError) as caught:
        parse_nights(text)
    error = caught.value
    assert (error.text, error.column, error.found, error.expected) == (text, column, found, expected)


@settings(deadline=None)
@given(st.text(alphabet="Fri, Sat2027-12 to03/.", max_size=24))
def test_any_text_is_a_condition_or_refused_inside_itself(text):
    """No text raises anything but the language's own error, and its column lies in the text."""
    outcome = outcome_of(parse_nights, text)
    if isinstance(outcome, ProgramError):
        assert 1 <= outcome.column <= len(text) + 1
        assert text[outcome.column - 1 :].startswith(outcome.found.removesuffix("…"))
    else:
        assert parse_nights(str(outcome)) == outcome


def test_weekdays_match_the_date_on_which_a_night_begins():
    """31 December 2027 is a Friday by the Gregorian calendar, and 1 January 2028 a Saturday."""
    assert parse_nights("Fri").match(date(2027, 12, 31))
    assert not parse_nights("Fri").match(date(2028, 1, 1))
    assert parse_nights("Sun, Sat").match(date(2028, 1, 1))


def test_one_date_matches_no_other_year():
    """A date with its year holds once."""
    condition = parse_nights("2027-12-31")
    assert condition.match(date(2027, 12, 31))
    assert not condition.match(date(2028, 12, 31))
    assert not condition.match(date(2027, 12, 30))


def test_a_stretch_may_cross_new_year():
    """Both ends of the stretch are in it, the days outside are not."""
    condition = parse_nights("12-20 to 01-06")
    inside = [date(2027, 12, 20), date(2027, 12, 31), date(2028, 1, 1), date(2028, 1, 6)]
    outside = [date(2027, 12, 19), date(2028, 1, 7), date(2028, 6, 1)]
    assert all(condition.match(day) for day in inside)
    assert not any(condition.match(day) for day in outside)


def test_the_leap_day_matches_in_leap_years_only():
    """A stretch of the one day 02-29 holds in 2028 and on no night of 2027."""
    condition = parse_nights("02-29 to 02-29")
    assert condition.match(date(2028, 2, 29))
    assert not any(condition.match(date(2027, 1, 1) + timedelta(days=day)) for day in range(365))


def day_of(year: int, month_day: tuple[int, int], *, otherwise: date) -> date:
    """A day of a year as a date, or another where that year does not have it."""
    try:
        return date(year, *month_day)
    except ValueError:
        return otherwise


@settings(deadline=None)
@given(month_days, month_days, st.dates(date(2027, 1, 1), date(2036, 12, 31)))
def test_a_stretch_matches_exactly_the_nights_between_its_two_dates(first, last, night):
    """The same answer as from real dates: first day of this or the last year to last day on or after it."""
    matches = False
    for year in (night.year - 1, night.year):
        begins = day_of(year, first, otherwise=date(year, 3, 1))
        last_year = year if first <= last else year + 1
        ends = day_of(last_year, last, otherwise=date(last_year, 2, 28))
        matches = matches or begins <= night <= ends
    assert YearlyStretch(first=first, last=last).match(night) is matches


@pytest.mark.parametrize("days", [(), (7,), (1, 1)])
def test_weekdays_that_are_none_cannot_be_made(days):
    """No weekday, an unknown one and one named twice are refused."""
    with pytest.raises(ValueError, match="weekdays are numbers from 0 to 6, each once"):
        Weekdays(days=days)


def test_a_day_that_no_year_has_cannot_be_made():
    """The 30th of February is refused as an end of a stretch."""
    with pytest.raises(ValueError, match="day is out of range for month"):
        YearlyStretch(first=(2, 30), last=(3, 1))
