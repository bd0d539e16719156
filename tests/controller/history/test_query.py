"""Which nights are meant where somebody names some of the ends, or none."""

from __future__ import annotations

from datetime import date

import pytest

from config.errors import PeriodError
from controller.calendar.periods import Each
from controller.history.query import HoursQuery, choose_nights, cut, read_period
from controller.planning.planner import Planner
from tests.sites import site

ALMANAC = Planner(site())
TONIGHT = date(2028, 3, 14)


def names(by, *, began=date(2020, 1, 1), **more):
    """Names of the periods, and the first and the last night."""
    query = HoursQuery(by=by, **more)
    periods = list(cut(choose_nights(query, ALMANAC, tonight=TONIGHT, began=began), query, ALMANAC))
    return [period.name for period in periods], periods[0].first, periods[-1].last


def test_nobody_names_anything():
    """Fourteen nights, twelve months or four seasons up to tonight, whole ones but for the last."""
    nights, first, last = names(Each.NIGHT)
    assert (len(nights), first, last) == (14, date(2028, 3, 1), TONIGHT)
    months, first, last = names(Each.MONTH)
    assert (len(months), months[0], months[-1], first, last) == (
        12, "2027-04", "2028-03", date(2027, 4, 1), TONIGHT,
    )  # fmt: skip
    seasons, first, last = names(Each.SEASON)
    assert seasons == ["2027-summer", "2027-autumn", "2027-winter", "2028-spring"]
    assert (first, last) == (date(2027, 6, 1), TONIGHT)


def test_the_usual_does_not_reach_back_before_the_journal():
    """A young journal is shown from its first night; one that is asked for earlier is not cut."""
    assert names(Each.MONTH, began=date(2028, 2, 10))[1] == date(2028, 2, 10)
    assert names(Each.WHOLE, began=date(2028, 2, 10))[1:] == (date(2028, 2, 10), TONIGHT)
    assert names(Each.MONTH, began=date(2028, 2, 10), first=date(2028, 1, 1))[1] == date(2028, 1, 1)
    # Of a journal that knows no time yet, the last piece says all that there is to say.
    assert names(Each.NIGHT, began=None)[1] == TONIGHT


def test_one_end_is_enough():
    """From alone goes on to tonight; to alone goes back as far as is usual."""
    assert names(Each.WHOLE, first=date(2028, 1, 1))[1:] == (date(2028, 1, 1), TONIGHT)
    assert names(Each.NIGHT, last=date(2027, 6, 20))[1:] == (date(2027, 6, 7), date(2027, 6, 20))
    # A night that is still to come can be asked for: its account is empty.
    assert names(Each.NIGHT, first=date(2028, 6, 1))[1:] == (date(2028, 6, 1), date(2028, 6, 1))


def test_a_period_is_cut_into_what_is_asked():
    """A season by month has three, with the season's own first and last night."""
    months, first, last = names(Each.MONTH, period="2027-winter")
    assert (months, first, last) == (
        ["2027-12", "2028-01", "2028-02"], date(2027, 12, 1), date(2028, 2, 29),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        ({"by": Each.NIGHT, "period": "2027-06", "last": date(2027, 6, 3)}, "leave out either"),
        ({"by": Each.NIGHT, "first": date(2028, 1, 2), "last": date(2028, 1, 1)}, "lies before"),
        (
            {"by": Each.NIGHT, "everything": True, "first": date(2020, 1, 1)},
            "leave out either “all” or “from”",
        ),
        ({"by": Each.NIGHT, "everything": True, "period": "2027"}, "leave out either"),
        ({"by": Each.MONTH, "first": date(1970, 1, 1), "last": date(2199, 1, 1)}, "ask for fewer at once"),
        ({"by": Each.MONTH, "period": "tomorrow"}, "is not a period"),
    ],
)
def test_what_cannot_be_meant_is_refused(ask, told):
    """Ends that contradict each other, and more than anybody reads, are refused in words."""
    with pytest.raises(PeriodError, match=told):
        choose_nights(HoursQuery(**ask), ALMANAC, tonight=TONIGHT, began=None)


@pytest.mark.parametrize("text", ["1969-winter", "2200-01", "2199-winter", "1900-06-21"])
def test_years_without_an_answer_are_refused(text):
    """Beyond the years for which the sun and the clocks are known there is no account."""
    with pytest.raises(PeriodError, match="out of range"):
        read_period(text, ALMANAC)
