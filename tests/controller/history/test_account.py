"""The account of the past, from journals that a real keeper wrote through weeks of good and bad nights."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.periods import Each, split, stretch_of_nights
from controller.energy.values import J_PER_KWH
from controller.history.account import account_for_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.history.totals import HourSum
from controller.planning.planner import Planner
from controller.records.entries import Cause
from tests.controller.board import Board
from tests.controller.three_weeks import START, garden, live_three_weeks
from tests.reference.de421 import sun_heights_deg
from tests.sites import site, zone

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


def account(board, first, last, each=Each.WHOLE, *, now=None, zones=()):
    """Account for the nights from one date to another."""
    history = SiteHistory(Planner(board.site), board.reader.site_records())
    whole = stretch_of_nights(first, last, history.planner.tz)
    periods = split(whole, each, history.planner.tz, latitude_deg=board.site.latitude_deg)
    now = now or board.true_utc
    bounds = bounds_of(history, board.reader, now)
    return list(account_for_past(history, board.reader, periods, bounds=bounds, zones=zones))


def of(rows, zone_id):
    """The rows of one zone."""
    return [row for row in rows if row.zone == zone_id]


def missed(hours: HourSum) -> dict[Cause | None, float]:
    """Hours missed by reason, to the hundredth of an hour."""
    return {part.reason: round(part.lasts_ms / MS_PER_HOUR, 2) for part in hours.missed}


@pytest.fixture(scope="module")
def weeks(tmp_path_factory):
    """Three weeks in which almost everything happens, each thing on an evening of its own."""
    return live_three_weeks(tmp_path_factory.mktemp("weeks"))


FIRST, LAST = date(2027, 5, 28), date(2027, 6, 17)


def test_hours_are_those_that_the_relays_were_closed(weeks):
    """Lit hours are the truth, but for what a power cut can hide: less than a beat for each of two cuts."""
    rows = account(weeks, FIRST, LAST)
    for row in rows:
        truth_s = weeks.lit_s(row.zone)
        lit_s = row.lit_ms / 1000
        assert truth_s - 2 * 270 <= lit_s <= truth_s + 0.1
    nights = account(weeks, FIRST, LAST, Each.NIGHT)
    for row in nights:
        if row.period.first not in (date(2027, 5, 30), date(2027, 6, 3)):
            truth_s = weeks.lit_s(row.zone, row.period.starts_at_utc, row.period.ends_at_utc)
            assert row.lit_ms / 1000 == pytest.approx(truth_s, abs=0.01)


@pytest.mark.parametrize(
    ("night", "zone_id", "reasons"),
    [
        (date(2027, 5, 29), "jetty", {}),
        (date(2027, 6, 1), "jetty", {Cause.STOPPED: 0.25}),
        (date(2027, 6, 1), "path", {Cause.STOPPED: 0.25}),
        (date(2027, 6, 5), "path", {Cause.OVERRIDE: 1.0}),
        (date(2027, 6, 5), "jetty", {}),
        (date(2027, 6, 7), "path", {Cause.RELAY_FAULT: 2.5}),
        (date(2027, 6, 9), "path", {}),
    ],
)
def test_what_was_missed_has_its_reason(weeks, night, zone_id, reasons):
    """Planned light that did not come is laid at the door of what kept it away, and of nothing else."""
    (row,) = of(account(weeks, night, night), zone_id)
    assert missed(row) == {why: pytest.approx(hours, abs=0.01) for why, hours in reasons.items()}


def test_a_power_cut_is_missed_from_the_last_sign_of_life(weeks):
    """Half an hour without power is missed, and at most a beat more."""
    (row,) = of(account(weeks, date(2027, 5, 30), date(2027, 5, 30)), "path")
    assert missed(row).keys() == {Cause.POWER_LOST}
    assert 0.5 <= missed(row)[Cause.POWER_LOST] <= 0.5 + 270 / 3600 + 0.01
    gap = row.longest_gap
    assert gap.reason is Cause.POWER_LOST
    assert gap.lasts_ms == row.missed_ms


def test_without_the_time_both_reasons_are_told_apart(weeks):
    """Ten minutes without power and thirty without the time: each has its own hours."""
    (row,) = of(account(weeks, date(2027, 6, 3), date(2027, 6, 3)), "path")
    reasons = missed(row)
    assert reasons.keys() == {Cause.POWER_LOST, Cause.CLOCK_NOT_TRUSTED}
    assert reasons[Cause.CLOCK_NOT_TRUSTED] == pytest.approx(0.5, abs=0.01)
    assert 10 / 60 - 0.01 <= reasons[Cause.POWER_LOST] <= 10 / 60 + 270 / 3600 + 0.01


def test_a_zone_out_of_service_keeps_its_plan(weeks):
    """What a zone out of service would have done is missed, and the reason is that it was."""
    (row,) = of(account(weeks, date(2027, 6, 9), date(2027, 6, 9)), "jetty")
    assert row.lit_ms == 0
    assert missed(row) == {Cause.OUT_OF_SERVICE: round(row.planned_ms / MS_PER_HOUR, 2)}


def test_light_by_day_and_by_wish_is_told(weeks):
    """Two hours of an override at three in the afternoon are lit in daylight, and by override."""
    (row,) = of(account(weeks, date(2027, 6, 6), date(2027, 6, 6)), "jetty")
    assert row.override_ms == 2 * MS_PER_HOUR
    assert row.daylight_ms == 2 * MS_PER_HOUR
    assert row.starts == 2


def test_a_changed_program_does_not_rewrite_the_plan_of_before(weeks):
    """Until 11 June midnight was planned, from 12 June on eleven: nothing of it counts as missed."""
    rows = of(account(weeks, date(2027, 6, 10), date(2027, 6, 14), Each.NIGHT), "jetty")
    assert [row.missed for row in rows] == [()] * 5
    planned_h = [row.planned_ms / MS_PER_HOUR for row in rows]
    assert [round(planned_h[night] - planned_h[night + 2]) for night in (0, 1)] == [1, 1]


def test_a_changed_load_does_not_rewrite_the_energy_of_before(weeks):
    """The same nights take the same energy and money, whatever the zone draws later."""
    rows = of(account(weeks, date(2027, 5, 29), date(2027, 5, 29)), "jetty")
    assert rows[0].loads == ((30.0, "fixtures"),)
    lit_h = Decimal(rows[0].lit_ms) / MS_PER_HOUR
    assert rows[0].energy.lamps_j / J_PER_KWH == pytest.approx(lit_h * 30 / 1000)
    later = of(account(weeks, date(2027, 6, 13), date(2027, 6, 13)), "jetty")
    later_h = Decimal(later[0].lit_ms) / MS_PER_HOUR
    assert later[0].loads == ((18.0, "fixtures"),)
    assert later[0].energy.lamps_j / J_PER_KWH == pytest.approx(later_h * 18 / 1000)
    both = of(account(weeks, date(2027, 5, 29), date(2027, 6, 13)), "jetty")
    assert both[0].loads == ((30.0, "fixtures"), (18.0, "fixtures"))


def test_the_loss_of_a_dark_transformer_is_shared_by_the_loads_of_its_time(weeks):
    """In May the jetty drew 30 of 54 W, from 10 June on 18 of 42; its part of the dark hours is the same."""
    for night, part in ((date(2027, 5, 29), Decimal(30) / 54), (date(2027, 6, 13), Decimal(18) / 42)):
        rows = account(weeks, night, night)
        idle_j = sum(row.energy.idle_j for row in rows)
        assert of(rows, "jetty")[0].energy.idle_j / idle_j == pytest.approx(part)
        # Dark for 24 h less the time in which either was lit, at 6 W.
        lit = max(row.lit_ms for row in rows) + 0
        assert idle_j <= Decimal(24 * 3600 * 6) - Decimal(lit) / 1000 * 6


def sums(rows):
    """Everything that can be added up, zone by zone."""
    added = {}
    for row in rows:
        hours, energy = row, row.energy
        sum_of = added.setdefault(hours.zone, {})
        parts = {
            "lit": hours.lit_ms,
            "program": hours.program_ms,
            "override": hours.override_ms,
            "unknown": hours.unknown_ms,
            "untrusted": hours.untrusted_ms,
            "daylight": hours.daylight_ms,
            "starts": hours.starts,
            "planned": hours.planned_ms,
            **{f"missed {part.reason}": part.lasts_ms for part in hours.missed},
        }
        for name, value in parts.items():
            sum_of[name] = sum_of.get(name, 0) + value
        for name, value in (("meter", energy.meter_j), ("lamps", energy.lamps_j), ("cost", energy.cost)):
            sum_of[name] = sum_of.get(name, Decimal(0)) + value
    return {
        zone_id: {
            name: round(value, 15) if isinstance(value, Decimal) else value for name, value in each.items()
        }
        for zone_id, each in added.items()
    }


@given(cuts=st.sets(st.integers(1, 20), max_size=6), each=st.sampled_from(Each))
@settings(max_examples=25, deadline=None)
def test_any_partition_adds_up_to_the_whole(weeks, cuts, each):
    """However the nights are cut, asked for together or apart, nothing is lost and nothing counted twice."""
    whole = sums(account(weeks, FIRST, LAST))
    edges = [0, *sorted(cuts), 21]
    parts = []
    for begins, ends in pairwise(edges):
        parts += account(weeks, FIRST + begins * DAY, FIRST + (ends - 1) * DAY, each)
    assert sums(parts) == whole


def test_waiting_for_a_turn_is_not_missed(tmp_path):
    """Zones that come on together wait half a second each, on every night; nobody missed that light."""
    names = [f"zone-{number}" for number in range(8)]
    zones = [zone(name, "22:30 to 23:30", pin=4 + number) for number, name in enumerate(names)]
    board = Board(tmp_path, site(*zones), START)
    board.run_until(START + 3 * DAY)
    board.close()
    rows = account(board, date(2027, 5, 28), date(2027, 5, 30))
    assert [row.missed for row in rows] == [()] * 8
    last = rows[-1]
    assert last.lit_ms < 3 * MS_PER_HOUR
    assert last.planned_ms == last.lit_ms


def test_before_the_journal_and_after_now_nothing_is_missed(tmp_path):
    """What was planned before the journal began, or is planned for later tonight, is not missed."""
    board = Board(tmp_path, garden(), datetime(2027, 5, 28, 22, 30, tzinfo=UTC))
    board.run_until(datetime(2027, 5, 28, 22, 45, tzinfo=UTC))
    rows = account(board, date(2027, 5, 20), date(2027, 6, 5))
    board.close()
    for row in rows:
        assert row.missed == ()
        # A relay rests for two seconds from the start of the board.
        assert row.planned_ms == pytest.approx(0.25 * MS_PER_HOUR, abs=2500)
        assert row.lit_ms == pytest.approx(0.25 * MS_PER_HOUR, abs=2500)


def test_a_light_of_a_dead_board_ends_with_its_last_sign_of_life(tmp_path):
    """A journal that ends in the middle of a light, read much later, does not let it burn on."""
    board = Board(tmp_path, garden(), START)
    board.run_until(datetime(2027, 5, 28, 22, tzinfo=UTC))
    board.journal.close()
    rows = account(board, date(2027, 5, 28), date(2027, 6, 28), now=START + 30 * DAY)
    (jetty,) = of(rows, "jetty")
    truth_s = board.lit_s("jetty")
    assert truth_s - 300 <= jetty.lit_ms / 1000 <= truth_s + 300


@pytest.mark.parametrize("off_by", [timedelta(days=-20_000), -HOUR, 90 * DAY], ids=str)
def test_a_clock_that_goes_wrong_while_lit_moves_no_light_to_another_night(tmp_path, off_by):
    """The relays' own hours, night by night, by month and in one sum, though the clock was wrong."""
    began = datetime(2027, 5, 28, 11, tzinfo=UTC)
    board = Board(tmp_path, garden(), began)
    for night in range(5):
        evening = began + night * DAY + timedelta(hours=11)
        board.run_until(evening)
        board.clock.step(off_by.total_seconds())
        board.clock.trusted = False
        board.due_in_s = board.keeper.reconcile()
        # Somebody wants light all the same, and has had enough of it before, or after, the time is found.
        board.override("path", on=True, lasts_s=1800 + 1800 * night)
        board.run_until(evening + HOUR)
        board.learn_time()
    board.run_until(began + 6 * DAY)
    board.close()
    first, last = date(2027, 5, 28), date(2027, 6, 2)
    nights = account(board, first, last, Each.NIGHT)
    for row in nights:
        truth_s = board.lit_s(row.zone, row.period.starts_at_utc, row.period.ends_at_utc)
        assert row.lit_ms / 1000 == pytest.approx(truth_s, abs=1.0)
        assert row.untrusted_ms == 0
    for each in (Each.MONTH, Each.WHOLE):
        rows = account(board, first, last, each)
        for zone_id in ("jetty", "path"):
            cut, uncut = of(nights, zone_id), of(rows, zone_id)
            assert sum(row.lit_ms for row in cut) == sum(row.lit_ms for row in uncut)
            assert sum(row.starts for row in cut) == sum(row.starts for row in uncut)
            assert sum(row.missed_ms for row in cut) == sum(row.missed_ms for row in uncut)
    totals = {each.zone: each.lit_s for each in board.reader.totals()}
    assert totals == {zone_id: sum(row.lit_ms for row in of(nights, zone_id)) / 1000 for zone_id in totals}


def test_what_happened_before_a_person_confirmed_the_time_gets_its_true_time(tmp_path):
    """A board wakes up in 1970, is lit by hand, and is set and confirmed: all of it in that very night."""
    began = datetime(2027, 5, 28, 11, tzinfo=UTC)
    board = Board(tmp_path, garden(), began)
    board.run_until(began + 10 * HOUR)
    board.cut_power(1800, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
    board.run_until(board.true_utc + HOUR / 2)
    board.override("path", on=True, lasts_s=900)
    board.run_until(board.true_utc + HOUR / 2)
    board.clock.step((board.true_utc - board.clock.utc).total_seconds())
    board.keeper.confirm_clock(board.true_utc)
    board.due_in_s = board.keeper.reconcile()
    board.run_until(began + DAY)
    board.close()
    rows = account(board, date(2027, 5, 28), date(2027, 5, 28))
    for row in rows:
        assert row.lit_ms / 1000 == pytest.approx(board.lit_s(row.zone), abs=300)
        assert row.untrusted_ms == 0
    # The jetty's dusk is at 20:52; the power went at 21:00, up to five minutes after the last sign of life.
    lost_h = pytest.approx(0.5, abs=0.09)
    assert missed(of(rows, "jetty")[0]) == {Cause.POWER_LOST: lost_h, Cause.CLOCK_NOT_TRUSTED: 1.0}
    assert of(rows, "path")[0].override_ms == 900_000


def test_a_zone_that_is_gone_keeps_its_hours(tmp_path):
    """A zone that the site file lost is accounted for as long as it was there, after the others."""
    lamp = zone("lamp", "22:30 to 23:30", pin=19, rated_watts=10)
    board = Board(tmp_path, garden(more=(lamp,)), START)
    board.run_until(START + 2 * DAY)
    board.change(garden())
    board.run_until(START + 4 * DAY)
    board.close()
    rows = account(board, date(2027, 5, 28), date(2027, 5, 31), Each.NIGHT)
    assert [row.zone for row in rows[:3]] == ["jetty", "path", "lamp"]
    lit_h = [round(row.lit_ms / MS_PER_HOUR, 2) for row in of(rows, "lamp")]
    planned_h = [round(row.planned_ms / MS_PER_HOUR, 2) for row in of(rows, "lamp")]
    assert lit_h == planned_h == [1.0, 1.0, 0.0, 0.0]
    assert all(row.missed == () for row in rows)
    first = of(rows, "lamp")[0]
    assert not first.at_least
    assert float(first.lamps_j) == pytest.approx(10 * 3600, abs=20)
    assert first.meter_j > first.lamps_j


def test_one_zone_is_told_as_among_all(weeks):
    """A zone asked for alone bears the same part of its transformer's losses."""
    alone = account(weeks, FIRST, LAST, zones=("path",))
    assert [row.zone for row in alone] == ["path"]
    (among,) = of(account(weeks, FIRST, LAST), "path")
    assert alone[0] == among


def test_a_copy_of_a_journal_misses_nothing_after_its_last_sign_of_life(tmp_path):
    """Read weeks later, without the board, it ends at the first light of which there is no sign."""
    board = Board(tmp_path, garden(), START)
    board.run_until(START + 3 * DAY)
    board.close()
    later = START + 30 * DAY
    rows = account(board, date(2027, 5, 28), date(2027, 6, 26), Each.NIGHT, now=later)
    assert sum(row.missed_ms for row in rows) == 0
    assert {row.meter_j for row in rows if row.period.first >= date(2027, 6, 1)} == {Decimal(0)}
    history = SiteHistory(Planner(board.site), board.reader.site_records())
    bounds = bounds_of(history, board.reader, later)
    assert bounds.record_ended
    # It is the dusk of 31 May by JPL DE421, within what is promised for the sun at this latitude.
    before_deg, after_deg = sun_heights_deg(51.5, 0.0, bounds.now_utc, (-5, 5))
    assert (bounds.now_utc.date(), before_deg > -6 > after_deg) == (date(2027, 5, 31), True)


@pytest.mark.parametrize("reason", ["stopped", "out of service", "override", "clock"])
def test_a_reason_for_dark_goes_on_until_now(tmp_path, reason):
    """Where the journal says why it is dark, its last sign of life may be days old: the record goes on."""
    board = Board(tmp_path, garden() if reason != "out of service" else dark_garden(), START)
    board.run_until(START + DAY)
    if reason == "override":
        for zone_id in ("jetty", "path"):
            board.override(zone_id, on=False, lasts_s=30 * 86_400)
    if reason == "stopped":
        board.keeper.stop()
    if reason == "clock":
        board.clock.trusted = False
    board.run_until(START + (1 if reason == "stopped" else 20) * DAY)
    board.close()
    history = SiteHistory(Planner(board.site), board.reader.site_records())
    assert not bounds_of(history, board.reader, START + 20 * DAY).record_ended


def dark_garden():
    return site(zone("jetty", out_of_service="felled"), zone("path", pin=18, out_of_service="felled"))
