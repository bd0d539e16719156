"""What people ask ``leerie hours``: a year, the year before beside it, what is not over, all of it as CSV."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pandas as pd
import pytest

from tests.api.command import call, call_json, zone_table
from tests.api.gardens_past import GardenPast, live

BEGAN = datetime(2026, 4, 10, 11, tzinfo=UTC)
NIGHTS = 437
# The 21st of June 2027, at noon: twenty nights of the month are over, and the 21st begins.
TARIFF = '[tariff]\ncurrency = "{currency}"\nper_kwh = {per_kwh}\n\n'
SHED = '[[transformers]]\nid = "shed"\nrated_va = 150\nefficiency = 0.8\n\n'
ZONES = zone_table("jetty", "21:00 to 23:00", more="rated_watts = 40\n") + zone_table(
    "path", "22:00 to 01:00", pin=18, more="rated_watts = 20\n"
)


@pytest.fixture(scope="module")
def garden(tmp_path_factory) -> GardenPast:
    """Fourteen months of two zones, their lights by the clock."""
    tariff = TARIFF.format(currency="GBP", per_kwh="0.31")
    return live(tmp_path_factory.mktemp("garden"), tariff + SHED + ZONES, BEGAN, NIGHTS)


def rows_of(told, zone="jetty"):
    """The rows of one zone, by period."""
    return {row["period"]: row for row in told["hours"] if row["zone"] == zone}


def test_a_year_is_the_nights_named_in_it(garden, monkeypatch):
    """By year there is a row for 2026, from the journal's beginning, and one for 2027, so far."""
    told = garden.hours(monkeypatch, "--by", "year")
    rows = rows_of(told)
    # From 10 April to 31 December 2026, and from 1 January to 20 June 2027.
    assert {year: row["lit_h"] for year, row in rows.items()} == {"2026": 266 * 2.0, "2027": 171 * 2.0}
    assert [(row["recorded"], row["is_over"]) for row in rows.values()] == [("all", True), ("all", False)]
    assert [row["from"] for row in rows.values()] == ["2026-04-10", "2027-01-01"]
    words = garden.words(monkeypatch, "--by", "year")
    assert re.search(r"^2026 \(from 10 Apr\) +jetty +532\.00", words, re.MULTILINE)
    assert re.search(r"^2027 \(so far\) +jetty +342\.00", words, re.MULTILINE)


def test_a_period_that_is_not_over_is_marked_in_every_form(garden, monkeypatch):
    """June is not over in JSON, CSV and table; May is; July is still to come; March has no record."""
    dates = ("--from", "2027-05-01", "--to", "2027-07-31")
    assert [row["is_over"] for row in rows_of(garden.hours(monkeypatch, *dates)).values()] == [
        True,
        False,
        False,
    ]
    table = pd.read_csv(io.StringIO(garden.csv(monkeypatch, *dates)))
    assert list(table[table["zone"] == "jetty"]["period is"]) == ["over", "not over", "not over"]
    words = garden.words(monkeypatch, *dates)
    for name in ("2027-05", "2027-06 (so far)", "2027-07 (to come)"):
        assert re.search(rf"^{re.escape(name)} +jetty", words, re.MULTILINE)
    before = ("--from", "2026-03-01", "--to", "2026-04-30")
    assert [row["recorded"] for row in rows_of(garden.hours(monkeypatch, *before)).values()] == [
        "none",
        "part",
    ]
    words = garden.words(monkeypatch, *before)
    for name in ("2026-03 (no record)", "2026-04 (from 10 Apr)"):
        assert re.search(rf"^{re.escape(name)} +jetty", words, re.MULTILINE)


def test_a_part_of_a_month_is_marked_too(garden, monkeypatch):
    """A month that the dates cut says where; a night that is not over says so."""
    words = garden.words(monkeypatch, "--from", "2027-01-10", "--to", "2027-02-20")
    assert "2027-01 (from 10 Jan)" in words
    assert "2027-02 (to 20 Feb)" in words
    garden.be(monkeypatch, datetime(2027, 6, 20, 21, tzinfo=UTC))
    words = call("hours", garden.site_path, "--state", garden.board.folder, "--by", "night").stdout
    assert "2027-06-20 (so far)" in words


def test_a_mark_has_the_year_where_the_period_has_not(garden, monkeypatch):
    """All nights begin on a day of a year; one night of a month is named once."""
    words = garden.words(monkeypatch, "--from", "2026-03-01", "--by", "whole", "--zone", "jetty")
    assert "all nights (from 10 Apr 2026, so" in words
    assert "2027-01 (10 Jan)" in garden.words(monkeypatch, "--period", "2027-01-10")
    assert "2026-winter (from 5 Jan 2027)" in garden.words(
        monkeypatch, "--from", "2027-01-05", "--to", "2027-03-10", "--by", "season"
    )


def test_a_journal_that_begins_in_the_morning_begins_in_the_night_before(tmp_path, monkeypatch):
    """The morning of the first of May belongs to the night of 30 April."""
    garden = live(tmp_path, ZONES, datetime(2027, 5, 1, 9, tzinfo=UTC), 3)
    words = garden.words(monkeypatch, "--all")
    assert "2027-04 (30 Apr, from 10:00)" in words
    assert "2027-05 (so far)" in words


def test_a_comparison_with_nothing_says_so(garden, monkeypatch):
    """Where there is no record of the year before, or the nights are still to come, that is said."""
    words = garden.words(monkeypatch, "--period", "2027-02", "--beside", "last-year")
    assert "There is no record of the year before." in words
    words = garden.words(monkeypatch, "--period", "2027-08", "--beside", "forecast")
    assert "The forecast stands beside nights that are over; leerie year shows those to come." in words
    words = garden.words(monkeypatch, "--period", "2027-05", "--beside", "last-year", "--beside", "forecast")
    assert "no record of the year before" not in words
    assert "leerie year" not in words


@pytest.mark.parametrize(
    ("by", "period", "earlier"),
    [
        ("night", "2027-06-10", "2026-06-10"),
        ("month", "2027-05", "2026-05"),
        ("season", "2027-spring", "2026-spring"),
        ("whole", "2027-05-10 to 2027-06-10", "2026-05-10 to 2026-06-10"),
    ],
)
def test_the_year_before_is_what_it_is_told_alone(garden, monkeypatch, by, period, earlier):
    """What stands beside a period is what the same command tells of the earlier one, and the difference."""
    row = rows_of(garden.hours(monkeypatch, "--by", by, "--period", period, "--beside", "last-year"))[period]
    alone = rows_of(garden.hours(monkeypatch, "--by", by, "--period", earlier))[earlier]
    beside = row["year_earlier"]
    assert (beside["period"], beside["from"], beside["to"]) == (earlier, alone["from"], alone["to"])
    for name in ("lit_h", "missed_h", "lamps_kwh", "meter_kwh", "cost", "cost_unrounded"):
        assert beside["other"][name] == alone[name]
        if by == "season":
            # Of the spring of 2026 the journal knows a part only.
            assert beside["change"] is None
        elif name != "cost":
            assert beside["change"][name] == pytest.approx(row[name] - alone[name], abs=2e-6)
    assert garden.hours(monkeypatch, "--by", by, "--period", period)["hours"][0]["year_earlier"] is None


def test_both_comparisons_stand_in_csv_and_table(garden, monkeypatch):
    """CSV has columns for them and the table has tables, with the same figures."""
    ask = ("--period", "2027-05", "--beside", "last-year", "--beside", "forecast")
    rows = garden.hours(monkeypatch, *ask)["hours"]
    table = pd.read_csv(io.StringIO(garden.csv(monkeypatch, *ask)))
    for name, key in (("year earlier", "year_earlier"), ("forecast", "forecast")):
        for figure, field in (
            ("lit (h)", "lit_h"),
            ("at the meter (kWh)", "meter_kwh"),
            ("cost (GBP)", "cost"),
        ):
            assert list(table[f"{name}, {figure}"]) == [row[key]["other"][field] for row in rows]
            assert list(table[f"more than {name}, {figure}"]) == [row[key]["change"][field] for row in rows]
    words = garden.words(monkeypatch, *ask)
    # 31 nights of two hours each, as planned; 40 W through a transformer of 80 %.
    for heading, name in (("A year earlier", "2026-05"), ("Forecast", "2027-05")):
        assert re.search(rf"^{heading} +Zone +Lit h +Change", words, re.MULTILINE)
        assert re.search(rf"^{name} +jetty +62\.00 +0\.00 +3\.10 +0\.00 +0\.96 +0\.00$", words, re.MULTILINE)


def test_all_nights_come_as_csv(garden, monkeypatch):
    """The whole history is a row a zone for each night since the journal began."""
    text = garden.csv(monkeypatch, "--by", "night", "--all")
    table = pd.read_csv(io.StringIO(text))
    nights = pd.date_range(date(2026, 4, 10), date(2027, 6, 21)).strftime("%Y-%m-%d")
    assert list(table[table["zone"] == "path"]["period"]) == list(nights)
    assert table["lit (h)"].sum() == pytest.approx(NIGHTS * 5.0)


def test_a_long_table_is_printed_in_pages(garden, monkeypatch):
    """Every page has its heading, no night is missing, and the totals come once, at the end."""
    words = garden.words(monkeypatch, "--by", "night", "--all", "--zone", "jetty")
    nights = re.findall(r"^(\d{4}-\d{2}-\d{2})(?: \([a-z0-9: ]+\))? +jetty", words, re.MULTILINE)
    assert nights == list(pd.date_range(date(2026, 4, 10), date(2027, 6, 21)).strftime("%Y-%m-%d"))
    assert len(re.findall(r"^Period +Zone", words, re.MULTILINE)) == 3
    assert len(re.findall(r"^total +874\.0", words, re.MULTILINE)) == 1


def test_what_wants_attention_stands_at_the_top(garden, monkeypatch, tmp_path):
    """What to do is told before any hours, in the table and in JSON."""
    path = tmp_path / "garden.toml"
    text = garden.site_path.read_text().replace("rated_watts = 20\n", "")
    path.write_text(text.replace("efficiency = 0.8\n", ""))
    garden.be(monkeypatch)
    ask = ("hours", path, "--state", garden.board.folder)
    words, told = call(*ask).stdout, call_json(*ask)
    measure, look_up = (
        "measure its load, for measured_watts in the site file",
        "look up the losses of the transformer shed, for efficiency in the site file",
    )
    assert told["attention"] == [
        {"zone": "path", "part": None, "what": measure, "by": None},
        {"zone": None, "part": None, "what": look_up, "by": None},
    ]
    assert re.search(rf"^path +{measure} +now$", words, re.MULTILINE)
    assert words.index(look_up) < words.index("Period")


# -- money ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "money", [("JPY", "31", 0), ("KWD", "0.031", 3), ("EUR", "0.31", 2)], ids=lambda money: money[0]
)
def test_money_has_the_digits_of_its_currency_in_every_form(garden, monkeypatch, tmp_path, money):
    """ISO 4217: none after the point in yen, three in Kuwaiti dinar; in JSON, CSV, tables and the report."""
    currency, per_kwh, digits = money
    path = tmp_path / "garden.toml"
    path.write_text(
        garden.site_path.read_text().replace(
            TARIFF.format(currency="GBP", per_kwh="0.31"), TARIFF.format(currency=currency, per_kwh=per_kwh)
        )
    )
    garden.be(monkeypatch)
    monkeypatch.setattr("api.cli.report.now_utc", lambda: garden.board.true_utc)
    monkeypatch.setattr("api.cli.year.now_utc", lambda: garden.board.true_utc)
    ask = ("hours", path, "--state", garden.board.folder, "--period", "2027-05", "--beside", "last-year")
    written = r"[\d,]+" if digits == 0 else rf"[\d,]+\.\d{{{digits}}}"
    # May has 31 nights: 2 h of 40 W and 3 h of 20 W, at 80 %.
    cost = Decimal(31) * 140 / 1000 / Decimal("0.8") * Decimal(per_kwh)
    rounded = f"{cost:.{digits}f}"
    result = call(*ask, "--json")
    total = result.stdout[result.stdout.index('"total": {') :]
    assert f'"cost": {rounded.rstrip("0") if digits else rounded},' in total
    with io.StringIO(call(*ask, "--csv").stdout, newline="") as text:
        for row in csv.DictReader(text):
            for heading, cell in row.items():
                if heading.endswith(f"({currency})") and "not rounded" not in heading:
                    assert re.fullmatch(rf"-?{written}", cell), heading
    words = call(*ask).stdout
    assert re.search(rf"^total .* {re.escape(rounded)}$", words, re.MULTILINE)
    assert re.search(rf"^2026-05 +path .* {written} +{written}$", words, re.MULTILINE)
    page = tmp_path / "report.html"
    assert call("report", path, "2027-05", "--state", garden.board.folder, "--out", page).exit_code == 0
    costs = re.findall(rf"([-+−]?[0-9.,]+) {currency}", page.read_text())
    assert rounded in costs
    assert all(re.fullmatch(rf"[-+−]?{written}", cost) for cost in costs)
    year = call("year", path, "--off", "23:30").stdout
    assert re.search(rf"^jetty .* {written} +[-+]{written}$", year, re.MULTILINE)
    ahead = call_json("year", path)["present"]["total"]["cost"]
    assert isinstance(ahead, int if digits == 0 else float)
