"""Hypothesis strategies for the values of the program language and of special nights."""

from datetime import date

from hypothesis import strategies as st

from config.errors import LeerieError
from config.program.spans import ClockEdge, Duration, Span, SunEdge, SunEvent
from config.program.special_nights import OneDate, Weekdays, YearlyStretch

durations = st.one_of(
    st.builds(Duration, hours=st.just(0), minutes=st.integers(1, 24 * 60)),
    st.builds(Duration, hours=st.integers(1, 23), minutes=st.integers(0, 59)),
    st.just(Duration(hours=24)),
)
clock_edges = st.one_of(
    st.builds(ClockEdge, hour=st.integers(0, 23), minute=st.integers(0, 59)),
    st.just(ClockEdge(hour=0, minute=0, written_midnight=True)),
)
sun_edges = st.one_of(
    st.builds(SunEdge, event=st.sampled_from(SunEvent)),
    st.builds(SunEdge, event=st.sampled_from(SunEvent), offset=durations, before=st.booleans()),
)
edges = st.one_of(clock_edges, sun_edges)
spans = st.one_of(
    st.builds(Span, begins=edges, ends=edges, at_most=st.none() | durations, while_dark=st.booleans()),
    st.builds(Span, begins=edges, lasts=durations, while_dark=st.booleans()),
)

month_days = st.dates(date(2028, 1, 1), date(2028, 12, 31)).map(lambda day: (day.month, day.day))
nights = st.one_of(
    st.permutations(range(7)).flatmap(
        lambda days: st.integers(1, 7).map(lambda count: Weekdays(days=tuple(days[:count])))
    ),
    st.dates().map(lambda day: OneDate(on_date=day)),
    st.builds(YearlyStretch, first=month_days, last=month_days),
)


def outcome_of(read, text):
    """Return what a reader makes of a text, or the error of ours with which it refuses it."""
    try:
        return read(text)
    except LeerieError as error:
        return error
