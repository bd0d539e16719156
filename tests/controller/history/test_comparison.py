"""A period beside the same one a year earlier, and beside what the present program was expected to use."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pandas as pd
import pytest

from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.periods import Each
from controller.energy.values import J_PER_KWH
from controller.history.query import Beside, HoursQuery
from controller.history.report import report_hours
from controller.journal.database import journal_path
from controller.planning.planner import Planner
from tests.controller.board import Board
from tests.sites import site, zone

SELDOM_S = 6 * 3600.0
# A fifth is lost in the transformer while lit; a flat price.
HOUSE = {
    "transformers": [{"id": "shed", "rated_va": 150, "efficiency": 0.8}],
    "tariff": {"currency": "GBP", "per_kwh": Decimal("0.30")},
}
# By the clock, so that nothing has to be known of the sun.
BEFORE = site(
    zone("jetty", "21:00 to 23:00", rated_watts=40, transformer="shed"),
    zone("path", "22:00 to 01:00", pin=18, rated_watts=20, transformer="shed"),
    **HOUSE,
)
AFTER = site(zone("jetty", "21:00 to 00:30", rated_watts=40, transformer="shed"), **HOUSE)
BEGAN = datetime(2026, 4, 10, 11, tzinfo=UTC)
# The evening of 20 June 2027 in London, in the middle of a window.
NOW = datetime(2027, 6, 20, 20, 45, tzinfo=UTC)
OUT = timedelta(days=2)


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    """Fourteen months, in which a path is given up, a program changed, and the power lost for two nights."""
    board = Board(tmp_path_factory.mktemp("garden"), BEFORE, BEGAN, tick_s=SELDOM_S)
    board.run_until(datetime(2027, 5, 1, 11, tzinfo=UTC))
    board.change(AFTER)
    board.run_until(datetime(2027, 6, 5, 11, tzinfo=UTC))
    board.cut_power(OUT.total_seconds())
    board.run_until(NOW)
    board.journal.flush()
    yield board
    board.close()


def report(board: Board, by: Each, **more):
    """Report hours, with both comparisons."""
    query = HoursQuery(by=by, beside=frozenset(Beside), **more)
    return report_hours(Planner(board.site), board.reader, query, now_utc=board.true_utc)


def lit_h(board: Board, zone_id: str, from_utc: datetime, to_utc: datetime) -> float:
    """Add up hours between two instants by pandas, from the rows of the journal as they are."""
    with closing(sqlite3.connect(journal_path(board.folder))) as connection:
        rows = pd.read_sql(
            "SELECT s.at_ms, s.lit FROM switching s JOIN zone z ON z.id = s.zone "
            "WHERE z.name = ? ORDER BY at_ms",
            connection,
            params=[zone_id],
        )
    edges = pd.to_datetime(rows["at_ms"], unit="ms", utc=True).clip(
        pd.Timestamp(from_utc), pd.Timestamp(to_utc)
    )
    lasts = (edges.shift(-1).fillna(pd.Timestamp(to_utc)) - edges)[rows["lit"] == 1]
    return float(lasts.dt.total_seconds().sum() / 3600)


def hours(figures) -> float:
    """The hours lit of some figures."""
    return figures.lit_ms / MS_PER_HOUR


def test_a_month_stands_beside_the_same_month_a_year_earlier(garden):
    """May is beside May: hours by pandas, energy at 80 %, money at the price, and the differences."""
    (jetty, path) = report(garden, Each.MONTH, period="2027-05").rows
    edges = (datetime(2026, 5, 1, 11, tzinfo=UTC), datetime(2026, 6, 1, 11, tzinfo=UTC))
    for row in (jetty, path):
        beside = row.year_earlier
        assert beside.period.name == "2026-05"
        before_h = lit_h(garden, row.zone, *edges)
        now_h = lit_h(garden, row.zone, *(edge.replace(year=2027) for edge in edges))
        assert hours(beside.other) == pytest.approx(before_h, abs=1e-5)
        assert hours(beside.change) == pytest.approx(now_h - before_h, abs=1e-5)
    for row, watts in ((jetty, 40), (path, 20)):
        for figures in (row.year_earlier.other, row.year_earlier.change):
            kwh = hours(figures) * watts / 1000 / 0.8
            assert float(figures.meter_j / J_PER_KWH) == pytest.approx(kwh, abs=1e-6)
            assert float(figures.cost) == pytest.approx(kwh * 0.30, abs=1e-6)
    # The path was given up on the first of May; it is told of because it was lit a year earlier.
    assert (path.zone, path.lit_ms, hours(path.year_earlier.change)) == ("path", 0, -93.0)


def test_a_period_that_is_not_over_is_compared_up_to_the_same_time_of_the_year(garden):
    """June so far, up to 21:45 on the 20th, stands beside June up to 21:45 on the 20th a year before."""
    jetty = report(garden, Each.MONTH, period="2027-06").rows[0]
    assert not jetty.is_over
    beside = jetty.year_earlier
    assert beside.period.ends_at_utc == datetime(2026, 6, 20, 20, 45, tzinfo=UTC)
    # Nineteen nights of two hours, and three quarters of an hour of the twentieth.
    assert hours(beside.other) == pytest.approx(19 * 2 + 0.75, abs=1e-3)
    # This year three and a half hours, but for two nights without power.
    assert hours(beside.change) == pytest.approx(17 * 3.5 + 0.75 - (19 * 2 + 0.75), abs=0.01)
    assert beside.change.missed_ms / MS_PER_HOUR == pytest.approx(2 * 3.5, abs=0.01)


def test_what_the_journal_does_not_know_is_not_compared(garden):
    """March has nothing beside it, and April a part that is told but not subtracted."""
    march = report(garden, Each.MONTH, period="2027-03").rows[0]
    assert march.year_earlier is None
    april = report(garden, Each.MONTH, period="2027-04").rows[0]
    assert april.year_earlier.change is None
    assert hours(april.year_earlier.other) == pytest.approx(21 * 2, abs=1e-3)
    # So the sum is of May alone.
    whole = report(garden, Each.MONTH, first=date(2027, 3, 1), last=date(2027, 5, 31))
    may = [row.year_earlier for row in whole.rows if row.period.name == "2027-05"]
    assert whole.total.year_earlier.other == may[0].other + may[1].other
    assert whole.total.year_earlier.change == may[0].change + may[1].change


@pytest.mark.parametrize("by", [Each.NIGHT, Each.MONTH, Each.SEASON, Each.YEAR, Each.WHOLE])
def test_however_it_is_cut_the_sums_are_the_same(garden, by, monkeypatch):
    """Night by night or all at once, in long steps or short ones, both comparisons add up to the same."""
    months = report(garden, Each.WHOLE, first=date(2027, 5, 3), last=date(2027, 6, 20)).total
    monkeypatch.setattr("controller.history.steps.NIGHTS_AT_ONCE", 7)
    total = report(garden, by, first=date(2027, 5, 3), last=date(2027, 6, 20)).total
    for one, other in (
        (total.year_earlier, months.year_earlier),
        (total.forecast, months.forecast),
    ):
        for figures in ("other", "change"):
            ours, theirs = getattr(one, figures), getattr(other, figures)
            assert (ours.lit_ms, ours.missed_ms) == (theirs.lit_ms, theirs.missed_ms)
            assert float(ours.meter_j) == pytest.approx(float(theirs.meter_j))
            assert float(ours.cost) == pytest.approx(float(theirs.cost))


def test_a_leap_day_has_nothing_beside_it(tmp_path):
    """The night of 29 February has no counterpart; those around it have theirs."""
    board = Board(tmp_path, AFTER, datetime(2027, 2, 20, 11, tzinfo=UTC), tick_s=SELDOM_S)
    board.run_until(datetime(2028, 3, 2, 11, tzinfo=UTC))
    board.close()
    rows = report(board, Each.NIGHT, first=date(2028, 2, 28), last=date(2028, 3, 1)).rows
    names = [row.year_earlier and row.year_earlier.period.name for row in rows]
    assert names == ["2027-02-28", None, "2027-03-01"]


def test_the_forecast_is_what_the_present_program_would_have_used(garden):
    """Of May three and a half hours a night at 40 W are expected; the jetty kept it, the path used more."""
    jetty = report(garden, Each.MONTH, period="2027-05").rows[0]
    expected = jetty.forecast.other
    assert hours(expected) == 31 * 3.5
    kwh = Decimal(31) * Decimal("3.5") * 40 / 1000 / Decimal("0.8")
    assert expected.meter_j / J_PER_KWH == pytest.approx(kwh)
    assert expected.cost == pytest.approx(kwh * Decimal("0.30"))
    assert jetty.forecast.change.lit_ms == 0
    # By the present program, of which the path is no part, all that it used in April is more than expected.
    april = {row.zone: row for row in report(garden, Each.MONTH, period="2027-04").rows}
    assert hours(april["jetty"].forecast.change) == pytest.approx(30 * (2 - 3.5), abs=0.01)
    assert april["path"].forecast.change == april["path"].figures


def test_nothing_is_expected_before_the_journal_or_after_now(garden):
    """April 2026 is expected from the 10th on, June 2027 up to now, and July not yet."""
    april = report(garden, Each.MONTH, period="2026-04").rows[0]
    assert hours(april.forecast.other) == 21 * 3.5
    june = report(garden, Each.MONTH, period="2027-06").rows[0]
    assert hours(june.forecast.other) == 19 * 3.5 + 0.75
    assert hours(june.forecast.change) == pytest.approx(-2 * 3.5, abs=0.01)
    assert report(garden, Each.MONTH, period="2027-07").rows[0].forecast is None


def test_nothing_is_expected_of_a_zone_before_it_came(tmp_path):
    """A path that came on the 11th of June is expected from then on, with a transformer of its own."""
    shed = {"id": "shed", "rated_va": 150, "no_load_w": 5, "copper_w": 0}
    barn = {"id": "barn", "rated_va": 150, "no_load_w": 7, "copper_w": 0}
    jetty = zone("jetty", "21:00 to 23:00", rated_watts=40, transformer="shed")
    path = zone("path", "22:00 to 01:00", pin=18, rated_watts=20, transformer="barn")
    began = datetime(2027, 6, 1, 11, tzinfo=UTC)
    board = Board(tmp_path, site(jetty, transformers=[shed]), began, tick_s=SELDOM_S)
    board.run_until(datetime(2027, 6, 11, 11, tzinfo=UTC))
    board.change(site(jetty, path, transformers=[shed, barn]))
    board.run_until(datetime(2027, 6, 21, 11, tzinfo=UTC))
    board.close()
    for by in (Each.MONTH, Each.NIGHT):
        told = report(board, by, first=date(2027, 6, 1), last=date(2027, 6, 20))
        expected = {total.zone: total.forecast.other for total in told.totals}
        assert {zone_id: hours(figures) for zone_id, figures in expected.items()} == {"jetty": 40, "path": 30}
        path_wh = 30 * 20 + 10 * 24 * 7
        assert float(expected["path"].meter_j / J_PER_KWH) * 1000 == pytest.approx(path_wh)
        assert abs(hours(told.total.forecast.change)) < 0.01
