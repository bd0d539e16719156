"""Why a zone was dark: gaps read out of the events that a real keeper wrote."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from controller.history.clock_correction import ClockCorrection
from controller.history.outages import gaps_of, gaps_of_overrides
from controller.records.entries import Cause
from tests.controller.board import Board
from tests.sites import site, zone

START = datetime(2027, 6, 21, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
# Lit all day, so that the board beats all the time.
ALL_DAY = site(zone("jetty", "12:00 to 11:59"), zone("path", "12:00 to 11:59", pin=18))


@pytest.fixture
def board(tmp_path):
    board = Board(tmp_path, ALL_DAY, START)
    yield board
    board.close()


def gaps_after(board):
    """What the journal says: zone, hours after the start from and to, and the reason."""
    board.journal.flush()
    events = list(board.reader.events_about(START - HOUR, START + 1000 * HOUR))
    overrides = list(board.reader.overrides())
    readings = [each.at for each in events] + [each.override.placed_at for each in overrides]
    correction = ClockCorrection(readings)
    gaps = gaps_of(events, correction) + gaps_of_overrides(overrides, correction)

    def hours(at_utc):
        return None if at_utc is None else round((at_utc - START) / HOUR, 3)

    return [(gap.zone, hours(gap.starts_at_utc), hours(gap.ends_at_utc), gap.reason) for gap in gaps]


def test_a_quiet_life_has_no_gaps(board):
    """Nothing happened, nothing is told."""
    board.run_until(START + 5 * HOUR)
    assert gaps_after(board) == []


def test_a_power_cut_reaches_from_the_last_sign_to_the_start(board):
    """What the keeper says of the gap is placed before its start."""
    board.run_until(START + 2 * HOUR)
    board.cut_power(3600)
    board.run_until(START + 5 * HOUR)
    ((zone_id, begins, ends, why),) = gaps_after(board)
    assert (zone_id, ends, why) == (None, 3.0, Cause.POWER_LOST)
    assert 2.0 - 270 / 3600 <= begins <= 2.0


def test_a_stop_reaches_to_the_next_start(board):
    """A keeper that said that it stopped is missed until the next one begins."""
    board.run_until(START + 2 * HOUR)
    board.stop(7200)
    board.run_until(START + 5 * HOUR)
    assert gaps_after(board) == [(None, 2.0, 4.0, Cause.STOPPED)]


def test_a_stop_without_a_start_goes_on(board):
    """A keeper that stopped and never came back is missed up to now."""
    board.run_until(START + 2 * HOUR)
    board.keeper.stop()
    assert gaps_after(board) == [(None, 2.0, None, Cause.STOPPED)]


def test_a_board_that_wakes_in_1970_is_placed_in_true_time(board):
    """Dark by a power cut, then by a clock not trusted: both where they really were, none of 57 years."""
    board.run_until(START + 2 * HOUR)
    board.cut_power(3600, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
    board.run_until(START + 4 * HOUR)
    board.learn_time()
    board.run_until(START + 5 * HOUR)
    gaps = gaps_after(board)
    assert {gap[3] for gap in gaps} == {Cause.POWER_LOST, Cause.CLOCK_NOT_TRUSTED}
    for _, begins, ends, why in gaps:
        if why is Cause.CLOCK_NOT_TRUSTED:
            assert (begins, ends) == (3.0, 4.0)
        else:
            assert 2.0 - 270 / 3600 <= begins <= 2.0
            assert ends == 3.0


def test_a_life_without_any_trusted_clock_is_a_gap(board):
    """A boot that never learned the time lies between two that did; all of it was dark."""
    board.run_until(START + 2 * HOUR)
    board.stop(60)
    board.cut_power(3600, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
    board.run_until(START + 6 * HOUR)
    board.cut_power(600)
    board.run_until(START + 8 * HOUR)
    gaps = gaps_after(board)
    covered = sorted((begins, ends) for _, begins, ends, _ in gaps)
    assert min(begins for begins, _ in covered) <= 2.02
    assert max(ends for _, ends in covered) == pytest.approx(6 + 600 / 3600, abs=0.001)
    reached = covered[0][1]
    for begins, ends in covered:
        assert begins <= reached
        reached = max(reached, ends)


def test_a_relay_fault_is_its_zone_s_alone(board):
    """From the first failed try to the recovery, and only for that zone."""
    board.run_until(START + HOUR)
    board.override("jetty", on=False, lasts_s=3600)
    board.run_until(START + HOUR + timedelta(minutes=1))
    board.break_relay("jetty")
    board.run_until(START + 4 * HOUR)
    board.mend_relay("jetty")
    board.run_until(START + 5 * HOUR)
    gaps = gaps_after(board)
    assert ("jetty", 1.0, 2.0, Cause.OVERRIDE) in gaps
    ((_, begins, ends, _),) = [gap for gap in gaps if gap[3] is Cause.RELAY_FAULT and gap[0] == "jetty"]
    assert (begins, ends) == (pytest.approx(2.0, abs=0.01), pytest.approx(4.0, abs=0.02))
    assert {gap[0] for gap in gaps} == {"jetty"}


def test_a_relay_fault_ends_with_the_life_that_saw_it(board):
    """A fault that nobody saw end does not reach into the next keeper's life."""
    board.override("jetty", on=False, lasts_s=3600)
    board.run_until(START + timedelta(minutes=1))
    board.break_relay("jetty")
    board.run_until(START + 3 * HOUR)
    board.mend_relay("jetty")
    board.stop(3600)
    board.run_until(START + 6 * HOUR)
    faults = [gap for gap in gaps_after(board) if gap[3] is Cause.RELAY_FAULT]
    assert [(gap[0], gap[2]) for gap in faults] == [("jetty", 3.0)]


def test_an_override_for_light_is_no_gap(board):
    """Only somebody's wish for dark explains dark."""
    board.override("jetty", on=True, lasts_s=3600)
    board.override("path", on=False, lasts_s=1800)
    board.run_until(START + 2 * HOUR)
    assert gaps_after(board) == [("path", 0.0, 0.5, Cause.OVERRIDE)]


def test_a_clock_set_forward_explains_the_hour_that_it_jumped_over(board):
    """What was planned in an hour that no clock showed was missed because the clock was wrong."""
    board.run_until(START + 2 * HOUR)
    board.clock.step(3600)
    board.keeper.reconcile()
    gaps = gaps_after(board)
    assert gaps == [(None, 2.0, 3.0, Cause.CLOCK_NOT_TRUSTED)]


def test_a_board_that_slept_explains_the_time_asleep(board):
    """No round was made while the board slept."""
    board.run_until(START + 2 * HOUR)
    board.clock.advance(3 * 3600)
    board.keeper.reconcile()
    ((zone_id, begins, ends, why),) = gaps_after(board)
    assert (zone_id, ends, why) == (None, 5.0, Cause.STOPPED)
    assert begins == pytest.approx(2.0, abs=271 / 3600)
