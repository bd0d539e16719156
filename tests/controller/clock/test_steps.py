"""Steps of the wall clock, found from two readings; the stepped clock that stands in for a real one."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.clock.clock import SteppedClock, step_between
from controller.clock.trust import STEP_TOLERANCE_S

START_UTC = datetime(2027, 6, 21, 20, 0, tzinfo=UTC)

passing = st.floats(0, 40 * 86_400, allow_nan=False)
steps = st.floats(-20 * 365 * 86_400, 20 * 365 * 86_400, allow_nan=False)


@given(st.lists(st.tuples(passing, steps), max_size=8), passing)
def test_the_sum_of_all_steps_is_found(happenings, last_s):
    """Whatever time passes between them, steps are found with their size, to a tenth of a millisecond."""
    clock = SteppedClock(START_UTC)
    before = clock.read()
    total_s = 0.0
    for passes_s, step_s in happenings:
        clock.advance(passes_s)
        clock.step(step_s)
        total_s += step_s
    clock.advance(last_s)
    found_s = step_between(before, clock.read())
    if abs(total_s) > STEP_TOLERANCE_S + 1e-3:
        assert found_s == pytest.approx(total_s, abs=1e-4)
    elif abs(total_s) < STEP_TOLERANCE_S - 1e-3:
        assert found_s is None


@given(passing, st.floats(0, 90 * 86_400))
def test_suspend_and_the_passing_of_time_are_no_steps(passes_s, sleeps_s):
    """A clock that only ran, awake or asleep, was not stepped."""
    clock = SteppedClock(START_UTC)
    before = clock.read()
    clock.advance(passes_s)
    clock.advance(sleeps_s)
    assert step_between(before, clock.read()) is None


@pytest.mark.parametrize("step_s", [3600, -3600, 2, -2, 184 * 86_400, -57 * 365 * 86_400])
def test_one_step_has_its_sign(step_s):
    """Forward is positive, back is negative."""
    clock = SteppedClock(START_UTC)
    before = clock.read()
    clock.advance(30)
    clock.step(step_s)
    assert step_between(before, clock.read()) == pytest.approx(step_s, abs=1e-4)


@pytest.mark.parametrize("step_s", [1.0, -1.0, 0.5])
def test_a_leap_second_is_no_step(step_s):
    """A second is not worth an entry in the journal."""
    clock = SteppedClock(START_UTC)
    before = clock.read()
    clock.step(step_s)
    assert step_between(before, clock.read()) is None


def test_nothing_is_said_across_boots():
    """The boot-time clocks of two boots have nothing to do with each other."""
    clock = SteppedClock(START_UTC, boot_s=5000)
    before = clock.read()
    clock.reboot(off_s=7200)
    assert step_between(before, clock.read()) is None


def test_reboot():
    """A new boot has a new id and counts from zero; the wall clock goes on, or says what it is told."""
    clock = SteppedClock(START_UTC, boot_s=5000)
    clock.reboot(off_s=90)
    assert (clock.read().boot_id, clock.read().boot_s) == ("boot-2", 0.0)
    assert clock.read().utc == START_UTC + timedelta(seconds=90)
    clock.advance(10)
    clock.reboot(utc=datetime(1970, 1, 1, tzinfo=UTC))
    assert (clock.read().boot_id, clock.read().boot_s) == ("boot-3", 0.0)
    assert clock.read().utc == datetime(1970, 1, 1, tzinfo=UTC)


def test_trust_is_settable():
    """A test says whether the clock is trusted, and why."""
    clock = SteppedClock(START_UTC)
    assert (clock.read().trusted, clock.read().trust) == (True, "stepped clock")
    clock.trusted, clock.trust = False, "the clock is not set"
    assert (clock.read().trusted, clock.read().trust) == (False, "the clock is not set")


def test_time_passes_forward_only():
    """A negative advance is refused: that would be a step."""
    with pytest.raises(ValueError, match="-1"):
        SteppedClock(START_UTC).advance(-1)
