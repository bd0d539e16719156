"""Every figure of a season's report, against one that is worked out from the raw rows of the journal.

The reckoning shares no code with the account: it reads the tables of SQLite with pandas, knows the clock on
the wall from zoneinfo and the sun from JPL's ephemeris, and adds up in floats. What happened in the garden,
and for which reason, is written here by hand.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import pairwise
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from api.render.season_report import write_report
from config.models.site import Site
from controller.history.report import year_to_come
from controller.history.season import report_season
from controller.planning.planner import Planner
from controller.records.entries import Replacement
from tests.api.markup import Page
from tests.controller.board import Board
from tests.reference.de421 import sun_heights_deg
from tests.sites import site, zone

LONDON = ZoneInfo("Europe/London")
FIRST, LAST = date(2027, 6, 1), date(2027, 8, 31)
NO_LOAD_W, COPPER_W, RATED_VA = 6.0, 9.0, 200.0
DAY_PRICE, NIGHT_PRICE = 0.30, 0.12
BULBS = {"kind": "string", "name": "bulbs", "count": 10, "watts": 3, "rated_life_h": 600, "lamp": "filament"}
# Spans by the clock, in hours after noon; what each zone draws.
PROGRAMS = {"jetty": (10, 13), "path": (6, 11.5)}
WATTS = {"jetty": 30.0, "path": 24.0}
NAMES = {"Jetty & steps": "jetty", "path": "path"}
SUPPLY = "Have the supply checked, plug and protective device first: there was no power"
HOUR_MS, HOUR_S = 3_600_000, 3600


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    """Two summers and an autumn: two power cuts, a relay that fails, a wish for light, new bulbs."""
    here = site(
        zone(
            "jetty", "22:00 to 01:00", name="Jetty & steps", fixtures=[{**BULBS, "fitted": date(2026, 5, 1)}]
        ),
        zone("path", "18:00 to 23:30", pin=18, rated_watts=WATTS["path"]),
        transformers=[{"id": "shed", "rated_va": RATED_VA, "no_load_w": NO_LOAD_W, "copper_w": COPPER_W}],
        tariff={
            "currency": "GBP",
            "per_kwh": Decimal("0.30"),
            "bands": [{"name": "night", "from": "23:00", "to": "07:00", "per_kwh": Decimal("0.12")}],
        },
    )
    board = Board(tmp_path_factory.mktemp("garden"), here, at("2026-06-20T12:00"), tick_s=6 * HOUR_S)
    board.run_until(at("2026-07-10T21:30"))
    board.cut_power(3 * HOUR_S)
    board.run_until(at("2027-04-01T12:00"))
    board.journal.append(
        Replacement(zone="jetty", part="1", on_date=date(2027, 4, 1), at=board.clock.read(), note="")
    )
    board.run_until(at("2027-06-10T14:00"))
    board.cut_power(timedelta(days=11).total_seconds())
    board.run_until(at("2027-07-03T12:00"))
    board.break_relay("path")
    board.run_until(at("2027-07-06T12:00"))
    board.mend_relay("path")
    board.run_until(at("2027-07-20T14:00"))
    board.override("jetty", on=True, lasts_s=2 * HOUR_S)
    board.run_until(at("2027-09-20T12:00"))
    board.journal.append(
        Replacement(zone="jetty", part="1", on_date=date(2027, 9, 20), at=board.clock.read(), note="")
    )
    board.run_until(at("2027-10-15T12:00"))
    board.close()
    return board


def page_of(board: Board, season: str, now_utc: datetime | None = None, today: Site | None = None) -> Page:
    """The report of a season, printed on 15 October 2027 or at another time, read strictly."""
    planner, now_utc = Planner(today or board.site), now_utc or board.true_utc
    year = year_to_come(planner, now_utc)
    return Page(write_report(report_season(planner, board.reader, season, now_utc=now_utc, year=year)))


@pytest.fixture(scope="module")
def told(garden):
    return page_of(garden, "2027-summer")


def noon_ms(night: date) -> int:
    return round(datetime.combine(night, time(12), LONDON).timestamp() * 1000)


def planned_ms(zone_id: str, night: date) -> tuple[int, int]:
    """From when to when a zone was to be lit in a night."""
    since_h, until_h = PROGRAMS[zone_id]
    return noon_ms(night) + round(since_h * HOUR_MS), noon_ms(night) + round(until_h * HOUR_MS)


class Reckoning:
    """What the raw rows say about the nights from one date to another."""

    def __init__(self, board: Board, first: date = FIRST, last: date = LAST) -> None:
        self.nights = [first + n * timedelta(days=1) for n in range((last - first).days + 1)]
        self.from_ms, self.to_ms = noon_ms(first), noon_ms(last + timedelta(days=1))
        with closing(sqlite3.connect(board.reader.path)) as connection:
            runs = pd.read_sql_query(
                "SELECT zone.name AS zone, off.lit_from_ms AS on_ms, off.lit_from_ms + off.lit_ms AS off_ms, "
                "cause, lit.at_ms AS switched_ms FROM switching off JOIN switching lit ON lit.id = off.on_id "
                "JOIN zone ON zone.id = off.zone JOIN reason ON reason.id = lit.reason",
                connection,
            )
            events = pd.read_sql_query("SELECT kind, at_ms, size_s FROM event ORDER BY id", connection)
        self.began_ms = int(events.at_ms.min())
        starts = events[events.kind == "started"].at_ms
        self.unpowered = [
            (
                int(starts[starts <= cut.at_ms].max() - cut.size_s * 1000),
                int(starts[starts <= cut.at_ms].max()),
            )
            for cut in events[events.kind == "power lost"].itertuples()
        ]
        self.all_runs = runs
        self.runs = runs[(runs.off_ms > self.from_ms) & (runs.on_ms < self.to_ms)].copy()
        self.runs["lit_h"] = (
            self.runs.off_ms.clip(upper=self.to_ms) - self.runs.on_ms.clip(lower=self.from_ms)
        ) / HOUR_MS

    def lit_h(self, zone_id: str, cause: str | None = None) -> float:
        runs = self.runs[self.runs.zone == zone_id]
        return runs[runs.cause == cause].lit_h.sum() if cause else runs.lit_h.sum()

    def starts(self, zone_id: str) -> int:
        runs = self.runs[self.runs.zone == zone_id]
        return int((runs.switched_ms >= self.from_ms).sum())

    def missed_h(self, zone_id: str) -> dict[date, float]:
        """The hours planned and not lit of each night with a minute of them or more."""
        found = {}
        for night in self.nights:
            since_ms, until_ms = planned_ms(zone_id, night)
            runs = self.runs[self.runs.zone == zone_id]
            lit_ms = (runs.off_ms.clip(upper=until_ms) - runs.on_ms.clip(lower=since_ms)).clip(lower=0).sum()
            missing_ms = max(until_ms - max(since_ms, self.began_ms), 0) - lit_ms
            if missing_ms >= 60_000:
                found[night] = missing_ms / HOUR_MS
        return found

    def daylight_h(self, zone_id: str) -> float:
        """The hours lit with the sun above -6 degrees, counted minute by minute."""
        minutes = [
            datetime.fromtimestamp(ms / 1000, UTC)
            for run in self.runs[self.runs.zone == zone_id].itertuples()
            for ms in range(int(run.on_ms) + 30_000, int(run.off_ms), 60_000)
        ]
        start = datetime(2027, 1, 1, tzinfo=UTC)
        heights = sun_heights_deg(51.5, 0.0, start, [(each - start).total_seconds() for each in minutes])
        return float((heights > -6).sum()) / 60

    def energy(self) -> pd.DataFrame:
        """Watt-hours by zone, by what took them and by price: a row for each piece of time and zone."""
        edges = {self.from_ms, self.to_ms, *(int(ms) for pair in self.unpowered for ms in pair)}
        edges |= set(self.runs.on_ms.astype(int)) | set(self.runs.off_ms.astype(int)) | {self.began_ms}
        for night in [self.nights[0] - timedelta(days=1), *self.nights]:
            edges |= {noon_ms(night) + hours * HOUR_MS for hours in (0, 11, 19)}
        pieces = []
        start_ms = max(self.from_ms, self.began_ms)
        inside = sorted(ms for ms in edges if start_ms <= ms <= self.to_ms)
        for since_ms, until_ms in pairwise(inside):
            if any(since <= since_ms < until for since, until in self.unpowered):
                continue
            runs = self.runs[(self.runs.on_ms <= since_ms) & (self.runs.off_ms > since_ms)]
            lit_w = {zone_id: WATTS[zone_id] for zone_id in runs.zone}
            load_w, lasts_h = sum(lit_w.values()), (until_ms - since_ms) / HOUR_MS
            lost_w = COPPER_W * (load_w / RATED_VA) ** 2 + NO_LOAD_W if lit_w else 0.0
            hour = datetime.fromtimestamp(since_ms / 1000, LONDON).hour
            for zone_id, watts in WATTS.items():
                lamps_w = lit_w.get(zone_id, 0.0)
                idle_w = 0.0 if lit_w else NO_LOAD_W * watts / sum(WATTS.values())
                pieces.append(
                    {
                        "zone": zone_id,
                        "month": datetime.fromtimestamp(since_ms / 1000 - 12 * HOUR_S, LONDON).month,
                        "price": NIGHT_PRICE if hour >= 23 or hour < 7 else DAY_PRICE,
                        "lamps": lamps_w * lasts_h,
                        "lost": lost_w * lamps_w / load_w * lasts_h if lit_w else 0.0,
                        "idle": idle_w * lasts_h,
                    }
                )
        table = pd.DataFrame(pieces)
        table["meter"] = table.lamps + table.lost + table.idle
        table["cost"] = table.meter / 1000 * table.price
        return table


@pytest.fixture(scope="module")
def reckoned(garden):
    return Reckoning(garden)


def number(text: str) -> float:
    """Read a figure as a person does."""
    return float(re.sub(r"[^\d.-]", "", text.replace("\u2212", "-")))


def table_of(told: Page, *headings: str) -> list[dict[str, str]]:
    """The rows of the table that has these headings, each by its heading."""
    (table,) = [each for each in told.tables if {*headings} <= {*each[0]}]
    return [
        dict(zip((each.replace("\u00a0", " ") for each in table[0]), row, strict=True)) for row in table[1:]
    ]


def near(value: float, within: float = 0.0051) -> object:
    return pytest.approx(value, abs=within)


def test_hours_and_starts_of_each_zone(told, reckoned):
    """Lit, by override, before dusk or after dawn, starts, missed hours and nights, and their totals."""
    *zones, total = table_of(told, "Load W")
    assert [row["Zone"] for row in zones] == list(NAMES)
    for row in zones:
        zone_id = NAMES[row["Zone"]]
        missed_h = reckoned.missed_h(zone_id)
        assert number(row["Lit h"]) == near(reckoned.lit_h(zone_id))
        assert number(row["Override h"]) == near(reckoned.lit_h(zone_id, "override"))
        assert number(row["Starts"]) == reckoned.starts(zone_id)
        assert number(row["Missed h"]) == near(sum(missed_h.values()), 0.06)
        assert number(row["Missed nights"]) == len(missed_h)
        # Minute by minute, and dusk within 4 s a night.
        assert number(row["Before dusk or after dawn h"]) == near(reckoned.daylight_h(zone_id), 0.25)
        assert number(row["Load W"]) == WATTS[zone_id]
    for heading in ("Lit h", "Override h", "Missed h", "Before dusk or after dawn h", "Starts"):
        assert number(total[heading]) == near(sum(number(row[heading]) for row in zones), 0.011)
    both = {night for zone_id in NAMES.values() for night in reckoned.missed_h(zone_id)}
    assert number(total["Missed nights"]) == len(both) == 14
    assert f"Missed on {len(both)} nights{total['Missed h']} h" in told.text


def test_energy_and_cost_of_each_zone_and_month(told, reckoned):
    """Lamps, meter and cost are those of the raw runs, with losses, idle watts and prices by the clock."""
    energy = reckoned.energy()
    *zones, total = table_of(told, "Load W")
    for row, some in [(row, energy[energy.zone == NAMES[row["Zone"]]]) for row in zones] + [(total, energy)]:
        assert number(row["Lamps kWh"]) == near(some.lamps.sum() / 1000)
        assert number(row["Meter kWh"]) == near(some.meter.sum() / 1000)
        assert number(row["Cost GBP"]) == near(some.cost.sum())
    for row, month in zip(table_of(told, "Nights of", "Starts"), (6, 7, 8), strict=True):
        some = energy[energy.month == month]
        first = date(2027, month, 1)
        nights = [night for night in reckoned.nights if night.month == month]
        assert row["Nights of"] == f"{first:%B %Y}"
        assert number(row["Meter kWh"]) == near(some.meter.sum() / 1000)
        assert number(row["Cost GBP"]) == near(some.cost.sum())
        runs = reckoned.runs[
            reckoned.runs.on_ms.between(noon_ms(nights[0]), noon_ms(nights[-1]) + 24 * HOUR_MS)
        ]
        assert number(row["Lit h"]) == near(runs.lit_h.sum())
        assert number(row["Starts"]) == len(runs)
        missed_h = sum(
            lasts_h
            for zone_id in NAMES.values()
            for night, lasts_h in reckoned.missed_h(zone_id).items()
            if night.month == month
        )
        assert number(row["Missed h"]) == near(missed_h, 0.06)


def test_from_the_lamps_to_the_meter(told, reckoned):
    """Lamps, cables, transformers lit and with nothing lit add up to the meter as they are written."""
    energy = reckoned.energy()
    *parts, total = table_of(told, "What took it")
    expected = {
        "lamps": energy.lamps.sum(),
        "lost in the cables, where known": 0.0,
        "lost in the transformers while lit": energy.lost.sum(),
        "taken by the transformers with nothing lit": energy.idle.sum(),
    }
    assert [row["What took it"] for row in parts] == list(expected)
    for row, watt_hours in zip(parts, expected.values(), strict=True):
        assert number(row["kWh"]) == near(watt_hours / 1000, 0.011)
        assert number(row["Share"]) == near(100 * watt_hours / energy.meter.sum(), 0.51)
    assert sum(Decimal(row["kWh"]) for row in parts) == Decimal(total["kWh"])
    assert number(total["kWh"]) == near(energy.meter.sum() / 1000)
    for price, name in ((DAY_PRICE, ""), (NIGHT_PRICE, " (night)")):
        some = energy[energy.price == price]
        match = re.search(rf"([\d.]+) kWh at {price:.2f}{re.escape(name)} = ([\d.]+) GBP", told.text)
        assert match is not None
        assert number(match[1]) == near(some.meter.sum() / 1000)
        assert number(match[2]) == near(some.cost.sum())


def test_the_year_before_beside_it(garden, told):
    """July and August beside those of 2026, by zone and in all; of June 2026 there is no whole record."""
    years = {}
    for year in (2027, 2026):
        both = Reckoning(garden, date(year, 7, 1), date(year, 8, 31))
        energy = both.energy()
        for zone_id in WATTS:
            some = energy[energy.zone == zone_id]
            years[year, zone_id] = (both.lit_h(zone_id), some.meter.sum() / 1000, some.cost.sum())
    (table,) = [each for each in told.tables if "Before" in each[1]]
    assert table[0] == ["", "Lit h", "Meter kWh", "Cost GBP"]
    assert table[1] == ["Zone", *["Now", "Before", "Change"] * 3]
    *zones, total = table[2:]
    for row in zones:
        now, before = (years[year, NAMES[row[0]]] for year in (2027, 2026))
        for place, (this, other) in enumerate(zip(now, before, strict=True)):
            told_now, told_before, change = row[1 + 3 * place : 4 + 3 * place]
            assert number(told_now) == near(this)
            assert number(told_before) == near(other)
            assert number(change) == near(this - other)
            assert change[0] in "+\u2212" or number(change) == 0
    for column in range(1, 10):
        assert number(total[column]) == near(sum(number(row[column]) for row in zones), 0.011)
    assert (
        "Only July and August: of the other nights of the year before there is no whole record." in told.text
    )
    # The tiles are about all three months, so nothing stands beside them.
    assert "year before" not in told.text.partition("Work to do")[0]


def test_a_season_that_is_not_over(garden):
    """It says up to when, stands beside as much of the year before, and has no figures for days to come."""
    told = page_of(garden, "2027-autumn")
    assert "so far, to 15 October 2027: 45 of 91 nights" in told.text
    now, before = (Reckoning(garden, date(year, 9, 1), date(year, 10, 14)) for year in (2027, 2026))
    lit_h = [sum(map(each.lit_h, WATTS)) for each in (now, before)]
    tile = re.search(r"Lit, all zones([\d,.]+) h\s*year before ([\d,.]+), (\S+?)\s", told.text)
    assert tile is not None
    expected = [lit_h[0], lit_h[1], lit_h[0] - lit_h[1]]
    assert [number(text) for text in tile.groups()] == [near(each, 0.011) for each in expected]
    months = table_of(told, "Nights of", "Starts")
    assert [row["Nights of"] for row in months] == [
        "September 2027",
        "October 2027, so far",
        "November 2027, to come",
    ]
    assert {*months[2].values()} == {"November 2027, to come", "–"}
    assert "Both years up to the same time of the year." in told.text


def test_outages_in_nights_and_dates(told, reckoned):
    """A power cut of eleven days and a relay that failed for three nights, with their dates and hours."""
    *rows, total = table_of(told, "Why")
    path_h, jetty_h = reckoned.missed_h("path"), reckoned.missed_h("jetty")
    cut = [night for night in reckoned.nights if date(2027, 6, 10) <= night <= date(2027, 6, 20)]
    assert [(row["Nights of"], row["Nights"], row["Why"], row["Zones"]) for row in rows] == [
        ("10 to 20 June 2027", "11", "power lost", "all zones"),
        ("3 to 5 July 2027", "3", "relay fault", "path"),
    ]
    assert number(rows[0]["Missed h"]) == near(sum(path_h[night] + jetty_h[night] for night in cut), 0.06)
    assert number(rows[1]["Missed h"]) == near(
        sum(path_h.values()) - sum(path_h[night] for night in cut), 0.06
    )
    assert number(total["Missed h"]) == near(sum(path_h.values()) + sum(jetty_h.values()), 0.06)
    assert number(total["Nights"]) == 14


def test_lamps_as_they_stood_at_the_end_of_the_season(told, reckoned):
    """The bulbs of April have the hours up to the last of August, and say that they were replaced since."""
    (row,) = table_of(told, "Rated life h")
    runs = reckoned.all_runs[reckoned.all_runs.zone == "jetty"]
    served = runs[(runs.on_ms >= noon_ms(date(2027, 4, 1))) & (runs.on_ms < reckoned.to_ms)]
    lit_h = (served.off_ms - served.on_ms).sum() / HOUR_MS
    assert row["Lamps"] == "10 × bulbs"
    assert row["Since"] == "1 April 2027"
    assert number(row["Lit h"]) == round(lit_h)
    assert number(row["Rated life h"]) == 600
    assert number(row["Used"]) == round(lit_h / 600 * 100)
    # Three hours a night, on whatever night.
    assert number(row["Per year"]) == round(365 * 3 / 600 * 100)
    assert row["Outlook"] == "replaced on 20 September 2027"


def test_the_work_to_do(told):
    """The power cut and the relay ask for work; bulbs that were replaced since do not."""
    rows = table_of(told, "What these figures ask for")
    assert [tuple(row.values())[1:] for row in rows] == [
        ("Whole garden", f"{SUPPLY} on 11 nights, 10 to 20 June 2027", "now"),
        ("path", "Check the relay and its wiring: it failed on 3 nights, 3 to 5 July 2027", "now"),
    ]


@pytest.mark.parametrize(("currency", "decimals"), [("JPY", 0), ("GBP", 2), ("KWD", 3)])
def test_money_has_the_digits_of_its_currency(garden, currency, decimals):
    """Yen are whole, dinars have three digits after the point, wherever there is an amount (ISO 4217)."""
    tariff = garden.site.tariff.model_copy(update={"currency": currency})
    board_site = garden.site.model_copy(update={"tariff": tariff})
    planner, now_utc = Planner(board_site), garden.true_utc
    year = year_to_come(planner, now_utc)
    found = report_season(planner, garden.reader, "2027-summer", now_utc=now_utc, year=year)
    told = Page(write_report(found))
    amounts = [
        row[f"Cost {currency}"] for row in table_of(told, "Load W") + table_of(told, "Nights of", "Starts")
    ]
    amounts += [
        text for table in told.tables if "Before" in table[1] for row in table[2:] for text in row[7:]
    ]
    amounts += re.findall(rf"= ([\d,.]+) {currency}", told.text)
    assert len(amounts) == 3 + 3 + 9 + 2
    for text in amounts:
        whole, _, fraction = text.partition(".")
        assert len(fraction) == decimals, text
        assert whole


def test_a_machine_whose_clock_is_behind_the_boards_prints_the_same(garden, told):
    """Read on a machine that is months behind, only the date of the report differs; no “now” is drawn."""
    behind = page_of(garden, "2027-summer", at("2027-01-15T12:00"))
    assert behind.tables == told.tables
    assert "made on 15 January 2027" in behind.text
    assert "no record" not in behind.text
    assert not re.search(r"missed *now", behind.text)


def test_another_garden_of_today_prints_the_same_season(garden, told):
    """With lamps, transformers, programs and place edited since, only the outlook of the lamps is another."""
    here = garden.site
    worse = {"no_load_w": 40.0, "copper_w": 50.0, "efficiency": None, "relay_side": "low voltage"}
    edited = here.model_copy(
        update={
            "latitude_deg": 35.0,
            "longitude_deg": 139.0,
            "time_zone": "Asia/Tokyo",
            "transformers": tuple(each.model_copy(update=worse) for each in here.transformers),
            "zones": tuple(
                each.model_copy(update={"program": (), "special_nights": (), "fixtures": each.fixtures[:0]})
                for each in here.zones
            ),
        }
    )
    again = page_of(garden, "2027-summer", today=edited)

    def kept(page: Page) -> list[list[list[str]]]:
        outlook = ("What these figures ask for", "Outlook")
        return [table for table in page.tables if not {*table[0]} & {*outlook}]

    assert kept(again) == kept(told)
    assert [row[:6] for row in lamp_rows(again)] == [row[:6] for row in lamp_rows(told)]
    sky = [re.findall(r"It gets dark at[^.]*\.", page.text) for page in (again, told)]
    assert sky[0] == sky[1] != []
    began = [re.findall(r"The journal begins[^;]*;", page.text) for page in (again, told)]
    assert began[0] == began[1]


def lamp_rows(page: Page) -> list[list[str]]:
    (table,) = [table for table in page.tables if "Outlook" in table[0]]
    return table
