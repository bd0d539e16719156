"""A mechanical dial through the year: fixed pins, clock changes that pass it by, drift, and the sun."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.night import nights, utc_of_local
from controller.forecast.mechanical_timer import MechanicalTimer, timer_nights, timer_windows
from controller.sun.sun import Sun, dark_intervals
from tests.reference import rows

NEW_YORK = ZoneInfo("America/New_York")
SKY = Sun(40.0, -75.0)
YEAR = tuple(nights(date(2027, 1, 1), date(2027, 12, 31), NEW_YORK))
DARK = dark_intervals(SKY, YEAR, 6.0)
DUSK_TO_MIDNIGHT_H = [
    float(row["hours_civil_dusk_to_midnight"])
    for row in rows("season_nightly.csv")
    if row["latitude"] == "40"
]
TOLERANCE_MS = 20_000  # of our dusk against the reference at 40 N


def timer(on: str, off: str, set_on: date = date(2027, 1, 1), **more) -> MechanicalTimer:
    return MechanicalTimer(on=time.fromisoformat(on), off=time.fromisoformat(off), set_on=set_on, **more)


def local_times(old: MechanicalTimer, day: date) -> list[str]:
    night = next(nights(day, day, NEW_YORK))
    return [
        f"{each.on_utc.astimezone(NEW_YORK):%H:%M}-{each.off_utc.astimezone(NEW_YORK):%H:%M}"
        for each in timer_windows(old, night, NEW_YORK)
    ]


def test_a_dial_that_nobody_moves_is_an_hour_off_in_the_other_half_of_the_year():
    """Set in summer time, the pins trip by the clock in summer and an hour early by it in winter."""
    old = timer("21:15", "23:45", date(2027, 4, 18))
    assert local_times(old, date(2027, 4, 18)) == ["21:15-23:45"]
    assert local_times(old, date(2027, 11, 6)) == ["21:15-23:45"]
    assert local_times(old, date(2027, 11, 7)) == ["20:15-22:45"]
    assert local_times(old, date(2028, 3, 11)) == ["20:15-22:45"]
    assert local_times(old, date(2028, 3, 12)) == ["21:15-23:45"]


def test_a_dial_that_is_moved_keeps_to_the_clock():
    """Moved at every clock change, it trips at the same clock time all year."""
    old = timer("21:15", "23:45", moved_at_clock_changes=True)
    assert {tuple(local_times(old, night.date)) for night in YEAR} == {("21:15-23:45",)}


def test_on_the_night_of_the_change_the_dial_turns_on_as_it_was_set():
    """Lit over 02:00 on the night the clocks go forward, it stays lit for its four hours: until 04:30."""
    old = timer("23:30", "03:30", moved_at_clock_changes=True)
    assert local_times(old, date(2027, 3, 13)) == ["23:30-04:30"]
    assert local_times(old, date(2027, 11, 6)) == ["23:30-02:30"]


def test_before_it_was_set_it_does_nothing():
    """Nights before the setting are dark."""
    assert local_times(timer("21:15", "23:45", date(2027, 4, 18)), date(2027, 4, 17)) == []


def test_the_shift_is_shown():
    """How far the dial is ahead of the clock: nothing when set, minus an hour in summer if set in winter."""
    watched = timer_nights(timer("21:15", "23:45"), YEAR, dark=DARK, tz=NEW_YORK)
    by_night = {each.night: each.ahead_s for each in watched}
    assert by_night[date(2027, 1, 1)] == by_night[date(2027, 3, 13)] == 0
    assert by_night[date(2027, 3, 14)] == by_night[date(2027, 11, 6)] == -3600
    assert by_night[date(2027, 11, 7)] == 0


def test_daylight_is_what_it_burns_before_dusk():
    """Lit from 17:00 to 24:00, its seven hours are dusk to midnight and daylight (season_nightly.csv)."""
    watched = timer_nights(timer("17:00", "00:00", moved_at_clock_changes=True), YEAR, dark=DARK, tz=NEW_YORK)
    for each, dark_h in zip(watched, DUSK_TO_MIDNIGHT_H, strict=True):
        assert each.lit_ms == 7 * MS_PER_HOUR
        assert abs(each.daylight_ms - (7 - dark_h) * MS_PER_HOUR) <= TOLERANCE_MS
        assert each.unlit_ms == 0


def test_unlit_is_the_dark_before_its_off_pin():
    """Lit from 23:00 to 24:00, it leaves dark all but an hour of dusk to midnight (season_nightly.csv)."""
    watched = timer_nights(timer("23:00", "00:00", moved_at_clock_changes=True), YEAR, dark=DARK, tz=NEW_YORK)
    for each, dark_h in zip(watched, DUSK_TO_MIDNIGHT_H, strict=True):
        assert abs(each.unlit_ms - (dark_h - 1) * MS_PER_HOUR) <= TOLERANCE_MS
        assert each.daylight_ms == 0


def test_a_dial_that_gains_trips_earlier_every_day():
    """A dial that gains a minute a day is ten minutes early after ten days, until it is set again."""
    fast = timer("21:15", "23:45", drift_s_per_day=60, moved_at_clock_changes=True)
    watched = {each.night: each for each in timer_nights(fast, YEAR, dark=DARK, tz=NEW_YORK)}
    assert watched[date(2027, 1, 11)].ahead_s == pytest.approx(600)
    wanted = utc_of_local(datetime.combine(date(2027, 1, 11), time(21, 15)), NEW_YORK)
    early = wanted - watched[date(2027, 1, 11)].windows[0].on_utc
    # 10 days and 9.25 hours after the noon of its setting: 10.385 minutes.
    assert early.total_seconds() == pytest.approx(60 * (10 + 9.25 / 24), abs=1)
    assert watched[date(2027, 3, 13)].ahead_s == pytest.approx(60 * 71)
    assert watched[date(2027, 3, 14)].ahead_s == 0


@settings(max_examples=60)
@given(
    st.integers(0, 1439),
    st.integers(1, 1439),
    st.sampled_from([-120.0, -7.5, 0.0, 3.0, 60.0]),
    st.dates(date(2027, 1, 1), date(2027, 12, 1)),
)
def test_a_dial_knows_no_nights(on_minute, lasts, drift, day):
    """Whatever its pins, an unmoved dial is lit for the same part of every turn; noon cuts nothing off."""
    pins = [time(*divmod(minute % 1440, 60)) for minute in (on_minute, on_minute + lasts)]
    old = MechanicalTimer(on=pins[0], off=pins[1], set_on=date(2027, 1, 1), drift_s_per_day=drift)
    some = list(nights(day, day + timedelta(days=20), NEW_YORK))
    windows = [each for night in some for each in timer_windows(old, night, NEW_YORK)]
    joined = [windows[0]]
    for before, after in pairwise(windows):
        assert before.off_utc <= after.on_utc
        if before.off_utc < after.on_utc:
            joined.append(after)
    turn = timedelta(days=1) / (1 + drift / 86_400)
    assert len(joined) in (20, 21, 22)
    ons = [each.on_utc for each in joined[1:]]
    assert all(abs(b - a - turn) <= timedelta(milliseconds=2) for a, b in pairwise(ons))
    lit = sum((each.off_utc - each.on_utc for each in windows), timedelta())
    assert abs(lit - (some[-1].ends_at_utc - some[0].starts_at_utc) * lasts / 1440) <= timedelta(days=1)


@pytest.mark.parametrize(
    "wrong", [{"off": time(21, 15)}, {"drift_s_per_day": 3600.0}, {"drift_s_per_day": float("nan")}]
)
def test_a_dial_that_cannot_be_is_refused(wrong):
    """Two pins in one place and a drift of an hour a day are refused."""
    values = {"on": time(21, 15), "off": time(23, 45), "set_on": date(2027, 1, 1)} | wrong
    with pytest.raises(ValueError, match="dial"):
        MechanicalTimer(**values)


def test_windows_are_instants():
    """What it plans are windows in UTC, as any plan's."""
    window = timer_windows(timer("21:15", "23:45"), YEAR[0], NEW_YORK)[0]
    assert window.on_utc == datetime(2027, 1, 2, 2, 15, tzinfo=UTC)
