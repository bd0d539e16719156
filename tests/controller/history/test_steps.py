"""Long questions take no more memory than short ones."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from controller.calendar.periods import Each
from controller.history.query import Beside, HoursQuery
from controller.history.report import report_hours, stream_hours
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from tests.sites import site, zone
from tests.years import write_years

FIRST, LAST = date(2027, 1, 1), date(2028, 12, 31)
# From here on a year, with one before it, and a quarter.
LONG, SHORT = date(2028, 1, 1), date(2028, 10, 1)
NOW = datetime(2029, 1, 1, 12, tzinfo=UTC)
GARDEN = site(zone("jetty"), zone("path", "22:00 to 01:00", pin=18, rated_watts=20))
KB = 1024


@pytest.fixture(scope="module")
def years(tmp_path_factory) -> Path:
    """Two years of two zones."""
    folder = tmp_path_factory.mktemp("years")
    write_years(folder, GARDEN, FIRST, LAST)
    return folder


@pytest.fixture
def peak_bytes(years, monkeypatch) -> Callable[..., int]:
    """Say how much memory was in use at most while some nights were accounted for."""
    # What the sun remembers is bounded, but would blur what is measured here.
    monkeypatch.setattr("controller.sun.sun._ANSWERS_KEPT", 1)
    monkeypatch.setattr("controller.history.steps.NIGHTS_AT_ONCE", 40)
    planner, journal = Planner(GARDEN), JournalReader(years)

    def measure(work: Callable[..., object], **more: Any) -> int:
        query = HoursQuery(last=LAST, **more)
        tracemalloc.start()
        try:
            work(planner, journal, query, now_utc=NOW)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    return measure


def use_up(*args: Any, **more: Any) -> None:
    """Let all rows of an account pass."""
    for _ in stream_hours(*args, **more).batches():
        pass


@pytest.mark.parametrize("by", [Each.NIGHT, Each.WHOLE])
@pytest.mark.parametrize("beside", [frozenset(), frozenset(Beside)], ids=["alone", "beside"])
def test_memory_does_not_grow_with_the_years(peak_bytes, by, beside):
    """A year takes the memory of a quarter, whether it is hundreds of rows or one."""
    short, long = (peak_bytes(use_up, by=by, first=first, beside=beside) for first in (SHORT, LONG))
    assert long < short + 250 * KB


def test_an_account_that_is_held_does_grow(peak_bytes):
    """The measurement would see rows that are held: those of a year take half a megabyte more."""
    short, long = (peak_bytes(report_hours, by=Each.NIGHT, first=first) for first in (SHORT, LONG))
    assert long > short + 500 * KB


def test_a_step_is_no_longer_for_a_longer_period(years):
    """Of two years at once every step is of 46 nights, so that others may have their turn."""
    stream = stream_hours(Planner(GARDEN), JournalReader(years), HoursQuery(by=Each.WHOLE), now_utc=NOW)
    steps = list(stream.batches())
    assert [len(rows) for rows in steps] == [0] * 15 + [2]
    assert stream.total.starts == sum(row.starts for row in steps[-1]) == 2 * 731
