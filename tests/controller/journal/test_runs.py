"""Runs and sums of the journal are those of a plain model, whatever the clock does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.journal.rows import TRUSTED
from controller.records.entries import (
    Switching,
)
from controller.records.reading import Reading
from tests.controller.journal_samples import (
    DUSK,
    dark,
    lit,
    model_runs,
    reading,
    written_journal,
    written_to,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ZONES = ("jetty", "steps", "path")


@st.composite
def nights_of_light(draw: st.DrawFn) -> list[Switching]:
    """Alternating switchings of some zones on one boot-time clock, the wall clock stepping at will."""
    boot_ms, boot, wall_ms = 0, 1, draw(st.integers(0, 10**12))
    lit_zones: set[str] = set()
    entries: list[Switching] = []
    for _ in range(draw(st.integers(0, 30))):
        passed_ms = draw(st.sampled_from([0, 1, 500, 60_000, 3_600_000, 86_400_000, 200_000_000]))
        boot_ms += passed_ms
        wall_ms += passed_ms + draw(
            st.sampled_from([0, 0, 0, 0, 3_600_000, -3_600_000, 15_552_000_000, -90_000_000])
        )
        if draw(st.integers(0, 9)) == 0:
            boot, boot_ms = boot + 1, 5000
        at = Reading(
            utc=EPOCH + timedelta(milliseconds=wall_ms),
            boot_s=boot_ms / 1000,
            boot_id=f"boot-{boot}",
            trusted=True,
            trust=TRUSTED,
        )
        zone = draw(st.sampled_from(ZONES))
        entries.append(
            (dark if zone in lit_zones else lit)(zone, at, load_w=draw(st.sampled_from([27.0, 30.5, None])))
        )
        lit_zones ^= {zone}
    return entries


def reaches_into(run, from_utc: datetime, to_utc: datetime) -> bool:
    """The same promise as JournalReader.runs, in the plainest way that there is."""
    return run.on_utc < to_utc and (run.off_utc is None or run.off_utc > from_utc or run.on_utc >= from_utc)


class TestRuns:
    @settings(max_examples=120, deadline=None)
    @given(entries=nights_of_light(), data=st.data())
    def test_runs_are_those_of_a_plain_model(self, entries, data):
        """Whatever the clock does, every interval gives exactly the runs that reach into it."""
        model = model_runs(entries)
        with written_journal(entries) as reader:
            found = list(reader.runs())
            assert sorted(found, key=str) == sorted(model, key=str)
            assert [run.on_utc for run in found] == [run.on_utc for run in model]
            instants = sorted({entry.at.utc for entry in entries} | {EPOCH})
            one, other = data.draw(st.sampled_from(instants)), data.draw(st.sampled_from(instants))
            shift = timedelta(milliseconds=data.draw(st.sampled_from([-1, 0, 1, 43_200_000])))
            from_utc, to_utc = min(one, other) + shift, max(one, other) + shift
            wanted = [run for run in model if reaches_into(run, from_utc, to_utc)]
            assert sorted(reader.runs(from_utc, to_utc), key=str) == sorted(wanted, key=str)

    @settings(max_examples=80, deadline=None)
    @given(entries=nights_of_light())
    def test_the_account_is_the_sum_of_the_runs(self, entries):
        """Seconds, starts and cycles of a life, by zone and load, are what the runs add up to."""
        with written_journal(entries) as reader:
            sums: dict[tuple[str, float | None], list[float]] = {}
            for run in model_runs(entries):
                part = sums.setdefault((run.zone, run.load_w), [0, 0, 0.0])
                part[0] += 1
                if run.lit_s is not None:
                    part[1] += 1
                    part[2] += run.lit_s
            found = {
                (zone.zone, part.load_w): [part.starts, part.cycles, pytest.approx(part.lit_s, abs=1e-6)]
                for zone in reader.totals()
                for part in zone.by_load
            }
            assert sums == found
            for zone in reader.totals():
                assert zone.starts == sum(part.starts for part in zone.by_load)

    def test_any_cut_of_an_interval_gives_each_run_once_or_on_both_sides(self, state):
        """The runs of two halves are those of the whole; only a run over the cut is in both."""
        entries = []
        for night in range(10):
            entries += [lit("jetty", reading(night * 86400)), dark("jetty", reading(night * 86400 + 7200))]
        reader = written_to(state, *entries)
        whole = list(reader.runs(DUSK, DUSK + timedelta(days=9)))
        for hours in range(0, 9 * 24, 5):
            cut = DUSK + timedelta(hours=hours, minutes=30)
            halves = [list(reader.runs(DUSK, cut)), list(reader.runs(cut, DUSK + timedelta(days=9)))]
            both = [run for run in halves[0] if run in halves[1]]
            assert sorted({*halves[0], *halves[1]}, key=str) == sorted(whole, key=str)
            assert all(run.on_utc < cut < run.off_utc for run in both)

    def test_a_run_of_weeks_is_found_from_within(self, state):
        """A zone that an override kept lit for three weeks is found by a night in the middle."""
        reader = written_to(
            state, lit("jetty", reading()), dark("jetty", reading(21 * 86400)), lit("path", reading(5))
        )
        night = DUSK + timedelta(days=10)
        assert [run.zone for run in reader.runs(night, night + timedelta(days=1))] == ["jetty", "path"]

    def test_hours_since_an_instant(self, state):
        """Of a run that the instant cuts, the later part counts; loads stay apart."""
        reader = written_to(
            state,
            lit("jetty", reading(0)),
            dark("jetty", reading(3600)),
            lit("jetty", reading(7200), load_w=40.0),
            dark("jetty", reading(9000)),
            lit("steps", reading(9100)),
        )
        (jetty,) = reader.totals_since(DUSK + timedelta(seconds=600))
        assert [(part.load_w, part.lit_s, part.starts, part.cycles) for part in jetty.by_load] == [
            (27.0, 3000.0, 0, 1),
            (40.0, 1800.0, 1, 1),
        ]
        assert [zone.lit_s for zone in reader.totals_since(DUSK - timedelta(days=1))] == [5400.0]
        assert reader.totals_since(DUSK + timedelta(days=1)) == []

    def test_a_load_that_changes_does_not_rewrite_the_past(self, state):
        """Each run keeps the load that its zone had when it was lit."""
        reader = written_to(
            state,
            lit("jetty", reading(), load_w=27.0),
            dark("jetty", reading(60), load_w=40.0),
            lit("jetty", reading(120), load_w=40.0),
            dark("jetty", reading(180), load_w=40.0),
        )
        assert [run.load_w for run in reader.runs()] == [27.0, 40.0]
