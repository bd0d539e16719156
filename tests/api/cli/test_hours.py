"""``leerie hours``: tables, JSON and CSV of a journal that a real keeper wrote, and what it refuses."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pandas as pd
import pytest

from config.file.loader import load_site
from controller.journal.backup import copy_to
from controller.journal.database import journal_path
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading
from tests.api.command import call, call_json, write_site, zone_table
from tests.api.gardens_past import GardenPast
from tests.controller.board import Board

TOP = """\
[tariff]
currency = "GBP"
per_kwh = 0.31

  [[tariff.bands]]
  name = "night"
  from = "23:00"
  to = "07:00"
  per_kwh = 0.12

[[transformers]]
id = "shed"
rated_va = 150
no_load_w = 6
copper_w = 9

"""
FIXTURES = """
  [[zones.fixtures]]
  kind = "path"
  name = "Hats"
  count = 6
  watts = {watts}
  rated_life_h = 900
  fitted = 2026-05-01
"""
KEYS = [
    "site",
    "time_zone",
    "currency",
    "by",
    "from",
    "to",
    "journal_since",
    "as_of",
    "record_ended",
    "attention",
    "hours",
]
START = datetime(2027, 5, 20, 11, tzinfo=UTC)
HOUR = timedelta(hours=1)


def zones(watts: float = 5) -> str:
    """Two zones on one transformer."""
    return (
        TOP
        + zone_table("jetty", "dusk to midnight", more=FIXTURES.format(watts=watts))
        + zone_table("path", "22:30 to 02:00", pin=18, more="rated_watts = 24\n")
    )


@pytest.fixture(scope="module")
def spring(tmp_path_factory):
    """Six weeks with a power cut, a stop and an override; on 5 June the jetty got lamps of half the watts."""
    folder = tmp_path_factory.mktemp("spring")
    site_path = write_site(folder, zones())
    board = Board(folder / "state", load_site(site_path).site, START)
    board.run_until(START + timedelta(days=3, hours=12))
    board.cut_power(3600)
    board.run_until(START + timedelta(days=9, hours=11))
    board.stop(1800)
    board.run_until(START + timedelta(days=12, hours=3))
    board.override("path", on=True, lasts_s=5400)
    board.run_until(datetime(2027, 6, 5, 11, tzinfo=UTC))
    site_path.write_text(site_path.read_text().replace("watts = 5\n", "watts = 2.5\n"))
    board.change(load_site(site_path).site)
    board.run_until(START + timedelta(days=42))
    board.close()
    return GardenPast(site_path=site_path, board=board)


def frame(text: str) -> pd.DataFrame:
    """Read CSV as pandas does."""
    return pd.read_csv(io.StringIO(text))


# -- JSON ----------------------------------------------------------------------------------------------------


def test_the_answer_has_the_described_shape(spring, monkeypatch):
    """The keys and their order stay, also where only the totals of a whole life are known."""
    told = spring.hours(monkeypatch, "--by", "month")
    assert list(told)[: len(KEYS)] == KEYS
    assert list(told["hours"][0])[:7] == ["period", "from", "to", "is_over", "recorded", "zone", "lit_h"]
    assert (told["site"], told["currency"], told["by"]) == ("Tern Cottage", "GBP", "month")
    assert [(row["period"], row["zone"]) for row in told["hours"]] == [
        ("2027-05", "jetty"),
        ("2027-05", "path"),
        ("2027-06", "jetty"),
        ("2027-06", "path"),
        ("2027-07", "jetty"),
        ("2027-07", "path"),
    ]
    assert list(spring.hours(monkeypatch, "--by", "whole")) == list(told)


def test_lit_hours_are_the_sum_of_their_causes(spring, monkeypatch):
    """Program, override and other add up to what was lit, and the override is the hour and a half it was."""
    told = spring.hours(monkeypatch, "--by", "whole", "--from", "2027-05-20")
    for row in told["totals"]:
        parts = row["by_program_h"] + row["by_override_h"] + row["unknown_h"]
        assert row["lit_h"] == pytest.approx(parts, abs=2e-6)
    assert told["totals"][1]["by_override_h"] == 1.5
    # An override at two in the afternoon is lit by day; so is nothing else from dusk on.
    assert told["totals"][1]["daylight_h"] == 1.5


def test_what_was_missed_is_told_with_its_reasons(spring, monkeypatch):
    """The power cut and the stop are named, with a night each; the longest dark gap is the power cut's."""
    told = spring.hours(monkeypatch, "--by", "whole", "--from", "2027-05-20")
    missed = {part["why"]: part["hours"] for part in told["totals"][1]["missed"]}
    assert missed.keys() == {"power lost", "stopped"}
    assert missed["stopped"] == pytest.approx(0.5, abs=0.01)
    assert 1.0 <= missed["power lost"] <= 1 + 270 / 3600 + 0.01
    assert [part["nights"] for total in told["totals"] for part in total["missed"]] == [1] * 3
    # Over several zones some nights are the same.
    assert [part["nights"] for part in told["total"]["missed"]] == [None, None]
    assert "power lost 1.00 (1 night), stopped 0.50 (1 night)" in spring.words(
        monkeypatch, "--period", "2027-05"
    )
    gap = told["total"]["longest_dark_gap"]
    assert gap["why"] == "power lost"
    assert gap["hours"] == missed["power lost"]


def test_energy_is_that_of_an_exact_sum(spring, monkeypatch):
    """Each zone's watts times its hours, and the transformer's two losses on top, worked out here by hand."""
    told = spring.hours(monkeypatch, "--by", "whole", "--period", "2027-06-10")
    jetty, path = told["totals"]
    assert jetty["lamps_kwh"] == pytest.approx(jetty["lit_h"] * 15 / 1000, abs=1e-6)
    assert path["lamps_kwh"] == pytest.approx(path["lit_h"] * 24 / 1000, abs=1e-6)
    # The path is lit from 22:30 to 02:00; the jetty from some time before to midnight.
    both_h, alone_h, path_h = 1.5, jetty["lit_h"] - 1.5, 2.0
    copper = sum(
        hours * 9 * (watts / 150) ** 2 for hours, watts in ((both_h, 39), (alone_h, 15), (path_h, 24))
    )
    lit_h = both_h + alone_h + path_h
    total = told["total"]
    assert total["transformer_lit_kwh"] == pytest.approx((copper + 6 * lit_h) / 1000, abs=3e-6)
    assert total["transformer_dark_kwh"] == pytest.approx(6 * (24 - lit_h) / 1000, abs=3e-6)
    meter = sum(total[name] for name in ("lamps_kwh", "transformer_lit_kwh", "transformer_dark_kwh"))
    assert total["meter_kwh"] == pytest.approx(meter, abs=3e-6)
    by_price = {each["name"]: each for each in total["prices"]}
    assert total["cost_unrounded"] == pytest.approx(
        by_price[""]["meter_kwh"] * 0.31 + by_price["night"]["meter_kwh"] * 0.12, abs=1e-6
    )
    assert Decimal(str(total["cost"])) == round(Decimal(str(total["cost_unrounded"])), 2)


def test_half_the_watts_from_june_on_leave_may_alone(tmp_path, monkeypatch):
    """May's rows are the same, byte by byte, before and after the load was changed in June."""
    site_path = write_site(tmp_path, zones())
    board = Board(tmp_path / "state", load_site(site_path).site, START)
    board.run_until(datetime(2027, 6, 5, 11, tzinfo=UTC))
    garden = GardenPast(site_path=site_path, board=board)
    may = garden.csv(monkeypatch, "--by", "night", "--from", "2027-05-20", "--to", "2027-05-31")
    site_path.write_text(site_path.read_text().replace("watts = 5\n", "watts = 2.5\n"))
    board.change(load_site(site_path).site)
    board.run_until(datetime(2027, 6, 20, 11, tzinfo=UTC))
    board.close()
    again = garden.csv(monkeypatch, "--by", "night", "--from", "2027-05-20", "--to", "2027-05-31")
    assert again == may
    june = frame(garden.csv(monkeypatch, "--by", "night", "--from", "2027-06-01", "--zone", "jetty"))
    assert list(june["load (W)"].astype(str))[3:6] == ["30.0", "15.0", "15.0"]


def test_the_whole_life_has_energy_and_cost(spring, monkeypatch):
    """Without dates all nights since the journal began are added up, the same as where they are named."""
    life = spring.hours(monkeypatch, "--by", "whole")
    assert life == spring.hours(monkeypatch, "--by", "whole", "--from", "2027-05-20")
    assert life == spring.hours(monkeypatch, "--by", "whole", "--all")
    months = spring.hours(monkeypatch, "--by", "month")["totals"]
    for total, by_month in zip(life["totals"], months, strict=True):
        assert total["cost"] > 0
        for name in ("lit_h", "starts", "missed_h", "lamps_kwh", "meter_kwh", "cost_unrounded"):
            assert total[name] == pytest.approx(by_month[name], abs=1e-6)


def test_lamps_and_relays_are_told(spring, monkeypatch):
    """Each fixture with its hours, estimated ones apart, and each relay with its cycles."""
    told = spring.hours(monkeypatch, "--by", "month")
    (lamps,) = told["lamps"]
    assert (lamps["zone"], lamps["fixture"], lamps["name"]) == ("jetty", 1, "Hats")
    assert lamps["since"] == "2026-05-01"
    (life,) = [row for row in spring.hours(monkeypatch, "--by", "whole")["totals"] if row["zone"] == "jetty"]
    assert lamps["lit_h"] - lamps["estimated_h"] == pytest.approx(life["lit_h"], abs=0.01)
    # 384 nights lie between the fitting and the journal.
    assert 384 * 2 < lamps["estimated_h"] < 384 * 9
    assert lamps["words"] == "past the rated life: replace"
    relays = {relay["zone"]: relay["cycles"] for relay in told["relays"]}
    starts = {row["zone"]: row["starts"] for row in told["totals"]}
    assert relays == starts
    only = spring.hours(monkeypatch, "--by", "month", "--zone", "path")
    assert only["lamps"] == []
    assert [relay["zone"] for relay in only["relays"]] == ["path"]


# -- CSV -----------------------------------------------------------------------------------------------------


def test_csv_is_what_the_rfc_says(spring, monkeypatch):
    """CRLF ends every line, a heading with a comma is quoted, and all rows are as wide as the header."""
    text = spring.csv(monkeypatch, "--by", "night")
    lines = text.split("\r\n")
    assert lines[-1] == ""
    assert "\n" not in text.replace("\r\n", "")
    header, *rows = list(csv.reader(io.StringIO(text, newline="")))
    assert {len(row) for row in rows} == {len(header)}
    assert len(set(header)) == len(header)
    assert '"missed, power lost (h)"' in lines[0]
    assert len(rows) == 14 * 2


@pytest.mark.parametrize("by", ["night", "month", "season", "whole"])
def test_pandas_adds_the_rows_up_to_the_total(spring, monkeypatch, by):
    """However the nights are cut, pandas' sums over the rows are the totals of the JSON, zone by zone."""
    dates = ("--from", "2027-05-20", "--to", "2027-06-30")
    table = frame(spring.csv(monkeypatch, "--by", by, *dates))
    totals = spring.hours(monkeypatch, "--by", "whole", *dates)["totals"]
    sums = table.groupby("zone").sum(numeric_only=True)
    columns = {
        "lit (h)": "lit_h",
        "by program (h)": "by_program_h",
        "by override (h)": "by_override_h",
        "before dusk or after dawn (h)": "daylight_h",
        "starts": "starts",
        "planned (h)": "planned_h",
        "missed (h)": "missed_h",
        "at the lamps (kWh)": "lamps_kwh",
        "in the transformer, lit (kWh)": "transformer_lit_kwh",
        "in the transformer, dark (kWh)": "transformer_dark_kwh",
        "at the meter (kWh)": "meter_kwh",
        "cost, not rounded (GBP)": "cost_unrounded",
    }
    assert len(totals) == 2
    for total in totals:
        for heading, name in columns.items():
            # Each of at most 42 rows is rounded to the millionth.
            assert sums.loc[total["zone"], heading] == pytest.approx(total[name], abs=42 * 6e-7), heading
    reasons = [heading for heading in table.columns if heading.startswith("missed, ")]
    assert table[reasons].sum(axis=1).to_numpy() == pytest.approx(table["missed (h)"].to_numpy(), abs=5e-6)


def test_csv_comes_line_by_line(spring, monkeypatch):
    """A long table is worked out and written piece by piece, the journal read anew for each."""
    asked = []
    read = JournalReader.runs

    def runs(self, from_utc=None, to_utc=None, **more):
        asked.append(from_utc)
        return read(self, from_utc, to_utc, **more)

    monkeypatch.setattr(JournalReader, "runs", runs)
    monkeypatch.setattr("controller.history.steps.NIGHTS_AT_ONCE", 10)
    table = frame(spring.csv(monkeypatch, "--by", "night", "--from", "2027-05-20", "--to", "2027-06-30"))
    assert len(table) == 42 * 2
    # Besides the five pieces, once for each night since the last sign of life: see ``bounds_of``.
    assert len(asked) == 5 + 2


# -- words ---------------------------------------------------------------------------------------------------


def test_the_table_tells_it_all(spring, monkeypatch):
    """A person reads hours, reasons, kWh, cost, lamps, relays and the longest gap."""
    words = spring.words(monkeypatch, "--by", "month")
    told = spring.hours(monkeypatch, "--by", "month")
    assert "Cost GBP" in words
    assert f"{told['total']['cost']:.2f}" in words
    assert "power lost 1.0" in words
    assert "stopped 0.50" in words
    assert "jetty 1: " in words
    assert "6 × Hats" in words
    assert "past the rated life:" in words
    assert "Longest dark gap: 1.0" in words
    assert "The journal begins on Thu 20 May 2027 at 12:00." in words


@pytest.mark.parametrize("by", ["night", "month", "season", "whole"])
def test_the_tables_fit_a_hundred_columns(spring, monkeypatch, by):
    """No line is longer, also where an override and light before dusk have columns of their own."""
    assert max(len(line) for line in spring.words(monkeypatch, "--by", by).splitlines()) <= 100


def test_a_lower_bound_is_shown_as_one(tmp_path, monkeypatch):
    """Where no transformer is known, energy and cost are marked, and a note says why."""
    site_path = write_site(tmp_path, zone_table("jetty", "20:00 to 22:00", more="rated_watts = 10\n"))
    board = Board(tmp_path / "state", load_site(site_path).site, START)
    board.run_until(START + timedelta(days=2))
    board.close()
    words = GardenPast(site_path=site_path, board=board).words(monkeypatch, "--by", "night")
    assert "≥ 0.04" in words
    assert "Cost" not in words
    assert "At least: the site has no transformer; add [[transformers]] with efficiency, or" in words


# -- what it refuses -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["--period", "2027-mid"], "“2027-mid” is not a period"),
        (["--period", "2027-06", "--from", "2027-06-01"], "a period has its own dates"),
        (["--from", "2027-06-02", "--to", "2027-06-01"], "to = 2027-06-01 lies before from = 2027-06-02"),
        (["--by", "whole", "--to", "2020-06-01"], "lies before 2027-05-20, where the journal begins"),
        (["--by", "night", "--from", "1970-01-01", "--to", "2190-06-01"], "ask for fewer at once"),
        (["--zone", "pier"], "no zone is called “pier”"),
        (["--json", "--csv"], "exclude each other"),
        (["--by", "week"], "'week' is not one of"),
    ],
)
def test_a_wrong_request_is_one_line(spring, monkeypatch, args, told):
    """What cannot be told is refused in one line that says what would do."""
    spring.be(monkeypatch)
    result = call("hours", spring.site_path, "--state", spring.board.folder, *args)
    assert result.exit_code == 2
    assert not result.stdout
    (line,) = result.stderr.splitlines()
    assert told in line


def test_no_journal_is_told(spring, tmp_path):
    """Where nothing ever ran there is no account, and the remedy is to run."""
    for args in ([], ["--csv"]):
        result = call("hours", spring.site_path, "--state", tmp_path / "none", *args)
        assert result.exit_code == 2
        assert "it begins with the first `leerie run`" in result.stderr
    assert not (tmp_path / "none").exists()


def test_an_empty_journal_is_told(tmp_path, monkeypatch):
    """A journal in which nothing ever happened has an account of nothing, in every form."""
    site_path = write_site(tmp_path, zones())
    monkeypatch.setattr("api.cli.hours.now_utc", lambda: START)
    journal = Journal(tmp_path / "state")
    journal.open()
    journal.close()
    for args in ((), ("--by", "night"), ("--by", "whole"), ("--by", "season", "--csv")):
        result = call("hours", site_path, "--state", tmp_path / "state", *args)
        assert result.exit_code == 0, result.output
        if "--csv" not in args:
            assert "The journal holds no time yet that can be trusted" in result.stdout


def test_a_board_that_never_knew_the_time_is_not_told_that_all_was_well(tmp_path, monkeypatch):
    """Runs by a clock that nobody vouched for are no account: the words say so, in one row and no more."""
    site_path = write_site(tmp_path, zones())
    monkeypatch.setattr("api.cli.hours.now_utc", lambda: START)
    journal = Journal(tmp_path / "state")
    journal.open()
    at = Reading(utc=START, boot_s=5.0, boot_id="boot-1", trusted=False, trust="the clock is not set")
    journal.append(Event(kind=EventKind.STARTED, at=at, words="site"))
    journal.flush()
    journal.close()
    answer = call_json("hours", site_path, "--state", tmp_path / "state", "--by", "month")
    assert answer["journal_since"] is None
    assert len({row["period"] for row in answer["hours"]}) == 1
    told = call("hours", site_path, "--state", tmp_path / "state").stdout
    assert "The journal holds no time yet that can be trusted, so nothing can be counted" in told


def test_a_copy_is_read_like_a_journal(spring, tmp_path, monkeypatch):
    """The state may be the file of a copy."""
    copy = tmp_path / "copy.sqlite"
    copy_to(journal_path(spring.board.folder), copy)
    spring.be(monkeypatch)
    result = call("hours", spring.site_path, "--state", copy, "--by", "month")
    assert result.stdout == spring.words(monkeypatch, "--by", "month")


def test_dates_without_an_end_reach_to_tonight(spring, monkeypatch):
    """From alone goes on to tonight; a period is cut at its own dates."""
    told = spring.hours(monkeypatch, "--by", "season", "--from", "2027-05-30")
    assert (told["from"], told["to"]) == ("2027-05-30", date(2027, 7, 1).isoformat())
    assert [row["period"] for row in told["hours"][::2]] == ["2027-spring", "2027-summer"]
