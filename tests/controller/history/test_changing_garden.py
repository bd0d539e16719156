"""The account of a garden that changes: what is over stays as it was, and any cut of a question adds up."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.models.site import Site
from controller.calendar.periods import Each, split, stretch_of_nights
from controller.energy.values import J_PER_KWH
from controller.history import steps
from controller.history.account import account_for_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.history.totals import HourSum, add_up
from controller.planning.planner import Planner
from controller.records.entries import Cause
from tests.controller.board import Board
from tests.controller.journal_samples import MEMORY
from tests.sites import site, zone

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
START = datetime(2027, 5, 28, 11, tzinfo=UTC)  # noon in London
FIRST = date(2027, 5, 28)
OLD = {"id": "shed", "rated_va": 200, "efficiency": 0.85, "no_load_w": 8}
NEW = {"id": "shed", "rated_va": 200, "efficiency": 0.95, "no_load_w": 1}
MAINS = {**NEW, "relay_side": "mains"}
OTHER = {"id": "other", "rated_va": 300, "copper_w": 9}
TARIFF = {
    "currency": "GBP",
    "per_kwh": Decimal("0.30"),
    "bands": [{"from": "23:00", "to": "07:00", "per_kwh": Decimal("0.12")}],
}


def garden(*zones, transformer=OLD, **more) -> Site:
    jetty = zone("jetty", rated_watts=120)
    return site(*(zones or (jetty,)), transformers=[transformer], tariff=TARIFF, **more)


def account(board: Board, today: Site, first: date, last: date, each: Each = Each.NIGHT) -> list[HourSum]:
    """Account for some nights, with a site file of today."""
    history = SiteHistory(Planner(today), board.reader.site_records())
    tz = history.planner.tz
    whole = stretch_of_nights(first, last, tz)
    periods = split(whole, each, tz, latitude_deg=today.latitude_deg)
    bounds = bounds_of(history, board.reader, board.true_utc)
    return list(account_for_past(history, board.reader, periods, bounds=bounds))


def lived(folder: Path, *sites: Site, nights: int = 4) -> Board:
    """Live some nights with each of these sites."""
    board = Board(folder, sites[0], START, tick_s=6 * 3600.0)
    for number, each in enumerate(sites):
        if number:
            board.change(each)
        board.run_until(START + (number + 1) * nights * DAY)
    board.close()
    return board


def test_a_transformer_that_is_replaced_leaves_the_bill_of_before(tmp_path):
    """Four nights behind an old transformer cost what they cost, though a better one is in today's file."""
    board = lived(tmp_path, garden(), garden(transformer=NEW))
    nights = account(board, garden(transformer=NEW), FIRST, FIRST + 7 * DAY)
    for number, row in enumerate(nights):
        lit_h = Decimal(row.lit_ms) / 3_600_000
        efficiency, idle_w = (Decimal("0.85"), 8) if number < 4 else (Decimal("0.95"), 1)
        expected_kwh = (lit_h * 120 / efficiency + (24 - lit_h) * idle_w) / 1000
        assert row.meter_j / J_PER_KWH == pytest.approx(expected_kwh, rel=Decimal("1e-9"))
        assert (row.assumed, row.losses) == (False, ("given efficiency",))


def test_a_zone_that_is_added_later_missed_nothing_before(tmp_path):
    """From the instant at which a zone was added its program counts, and no night of before."""
    pond = zone("pond", "22:30 to 23:30", pin=18, rated_watts=20)
    more = garden(zone("jetty", rated_watts=120), pond)
    board = lived(tmp_path, garden(), more)
    rows = [row for row in account(board, more, FIRST, FIRST + 7 * DAY) if row.zone == "pond"]
    assert [row.planned_ms for row in rows] == [0] * 4 + [3_600_000] * 4
    assert sum(row.missed_ms for row in rows) == 0


def test_a_zone_that_the_journal_was_never_told_of_planned_nothing(tmp_path):
    """A zone in today's site file that no keeper has read yet is dark without being missed."""
    board = lived(tmp_path, garden())
    unread = garden(zone("jetty", rated_watts=120), zone("pond", pin=18))
    rows = account(board, unread, FIRST, FIRST + 3 * DAY)
    assert {(row.planned_ms, row.missed_ms) for row in rows if row.zone == "pond"} == {(0, 0)}


def test_a_power_cut_is_not_billed(tmp_path):
    """Over ten days without power at the board its transformer, idle at 8 W, used nothing; common sense."""
    board = Board(tmp_path, garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 2 * DAY)
    board.cut_power(10 * 86_400)
    board.run_until(START + 14 * DAY)
    board.close()
    rows = account(board, garden(), FIRST, FIRST + 13 * DAY)
    kwh = [row.meter_j / J_PER_KWH for row in rows]
    assert kwh[2:12] == [0] * 10
    assert all(each > Decimal("0.1") for each in kwh[:2] + kwh[12:])
    assert {part.reason for row in rows[2:12] for part in row.missed} == {Cause.POWER_LOST}


def test_a_journal_that_was_told_nothing_of_the_site_says_so(tmp_path):
    """Without a record the transformer of today counts, marked as assumed; the first record fixes it."""
    board = Board(tmp_path, garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 2 * DAY)
    board.journal._connection.execute("DELETE FROM site_record")
    before = account(board, garden(), FIRST, FIRST + DAY)
    assert {row.assumed for row in before} == {True}
    board.stop(1)
    board.run_until(START + 4 * DAY)
    board.close()
    after = account(board, garden(transformer=NEW), FIRST, FIRST + DAY)
    assert after == before
    later = account(board, garden(transformer=NEW), FIRST + 2 * DAY, FIRST + 3 * DAY)
    assert {row.assumed for row in later} == {True, False}


LAMPS = [{"kind": "path", "count": 4, "watts": 5}]
ZONES = st.lists(
    st.sampled_from(
        [
            zone("jetty", "dusk to midnight", pin=17, rated_watts=120),
            zone("jetty", "dusk to 01:30", pin=17, rated_watts=60),
            zone("path", "22:30 to 02:00", pin=18, fixtures=LAMPS),
            zone("path", "05:00 to dawn", pin=18, special=[("Sat, Sun", ["dusk to dawn"])]),
            zone("pond", "18:00 to 23:00, while dark", pin=19, measured_watts=31),
            zone("pond", "sunset for 90m", pin=19, rated_watts=31, out_of_service="the pump"),
        ]
    ),
    min_size=1,
    max_size=3,
    unique_by=lambda each: each["id"],
)
PLACES = st.sampled_from(
    [
        {},
        {"time_zone": "Europe/Berlin"},
        {"time_zone": "America/New_York"},
        {"latitude": 60.2, "longitude": 5.3},
        {"dusk_angle": 12.0},
    ]
)
GARDENS = st.builds(
    lambda zones, transformer, place: garden(*zones, transformer=transformer, **place),
    ZONES,
    st.sampled_from(
        [OLD, NEW, {**NEW, "relay_side": "mains"}, {"id": "other", "rated_va": 300, "copper_w": 9}]
    ),
    PLACES,
)
WHOLE_FIGURES = ("lit_ms", "planned_ms", "missed_ms", "missed", "daylight_ms", "starts", "override_ms")
EVENTS = st.sampled_from(["change", "change", "stop", "power", "1970", "off", "on"])


def live(folder: Path, first: Site, story: list[tuple[str, Site, int]]) -> Board:
    """Live through changes, each some hours after the one before."""
    board = Board(folder, first, START, tick_s=6 * 3600.0)
    for what, changed, hours in story:
        board.run_until(board.true_utc + hours * HOUR)
        match what:
            case "change":
                board.change(changed)
            case "stop":
                board.site = changed
                board.stop(7200)
            case "power":
                board.cut_power(20 * 3600)
            case "1970":
                board.cut_power(3600, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
                board.run_until(board.true_utc + HOUR)
                board.learn_time()
            case _:
                board.override(board.site.zones[0].id, on=what == "on", lasts_s=5 * 3600)
    board.run_until(board.true_utc + 2 * DAY)
    return board


STORIES = st.lists(st.tuples(EVENTS, GARDENS, st.integers(1, 40)), max_size=6)


@given(first=GARDENS, story=STORIES, cuts=st.lists(st.integers(1, 9), min_size=1, max_size=4))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.data_too_large])
def test_any_cut_gives_the_same_sums(first, story, cuts):
    """Asked for at once, night by night, or in any stretches, each zone's figures add up the same."""
    with TemporaryDirectory(dir=MEMORY) as folder:
        board = live(Path(folder), first, story)
        last = board.true_utc.date()
        whole = account(board, board.site, FIRST, last, Each.WHOLE)
        nights = account(board, board.site, FIRST, last, Each.NIGHT)
        board.close()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(steps, "NIGHTS_AT_ONCE", 1)
            assert account(board, board.site, FIRST, last, Each.NIGHT) == nights
        pieces: list[HourSum] = []
        since, number = FIRST, 0
        while since <= last:
            until = min(since + cuts[number % len(cuts)] * DAY, last)
            pieces += account(board, board.site, since, until, Each.WHOLE)
            since, number = until + DAY, number + 1
        for row in whole:
            for parts in (nights, pieces):
                total = add_up(part for part in parts if part.zone == row.zone)
                for name in (
                    "lit_ms",
                    "planned_ms",
                    "missed_ms",
                    "missed",
                    "daylight_ms",
                    "starts",
                    "override_ms",
                ):
                    assert getattr(total, name) == getattr(row, name), name
                for exact in (lambda each: each.meter_j, lambda each: each.cost, lambda each: each.lamps_j):
                    assert exact(total) == pytest.approx(
                        exact(row), rel=Decimal("1e-18"), abs=Decimal("1e-15")
                    )


@given(first=GARDENS, story=STORIES, today=GARDENS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.data_too_large])
def test_no_edit_of_today_alters_a_night_that_is_over(first, story, today):
    """Whatever the site file says from now on, every figure of every finished night stays what it was."""
    with TemporaryDirectory(dir=MEMORY) as folder:
        board = live(Path(folder), first, story)
        last = max(FIRST, board.true_utc.date() - 2 * DAY)
        before = account(board, board.site, FIRST, last)
        assert figures(account(board, today, FIRST, last), before) == figures(before, before)
        board.site = today
        board.stop(60)
        board.run_until(board.true_utc + 2 * DAY)
        board.close()
        assert figures(account(board, today, FIRST, last), before) == figures(before, before)


def figures(rows: list[HourSum], known: list[HourSum]) -> dict[tuple[str, str], HourSum]:
    """Rows by night and zone; a zone that a later file brought has nothing but noughts."""
    zones = {row.zone for row in known}
    for row in rows:
        if row.zone not in zones:
            assert (row.lit_ms, row.planned_ms, row.meter_j) == (0, 0, 0)
    return {(row.period.name, row.zone): row for row in rows if row.zone in zones}
