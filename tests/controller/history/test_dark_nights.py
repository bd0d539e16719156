"""Outages counted in nights: which nights are one outage, and which are not."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta

import pandas as pd
import pytest

from controller.calendar.periods import Each, split, stretch_of_nights
from controller.history.account import account_for_past
from controller.history.dark_nights import outages_of
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.history.totals import HourSum, Missed, add_up, without_nights
from controller.planning.planner import Planner
from controller.records.entries import Cause
from tests.controller.board import Board
from tests.sites import site, zone

HOUR_MS = 3_600_000
ONE_DAY = timedelta(days=1)
# In London each of these is an hour by the clock, so nothing has to be known of the sun.
PROGRAM = "22:00 to 23:00"
SUMMER = (date(2027, 6, 1), date(2027, 8, 31))
ZONES = (
    zone("jetty", PROGRAM),
    zone("path", PROGRAM, pin=18, special=[("Sun", [])]),
    zone("lawn", pin=19, special=[("Fri, Sat", [PROGRAM])]) | {"program": []},
)


@pytest.fixture(scope="module")
def summer(tmp_path_factory):
    """A summer with a path and a lawn out of service, two power cuts, a relay that fails, and an override."""
    whole = site(*ZONES)
    board = Board(tmp_path_factory.mktemp("summer"), whole, datetime(2027, 6, 1, 12, tzinfo=UTC))
    board.run_until(datetime(2027, 6, 10, 12, tzinfo=UTC))
    jetty, *others = ZONES
    board.change(site(jetty, *({**each, "out_of_service": "the drive is dug up"} for each in others)))
    board.run_until(datetime(2027, 6, 22, 12, tzinfo=UTC))
    board.change(whole)
    # All of two nights, and the last quarter of a third.
    board.run_until(datetime(2027, 7, 1, 21, 45, tzinfo=UTC))
    board.cut_power(timedelta(days=1, hours=20).total_seconds())
    board.run_until(datetime(2027, 7, 10, 12, tzinfo=UTC))
    board.break_relay("jetty")
    board.run_until(datetime(2027, 7, 13, 12, tzinfo=UTC))
    board.mend_relay("jetty")
    board.run_until(datetime(2027, 7, 20, 20, 30, tzinfo=UTC))
    board.override("jetty", on=False, lasts_s=3600)
    board.run_until(datetime(2027, 8, 1, 21, 15, tzinfo=UTC))
    board.cut_power(600)
    board.run_until(datetime(2027, 9, 2, 12, tzinfo=UTC))
    board.close()
    return board


def rows_of(board: Board, each: Each) -> list[HourSum]:
    """Account for the summer, cut in some way."""
    history = SiteHistory(Planner(board.site), board.reader.site_records())
    whole = stretch_of_nights(*SUMMER, history.planner.tz)
    periods = split(whole, each, history.planner.tz, latitude_deg=51.5)
    bounds = bounds_of(history, board.reader, board.true_utc)
    return list(account_for_past(history, board.reader, periods, bounds=bounds))


def test_outages_are_counted_in_nights(summer):
    """Nights in a row are one outage, also over nights without a program, with its dates and hours."""
    found = {(each.reason, each.zones): each for each in outages_of(rows_of(summer, Each.MONTH))}
    expected = {
        # 10 to 21 June are twelve nights, two of them Sundays.
        (Cause.OUT_OF_SERVICE, ("path",)): (date(2027, 6, 10), date(2027, 6, 21), 10, 10.0),
        (Cause.OUT_OF_SERVICE, ("lawn",)): (date(2027, 6, 11), date(2027, 6, 19), 4, 4.0),
        # A Thursday and a Friday: the lawn has no program on the first of them.
        (Cause.POWER_LOST, ("jetty", "path", "lawn")): (date(2027, 7, 1), date(2027, 7, 2), 2, 3.5),
        (Cause.RELAY_FAULT, ("jetty",)): (date(2027, 7, 10), date(2027, 7, 12), 3, 3.0),
        (Cause.OVERRIDE, ("jetty",)): (date(2027, 7, 20), date(2027, 7, 20), 1, 0.5),
        (Cause.POWER_LOST, ("jetty",)): (date(2027, 8, 1), date(2027, 8, 1), 1, 1 / 6),
    }
    assert found.keys() == expected.keys()
    for key, (first, last, nights, lasts_h) in expected.items():
        each = found[key]
        assert (each.first, each.last, each.nights) == (first, last, nights), key
        # The last heartbeat before a power cut is up to 300 s old, for each of two zones.
        assert each.lasts_ms / HOUR_MS == pytest.approx(lasts_h, abs=0.17), key


@pytest.mark.parametrize("each", [Each.NIGHT, Each.SEASON, Each.WHOLE])
def test_the_answer_does_not_depend_on_the_periods(summer, each):
    """An outage that begins in one period and ends in the next is one, however the account is cut."""
    assert outages_of(rows_of(summer, each)) == outages_of(rows_of(summer, Each.MONTH))


def test_missed_light_is_that_of_the_raw_rows(summer):
    """Night by night each zone missed the light that pandas finds missing in the raw rows."""
    with closing(sqlite3.connect(summer.reader.path)) as connection:
        rows = pd.read_sql_query(
            "SELECT zone.name AS zone, lit_from_ms, lit_ms FROM switching "
            "JOIN zone ON zone.id = switching.zone WHERE lit_ms > 0",
            connection,
        )
    began = pd.to_datetime(rows.lit_from_ms, unit="ms", utc=True).dt.tz_convert("Europe/London")
    rows["night"] = (began - pd.Timedelta(hours=12)).dt.tz_localize(None).dt.normalize()
    lit_ms = rows.groupby(["zone", "night"]).lit_ms.sum()
    nights = pd.date_range(*SUMMER)
    planned = {
        "jetty": nights,
        "path": nights[nights.day_of_week != 6],
        "lawn": nights[nights.day_of_week.isin([4, 5])],
    }
    expected = {
        (zone_id, night.date()): missed_ms
        for zone_id, some in planned.items()
        for night, missed_ms in (HOUR_MS - lit_ms[zone_id].reindex(some, fill_value=0)).items()
        if missed_ms >= 60_000
    }
    found = {
        (row.zone, night): missed_ms
        for row in rows_of(summer, Each.MONTH)
        for part in row.missed
        for night, missed_ms in part.nights
    }
    # Zones come on half a second apart, and a relay rests for two, which is waiting and not missed.
    assert found == pytest.approx(expected, abs=2500)
    assert len(found) == 10 + 4 + 5 + 3 + 1 + 1


def test_zones_that_miss_the_same_nights_for_one_reason_share_an_outage():
    """Two zones out of service over the same nights make one outage; another night more makes two."""
    first = date(2027, 6, 10)

    def row(zone_id: str, nights: int) -> HourSum:
        dates = tuple(first + n * ONE_DAY for n in range(nights))
        part = Missed(
            reason=Cause.OUT_OF_SERVICE,
            lasts_ms=nights * HOUR_MS,
            nights=tuple((each, HOUR_MS) for each in dates),
        )
        return HourSum(zone=zone_id, planned_nights=dates, missed=(part,))

    alike = outages_of([row("jetty", 3), row("path", 3)])
    assert [(each.zones, each.nights, each.lasts_ms) for each in alike] == [
        (("jetty", "path"), 3, 6 * HOUR_MS)
    ]
    assert [each.zones for each in outages_of([row("jetty", 3), row("path", 4)])] == [("jetty",), ("path",)]


def test_nights_are_counted_without_their_dates(summer):
    """Months add up to the nights of the summer for each zone; over several zones that is not known."""
    months = [without_nights(row) for row in rows_of(summer, Each.MONTH)]
    for zone_id in ("jetty", "path", "lawn"):
        (whole,) = [row for row in rows_of(summer, Each.WHOLE) if row.zone == zone_id]
        total = add_up([row for row in months if row.zone == zone_id], zone=zone_id)
        assert [part.on_nights for part in total.missed] == [len(part.nights) for part in whole.missed]
    assert {part.on_nights for part in add_up(months).missed} == {None}
