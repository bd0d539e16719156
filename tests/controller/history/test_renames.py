"""A zone or fixture with another id keeps its history: beside a twin that was never called anything else."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models.site import Site
from controller.calendar.periods import Each, split, stretch_of_nights
from controller.forecast.forecast import Forecast
from controller.history.account import account_for_past
from controller.history.lamp_wear import account_for_wear
from controller.history.nights import bounds_of
from controller.history.query import HoursQuery
from controller.history.report import report_hours, year_to_come
from controller.history.site_history import SiteHistory
from controller.history.source import RenamedJournal
from controller.history.totals import HourSum
from controller.planning.planner import Planner
from controller.records.entries import Cause, FixtureIds, Replacement, SiteRecord
from controller.records.past import LoadAt
from tests.controller.board import Board
from tests.controller.journal_samples import MEMORY, dark, lit, reading, written_to
from tests.sites import site, zone

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
START = datetime(2027, 5, 28, 11, tzinfo=UTC)  # noon in London
FIRST = date(2027, 5, 28)
SHED = {"id": "shed", "rated_va": 200, "efficiency": 0.85, "no_load_w": 8}
LAMP = {"kind": "path", "count": 4, "watts": 3.0, "rated_life_h": 1000}
NAMES = ["front-path", "walk", "path", "steps"]


def garden(names: int = 0, *, watts: float | None = None, lamps=(LAMP,), **of_path) -> Site:
    """Give a garden whose first zone has had so many other names."""
    more = {"measured_watts": watts, "fixtures": list(lamps), "formerly": NAMES[:names], **of_path}
    path = zone(NAMES[names], "dusk to midnight", pin=17, **more)
    pond = zone("pond", "22:30 to 00:30", pin=27, rated_watts=31.0)
    return site(path, pond, transformers=[SHED], tariff={"currency": "GBP", "per_kwh": 1})


def journal_of(board: Board) -> RenamedJournal:
    return RenamedJournal(board.reader, board.site)


def account(board: Board, last: date, by: Each) -> list[HourSum]:
    """Account for all nights up to one, with the site of today."""
    source, planner = journal_of(board), Planner(board.site)
    history = SiteHistory(planner, source.site_records())
    periods = split(stretch_of_nights(FIRST, last, planner.tz), by, planner.tz, latitude_deg=51.5)
    bounds = bounds_of(history, source, board.true_utc)
    return list(account_for_past(history, source, list(periods), bounds=bounds))


def live(board: Board, story: list[tuple[str, int, bool]], *, renamed: bool) -> None:
    """Live through a story; in a garden that is renamed the first zone has another id after some steps."""
    names = 0
    for what, minutes, rename in story:
        board.run_until(board.true_utc + timedelta(minutes=minutes))
        names += renamed and rename and names + 1 < len(NAMES)
        changed = garden(names, watts=20.0 if what == "load" else None)
        match what:
            case "reload" | "load":
                board.change(changed)
            case "stop":
                board.site = changed
                board.stop(7200)
            case "power":
                board.site = changed
                board.cut_power(5 * 3600)
            case "1970":
                board.cut_power(3600, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
                board.change(changed)
                board.run_until(board.true_utc + HOUR)
                board.learn_time()
            case _:
                board.override(board.site.zones[0].id, on=what == "on", lasts_s=5 * 3600)
    board.run_until(board.true_utc + 2 * DAY)


STEPS = st.tuples(
    st.sampled_from(["reload", "load", "stop", "power", "1970", "off", "on"]),
    st.integers(1, 30 * 60),
    st.booleans(),
)


@given(story=st.lists(STEPS, min_size=1, max_size=6))
@settings(max_examples=30, deadline=None)
def test_a_renamed_zone_has_the_account_of_one_that_never_was(story):
    """Hours, what was missed and why, energy and money are those of the twin, by night and in all."""
    with TemporaryDirectory(dir=MEMORY) as one, TemporaryDirectory(dir=MEMORY) as two:
        board, twin = (Board(Path(each), garden(), START, tick_s=6 * 3600.0) for each in (one, two))
        live(board, story, renamed=True)
        live(twin, story, renamed=False)
        assert board.true_utc == twin.true_utc
        board.close()
        twin.close()
        last = board.true_utc.date()
        found, expected = (
            [*account(each, last, Each.NIGHT), *account(each, last, Each.WHOLE)] for each in (board, twin)
        )
        names = {NAMES[0]: board.site.zones[0].id}
        assert [each.zone for each in found] == [names.get(each.zone, each.zone) for each in expected]
        for row, other in zip(found, expected, strict=True):
            # A run goes on under the new name as another run, so only starts may be more.
            same = replace(row, zone=other.zone, starts=other.starts, energy=other.energy)
            assert same == other
            assert row.starts >= other.starts
            for exact in (lambda each: each.meter_j, lambda each: each.cost):
                assert exact(row) == pytest.approx(exact(other), rel=Decimal("1e-18"), abs=Decimal("1e-15"))
        renames = len(board.site.zones[0].formerly)
        for sums, others in zip(totals(board), totals(twin), strict=True):
            assert sums[:2] == others[:2]
            assert others[2] <= sums[2] <= others[2] + renames


def totals(board: Board) -> list[tuple[object, ...]]:
    """The place of each zone in the site file, seconds lit at each load, and cycles."""
    order = [each.id for each in board.site.zones]
    found = []
    for each in journal_of(board).totals():
        lit_s = {part.load_w: round(part.lit_s, 3) for part in each.by_load if part.lit_s}
        found.append((order.index(each.zone), lit_s, each.cycles))
    return sorted(found, key=lambda each: each[0])


def test_the_relay_does_not_move_when_its_zone_is_renamed(tmp_path):
    """Lit while it is renamed: the light stays on, one run ends and one begins at that instant."""
    board = Board(tmp_path, garden(), START)
    board.run_until(START + 11 * HOUR)
    board.change(garden(1))
    board.run_until(START + 24 * HOUR)
    board.close()
    (before, after) = board.lit["front-path"], board.lit["walk"]
    assert before[-1][1] == after[0][0]
    first, second = (run for run in journal_of(board).runs() if run.zone == "walk")
    assert (first.off_utc, first.ended_by) == (second.on_utc, Cause.SITE_CHANGED)
    assert (second.cause, second.words) == (first.cause, first.words)
    raw = [(each.zone, each.on) for each in board.reader.switchings() if each.zone != "pond"]
    assert raw == [("front-path", True), ("front-path", False), ("walk", True), ("walk", False)]


@pytest.fixture(scope="module")
def renamed(tmp_path_factory) -> Board:
    """Ten nights, renamed after three and after six; lamps and a relay replaced under every name."""
    board = Board(tmp_path_factory.mktemp("renamed"), garden(), START, tick_s=6 * 3600.0)
    fixtures = ("1", "edge", "kerb")
    for names, part in enumerate(fixtures):
        if names:
            formerly = fixtures[1:names]
            board.change(garden(names, lamps=[{**LAMP, "id": part, "formerly": formerly}]))
        board.run_until(START + (names + 1) * 3 * DAY)
        at = board.clock.read()
        for each, on in ((part, at.utc.date()), ("relay", FIRST + 2 * names * DAY)):
            board.journal.append(Replacement(zone=NAMES[names], part=each, on_date=on, at=at))
    board.run_until(START + 10 * DAY)
    board.close()
    return board


def test_replacements_follow_the_names(renamed):
    """What was recorded under earlier names of zone and fixture, and for its place, is the fixture's own."""
    source = journal_of(renamed)
    assert [each.id for each in source.replacements()] == [
        "path.relay.2027-05-28",
        "path.relay.2027-05-30",
        "path.kerb.2027-05-31",
        "path.relay.2027-06-01",
        "path.kerb.2027-06-03",
        "path.kerb.2027-06-06",
    ]
    by_old_name = list(source.replacements("front-path"))
    assert by_old_name == list(source.replacements("path")) == list(source.replacements())
    assert list(source.replacements("pond")) == []


def test_lamps_and_relay_count_over_all_names(renamed):
    """Wear since a replacement counts the nights under each name that the zone has had since then."""
    planner = Planner(renamed.site)
    year: Forecast = year_to_come(planner, renamed.true_utc)
    wear = account_for_wear(planner, journal_of(renamed), year, zones=["path"])
    ((lamps,), (relay,)) = wear.lamps, wear.relays
    assert (lamps.since, relay.since) == (date(2027, 6, 6), date(2027, 6, 1))
    assert lamps.lit_h == pytest.approx(renamed.lit_s("path", START + 9 * DAY) / 3600)
    assert relay.cycles == 6
    until = account_for_wear(planner, journal_of(renamed), year, zones=["path"], until=date(2027, 6, 4))
    ((lamps,), (relay,)) = until.lamps, until.relays
    lit_s = sum(renamed.lit_s(name, START + 6 * DAY, START + 8 * DAY) for name in NAMES)
    assert (lamps.since, lamps.lit_h) == (date(2027, 6, 3), pytest.approx(lit_s / 3600))
    assert (relay.since, relay.cycles) == (date(2027, 6, 1), 4)


def test_a_question_may_use_an_earlier_name(renamed):
    """Asked for by any name that it has had, a zone is accounted for under the one that it has now."""
    planner, source = Planner(renamed.site), journal_of(renamed)
    for name in ("front-path", "walk", "path"):
        query = HoursQuery(by=Each.MONTH, zones=(name,))
        report = report_hours(planner, source, query, now_utc=renamed.true_utc)
        assert [each.zone for each in report.totals] == ["path"]
        lit_s = sum(renamed.lit_s(each) for each in NAMES)
        assert report.total.lit_ms == round(lit_s * 1000)
        switchings = list(source.switchings(zone=name))
        assert {each.zone for each in switchings} == {"path"}
        assert len(switchings) == 20
        assert list(source.switchings(zone=name, newest_first=True, limit=7)) == switchings[:-8:-1]
    assert len(list(source.switchings())) == 40


def test_the_load_before_a_night_is_that_of_the_name_of_the_time(tmp_path):
    """Of the loads under all names the last before an instant counts, else the first after it."""
    reader = written_to(
        tmp_path,
        lit("front-path", reading(10), load_w=30.0),
        dark("front-path", reading(20)),
        lit("walk", reading(30), load_w=20.0),
        dark("walk", reading(40)),
    )
    source = RenamedJournal(reader, garden(1))
    first, second = (
        LoadAt(lit_at_utc=reading(10).utc, load_w=30.0),
        LoadAt(lit_at_utc=reading(30).utc, load_w=20.0),
    )
    for at_s, expected in ((5, first), (25, first), (35, second), (99, second)):
        assert source.loads_at(reading(at_s).utc) == {"walk": expected}


def test_zones_that_are_not_renamed_are_left_alone(tmp_path):
    """Without an earlier name every answer is the journal's own, record by record."""
    board = Board(tmp_path, garden(), START, tick_s=6 * 3600.0)
    board.run_until(START + 3 * DAY)
    board.close()
    source, reader = journal_of(board), board.reader
    whole = (START, board.true_utc)
    assert list(source.events_about(*whole)) == list(reader.events_about(*whole))
    assert list(source.runs()) == list(reader.runs())
    assert source.totals() == reader.totals()
    assert source.totals_since(START + DAY) == reader.totals_since(START + DAY)
    records: list[SiteRecord] = list(source.site_records())
    assert records == list(reader.site_records())
    assert records
    assert source.zones_began() == reader.zones_began() == {"front-path": START, "pond": START}
    assert (source.began_at(), source.last_sign()) == (reader.began_at(), reader.last_sign())


def test_fixtures_are_named_for_every_name_of_their_zone():
    """What version 0.1.0 recorded for a place is found under whatever name the zone had then."""
    lamps = [{**LAMP, "id": "edge"}, LAMP, {**LAMP, "id": "tree"}]
    assert FixtureIds.of(garden(1, lamps=lamps)).ids == {
        ("walk", 1): "edge",
        ("walk", 3): "tree",
        ("front-path", 1): "edge",
        ("front-path", 3): "tree",
    }
