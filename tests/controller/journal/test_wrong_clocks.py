"""Runs that a wrong clock recorded belong to the instants at which the lamps really burned."""

from __future__ import annotations

import itertools
from collections import defaultdict
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Entry, EventKind
from controller.records.reading import Reading
from tests.controller.board import Board
from tests.controller.journal_samples import (
    DUSK,
    dark,
    event,
    heartbeat,
    lit,
    reading,
    written_journal,
    written_to,
)
from tests.sites import site, zone

HOUR_S = 3600.0
DAY = timedelta(days=1)


def wrong(after_s: float, off_by_s: float) -> Reading:
    """Look at a clock that nobody trusts, ``after_s`` after dusk, when it is off by so much."""
    return reading(after_s + off_by_s, boot_s=1000 + after_s, trusted=False)


def right(after_s: float) -> Reading:
    return reading(after_s)


def spans(reader: JournalReader) -> list[tuple[float, float, bool]]:
    """Give each run's beginning and end in seconds after dusk, and whether a trusted clock says so."""
    return [
        ((run.on_utc - DUSK).total_seconds(), (run.off_utc - DUSK).total_seconds(), run.trusted)
        for run in reader.runs()
    ]


STEPS = (-HOUR_S, HOUR_S, -40 * 86_400.0, 3 * 365 * 86_400.0, -DUSK.timestamp())


@pytest.mark.parametrize("off_by_s", STEPS)
def test_a_run_begun_under_a_trusted_clock_counts_from_its_beginning(state, off_by_s):
    """Lit at dusk, put out three hours later by a clock that fell back or ran ahead: those hours."""
    reader = written_to(state, lit("jetty", right(0)), dark("jetty", wrong(3 * HOUR_S, off_by_s)))
    assert spans(reader) == [(0.0, 3 * HOUR_S, True)]
    night = list(reader.runs(DUSK - timedelta(hours=9), DUSK + timedelta(hours=15)))
    assert [run.lit_s for run in night] == [3 * HOUR_S]
    said = DUSK + timedelta(seconds=3 * HOUR_S + off_by_s)
    if abs(off_by_s) > 86_400:
        assert list(reader.runs(said - DAY, said + DAY)) == []


@pytest.mark.parametrize("off_by_s", STEPS)
def test_a_run_begun_under_a_wrong_clock_counts_back_from_a_trusted_end(state, off_by_s):
    """Lit by a wrong clock, put out by a trusted one: the end, and back by the time that really passed."""
    reader = written_to(state, lit("jetty", wrong(0, off_by_s)), dark("jetty", right(3 * HOUR_S)))
    assert spans(reader) == [(0.0, 3 * HOUR_S, True)]


@pytest.mark.parametrize("step_s", [-HOUR_S, HOUR_S, 120 * 86_400.0])
def test_of_two_trusted_clocks_the_later_is_right(state, step_s):
    """The network set the clock while a zone was lit: the run ends where the corrected clock says."""
    end = reading(3 * HOUR_S + step_s, boot_s=1000 + 3 * HOUR_S)
    reader = written_to(state, lit("jetty", right(0)), dark("jetty", end))
    assert spans(reader) == [(step_s, 3 * HOUR_S + step_s, True)]


@pytest.mark.parametrize("off_by_s", STEPS)
@pytest.mark.parametrize("found", ["before", "after"])
def test_a_run_by_wrong_clocks_is_placed_by_a_trusted_one_of_its_boot(state, off_by_s, found):
    """Lit and put out by a wrong clock, which was right before or is later: the true instants."""
    known = event(right(-600.0 if found == "before" else 5 * HOUR_S), kind=EventKind.CLOCK_TRUSTED)
    run = [lit("jetty", wrong(0, off_by_s)), dark("jetty", wrong(3 * HOUR_S, off_by_s))]
    reader = written_to(state, *([known, *run] if found == "before" else [*run, known]))
    assert spans(reader) == [(0.0, 3 * HOUR_S, True)]


def test_where_no_clock_of_the_boot_was_ever_trusted_a_run_stays_as_recorded(state):
    """Nobody can say more, and the run says that no trusted clock stands behind it."""
    entries = [lit("jetty", wrong(0, -HOUR_S)), dark("jetty", wrong(3 * HOUR_S, -HOUR_S))]
    reader = written_to(state, *entries, event(reading(9e4, boot="boot-2", boot_s=40.0)))
    assert spans(reader) == [(-HOUR_S, 2 * HOUR_S, False)]


def test_a_light_that_still_burns_began_when_the_corrected_clock_says(state):
    """Lit in 1970, the time found an hour later: it has burned for an hour, not for 57 years."""
    reader = written_to(
        state,
        lit("jetty", wrong(0, -DUSK.timestamp())),
        event(right(HOUR_S), kind=EventKind.CLOCK_TRUSTED),
    )
    (run,) = reader.runs()
    assert (run.on_utc, run.off_utc, run.trusted) == (DUSK, None, True)


def test_a_power_cut_after_the_clock_fell_back_ends_the_run_on_its_night(state):
    """The last sign of life is of 1970; the run that it ends is of the night in which it began."""
    journal = Journal(state)
    for entry in (lit("jetty", right(0)), heartbeat(wrong(HOUR_S, -DUSK.timestamp()))):
        journal.append(entry)
    journal.close_open_runs(reading(2e4, boot="boot-2", boot_s=30.0))
    journal.flush()
    journal.close()
    assert spans(JournalReader(state)) == [(0.0, HOUR_S, True)]


def test_hours_since_a_date_count_what_a_wrong_clock_recorded(state):
    """A lamp fitted before that night has burned those hours, and one fitted after it has not."""
    reader = written_to(
        state, lit("jetty", right(0)), dark("jetty", wrong(3 * HOUR_S, -DUSK.timestamp() - 5.0))
    )
    for since, lit_s in ((DUSK - DAY, 3 * HOUR_S), (DUSK + timedelta(hours=1), 2 * HOUR_S)):
        (jetty,) = reader.totals_since(since)
        assert (jetty.lit_s, jetty.cycles, jetty.starts) == (lit_s, 1, int(since < DUSK))
    assert reader.totals_since(DUSK + timedelta(hours=3, seconds=1)) == []


def test_the_last_sign_of_life_is_corrected_as_runs_are(state):
    """A board that fell back to 1970 was alive when its boot-time clock says."""
    reader = written_to(state, event(right(0)), heartbeat(wrong(HOUR_S, -DUSK.timestamp())))
    last = reader.last_sign()
    assert (last.utc, last.trusted) == (DUSK + timedelta(hours=1), True)


@st.composite
def lives(draw: st.DrawFn) -> tuple[list[Entry], list[tuple[str, float, float]]]:
    """Zones that go on and off while the clock is put wrong and right at will, and what was really lit.

    A clock that is trusted is right; one that is not may say anything. Each boot has a right one at its end.
    """
    now_s, boot_began_s, boot, off_by_s = 0.0, -1000.0, 1, 0.0
    begun: dict[str, float] = {}
    entries: list[Entry] = []
    truth: list[tuple[str, float, float]] = []

    def look(*, off_by_s: float = 0.0) -> Reading:
        boot_s = now_s - boot_began_s
        return reading(now_s + off_by_s, boot=f"boot-{boot}", boot_s=boot_s, trusted=off_by_s == 0)

    for _ in range(draw(st.integers(1, 25))):
        now_s += draw(st.sampled_from([1.0, 60.0, 3600.0, 20_000.0, 90_000.0]))
        off_by_s = draw(st.sampled_from([off_by_s, off_by_s, 0.0, *STEPS, 0.25]))
        name = draw(st.sampled_from(["jetty", "path"]))
        if name in begun:
            entries.append(dark(name, look(off_by_s=off_by_s)))
            truth.append((name, begun.pop(name), now_s))
        else:
            entries.append(lit(name, look(off_by_s=off_by_s)))
            begun[name] = now_s
        if not begun and draw(st.integers(0, 4)) == 0:
            entries.append(event(look()))
            now_s += 500.0
            boot, boot_began_s = boot + 1, now_s
    return [*entries, event(look())], sorted(truth)


@settings(max_examples=150, deadline=None)
@given(life=lives(), data=st.data())
def test_whatever_the_clock_said_every_run_is_where_and_as_long_as_it_was(life, data):
    """However the clock is put wrong and right, each run and any cut of the runs are those of true time."""
    entries, truth = life
    with written_journal(entries) as reader:
        ended = [run for run in reader.runs() if run.off_utc is not None]
        found = sorted(
            (run.zone, (run.on_utc - DUSK).total_seconds(), (run.off_utc - DUSK).total_seconds())
            for run in ended
        )
        assert found == truth
        edges = sorted({0.0, *(edge for _, *edges in truth for edge in edges)})
        cuts = sorted(data.draw(st.lists(st.sampled_from(edges), min_size=2, max_size=6)))
        for from_s, to_s in itertools.pairwise(cuts):
            from_utc, to_utc = (DUSK + timedelta(seconds=each) for each in (from_s, to_s))
            inside = [run for run in reader.runs(from_utc, to_utc) if run.off_utc is not None]
            assert sorted(inside, key=str) == sorted(
                (r for r in ended if r.on_utc < to_utc and (r.off_utc > from_utc or r.on_utc >= from_utc)),
                key=str,
            )
        since = data.draw(st.sampled_from(edges))
        sums: dict[str, float] = defaultdict(float)
        for name, on_s, off_s in truth:
            if off_s >= since:
                sums[name] += off_s - max(on_s, since)
        told = {each.zone: each.lit_s for each in reader.totals_since(DUSK + timedelta(seconds=since))}
        assert told == pytest.approx(dict(sums), abs=1e-6)


@pytest.mark.parametrize("off_by_s", [-DUSK.timestamp(), -HOUR_S, 400 * 86_400.0])
def test_a_keeper_whose_clock_falls_back_while_lit_keeps_the_night(tmp_path, off_by_s):
    """A real keeper, lit, its clock put wrong and an hour later set right: the relay's own times."""
    began = datetime(2027, 5, 28, 12, tzinfo=UTC)
    board = Board(tmp_path, site(zone("jetty", "21:00 to midnight", pin=17)), began)
    board.run_until(datetime(2027, 5, 28, 21, tzinfo=UTC))
    board.clock.step(off_by_s)
    board.clock.trusted = False
    board.due_in_s = board.keeper.reconcile()
    board.run_until(datetime(2027, 5, 28, 22, tzinfo=UTC))
    board.learn_time()
    board.run_until(datetime(2027, 5, 29, 12, tzinfo=UTC))
    board.close()
    runs = list(board.reader.runs(began, began + DAY))
    lit_s = sum((run.off_utc - run.on_utc).total_seconds() for run in runs)
    assert len(runs) == 2
    assert lit_s == pytest.approx(board.lit_s("jetty"), abs=1.0)
    assert runs[0].on_utc == board.lit["jetty"][0][0]
    assert list(board.reader.runs()) == runs
