"""The account after 30 years with eight zones: a season, a winter's report, the whole life, the year ahead.

The reference for a season is the plain way: the same switchings in one table; hours, energy and a flat price
added up by pandas, with no plan, no sun, no losses and no bands. Its import is not counted.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from api.render.hours_csv import write_csv
from api.render.hours_json import write_hours_json
from api.render.season_report import write_report
from api.render.year.as_json import year_response
from config.file.loader import example_path, load_site
from config.models.site import Site
from controller.calendar.periods import Each
from controller.forecast.year import YearQuery, forecast_year
from controller.history.query import HoursQuery
from controller.history.report import stream_hours, year_to_come
from controller.history.season import report_season
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from controller.records.entries import Switching
from tests.bench.benchmark import Benchmark, Measurement, best_ms
from tests.years import entries, write_years

FIRST = date(2027, 1, 1)
LAST = date(2056, 12, 31)
NOW = datetime(2057, 1, 1, 12, tzinfo=UTC)
SEASON = "2046-winter"
WINTER = (date(2046, 12, 1), date(2047, 2, 28))
RUNS = 5
BENCHMARKS = (
    Benchmark(
        what="a season's account, of 30 years × 8 zones: plan, sun, losses, bands, money",
        unit="ms",
        reference="pandas, sums only",
        max_value=50,
    ),
    Benchmark(
        what="all 30 years × 8 zones in one sum: the same, read from the first switching on",
        unit="ms",
        max_value=15_000,
    ),
    Benchmark(what="a year night by night as CSV, 2920 rows", unit="ms", max_value=1000),
    Benchmark(what="the printable report of a season", unit="ms", max_value=1000),
    Benchmark(what="leerie year, 8 zones, as JSON", unit="ms", max_value=400),
)


def build(folder: Path, site: Site) -> pd.DataFrame:
    """Write 30 years into a journal, and give the same as a table."""
    write_years(folder, site, FIRST, LAST)
    table = [
        (entry.at.utc, entry.zone, entry.on, entry.load_w)
        for entry in entries(site, FIRST, LAST)
        if isinstance(entry, Switching)
    ]
    return pd.DataFrame(table, columns=["at", "zone", "on", "load_w"])


def by_pandas(table: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    """Add up hours, energy and a flat price of a season the plain way."""
    begins, ends = (pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=17) for day in (first, last))
    season = table[(table["at"] >= begins) & (table["at"] < ends + pd.Timedelta(days=1))].copy()
    season["lit_h"] = season.groupby("zone")["at"].diff().dt.total_seconds() / 3600
    lit = season[~season["on"]]
    sums = lit.assign(kwh=lit["lit_h"] * lit["load_w"] / 1000).groupby("zone")[["lit_h", "kwh"]].sum()
    return sums.assign(cost=sums["kwh"] * 0.29)


def measure() -> list[Measurement]:
    """Build 30 years, and ask what an installer asks; everything from nothing, the sun and the plans too."""
    site = load_site(example_path("full-property")).site
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "state"
        table = build(folder, site)
        reader = JournalReader(folder)

        def document(planner: Planner, query: HoursQuery) -> dict[str, Any]:
            stream = stream_hours(planner, reader, query, now_utc=NOW)
            told: dict[str, Any] = json.loads("".join(write_hours_json(stream)))
            return told

        def season() -> dict[str, Any]:
            query = HoursQuery(by=Each.SEASON, period=SEASON)
            return document(Planner(site), query)

        _compare(season(), by_pandas(table, *WINTER))
        planner = Planner(site)
        year = year_to_come(planner, NOW)

        def life() -> dict[str, Any]:
            return document(Planner(site), HoursQuery(by=Each.WHOLE))

        def csv() -> int:
            ask = HoursQuery(by=Each.NIGHT, first=date(2047, 1, 1), last=date(2047, 12, 31))
            stream = stream_hours(planner, reader, ask, now_utc=NOW)
            return sum(len(line) for line in write_csv(stream))

        def paper() -> str:
            return write_report(report_season(Planner(site), reader, SEASON, now_utc=NOW, year=year))

        def year_json() -> object:
            return year_response(forecast_year(Planner(site), YearQuery(first=FIRST)))

        account, totals, by_night, report, ahead = BENCHMARKS
        return [
            account.measured(best_ms(season, RUNS), best_ms(lambda: by_pandas(table, *WINTER), RUNS)),
            totals.measured(best_ms(life, 1)),
            by_night.measured(best_ms(csv, 2)),
            report.measured(best_ms(paper, 2)),
            ahead.measured(best_ms(year_json, RUNS)),
        ]


def _compare(ours: dict[str, Any], theirs: pd.DataFrame) -> None:
    """See that both answer the same question."""
    for row in ours["totals"]:
        expected_h = theirs["lit_h"].get(row["zone"], 0.0)
        if abs(row["lit_h"] - expected_h) > 1e-3:
            raise ValueError(f"{row['zone']} was lit for {expected_h} h by pandas, {row['lit_h']} h by us")
        if row["missed_h"] or not ours["total"]["cost"]:
            raise ValueError("the winter of the bench misses nothing and costs something")
