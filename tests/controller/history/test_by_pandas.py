"""A hundred random lives of gardens that change, recomputed from the raw rows of their journals with pandas.

The recomputation shares no code with the account. It cuts time at every edge there is (a light, a change of
the site, a price, a power cut, a noon) and works out the power of every zone in each piece, in floats.
"""

from __future__ import annotations

import contextlib
import json
import random
import sqlite3
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from controller.calendar.periods import Each
from tests.controller.history.test_changing_garden import (
    FIRST,
    LAMPS,
    MAINS,
    NEW,
    OLD,
    OTHER,
    account,
    garden,
    live,
)
from tests.controller.journal_samples import MEMORY
from tests.sites import zone

ZONES = [
    [zone("jetty", pin=17, rated_watts=watts) for watts in (120, 60)],
    [zone("path", "22:30 to 02:00", pin=18, fixtures=LAMPS), zone("path", "05:00 to dawn", pin=18)],
    [zone("pond", "sunset for 90m", pin=19, measured_watts=31), zone("pond", "18:00 to 23:00", pin=19)],
]
PLACES = [{}, {}, {"latitude": 60.2, "longitude": 5.3}, {"time_zone": "Europe/Oslo"}]
DAY_MS = 86_400_000


def draw_garden(chance: random.Random):
    zones = [chance.choice(choices) for choices in ZONES if chance.random() < 0.7] or ZONES[0][:1]
    return garden(*zones, transformer=chance.choice([OLD, NEW, MAINS, OTHER]), **chance.choice(PLACES))


def draw_story(chance: random.Random):
    kinds = ["change", "change", "stop", "power", "1970", "off", "on"]
    return [
        (chance.choice(kinds), draw_garden(chance), chance.randint(1, 40))
        for _ in range(chance.randint(0, 6))
    ]


class Rows:
    """The rows of one journal as pandas reads them."""

    def __init__(self, path: Path) -> None:
        with contextlib.closing(sqlite3.connect(path)) as connection:

            def read(select: str) -> pd.DataFrame:
                return pd.read_sql_query(select, connection)

            self.switchings = read(
                "SELECT zone.name AS zone, lit, at_ms, boot_ms, boot, load.watts FROM switching "
                "JOIN zone ON zone.id = switching.zone JOIN load ON load.id = switching.load "
                "ORDER BY switching.id"
            )
            self.events = read("SELECT kind, at_ms, boot_ms, boot, trusted, size_s FROM event ORDER BY id")
            self.sites = read("SELECT at_ms, text FROM site_record WHERE trusted ORDER BY id")

    def runs(self, now_ms: int) -> pd.DataFrame:
        """From when to when each zone was lit, by the boot-time clock, and at how many watts."""
        found = []
        for zone_id, rows in self.switchings.groupby("zone"):
            on = None
            for row in rows.itertuples():
                if row.lit:
                    on = row
                elif on is not None:
                    same = row.boot == on.boot
                    lasts_ms = row.boot_ms - on.boot_ms if same else row.at_ms - on.at_ms
                    found.append((zone_id, row.at_ms - lasts_ms, row.at_ms, on.watts))
                    on = None
            if on is not None:
                found.append((zone_id, on.at_ms, now_ms, on.watts))
        return pd.DataFrame(found, columns=["zone", "starts", "ends", "watts"])

    def power_cuts(self) -> list[tuple[float, float]]:
        """From when to when the board had no power."""
        started = self.events[self.events.kind == "started"].groupby("boot").boot_ms.first()
        cuts = self.events[self.events.kind == "power lost"].dropna(subset=["size_s"])
        ends = cuts.at_ms - (cuts.boot_ms - cuts.boot.map(started))
        return list(zip(ends - cuts.size_s * 1000, ends, strict=True))

    def site_at(self, at_ms: float) -> dict:
        """What the journal was told last by an instant."""
        told = self.sites[self.sites.at_ms <= at_ms]
        return json.loads((told if len(told) else self.sites.head(1)).iloc[-1].text)


def recompute(rows: Rows, began_ms: int, now_ms: int) -> pd.DataFrame:
    """Joules and money by zone and night; idle, at the meter, and milliseconds of light."""
    runs, cuts = rows.runs(now_ms), rows.power_cuts()
    edges = {began_ms, now_ms, *runs.starts, *runs.ends, *rows.sites.at_ms, *(x for cut in cuts for x in cut)}
    for number in range((now_ms - began_ms) // DAY_MS + 3):
        day = (datetime.fromtimestamp(began_ms / 1000, UTC) + timedelta(days=number - 1)).date()
        for name in {json.loads(text)["time_zone"] for text in rows.sites.text}:
            for hour in (7, 12, 23):
                local = datetime.combine(day, time(hour), ZoneInfo(name))
                edges.add(round(local.timestamp() * 1000))
    cuts_at = sorted(edge for edge in edges if began_ms <= edge <= now_ms)
    found = []
    for starts, ends in pairwise(cuts_at):
        middle, lasts_s = (starts + ends) / 2, (ends - starts) / 1000
        site = rows.site_at(middle)
        local = datetime.fromtimestamp(middle / 1000, ZoneInfo(site["time_zone"]))
        night = (local - timedelta(hours=12)).date()
        price = 0.12 if local.hour >= 23 or local.hour < 7 else 0.30
        lit = runs[(runs.starts <= middle) & (runs.ends > middle)]
        powered = not any(since <= middle < until for since, until in cuts)
        for zone_id, meter_w, idle_w, light in powers(site["supplies"], lit, powered=powered):
            joules = meter_w * lasts_s
            cost = joules * price / 3.6e6
            found.append((night.isoformat(), zone_id, joules, idle_w * lasts_s, cost, light * lasts_s * 1000))
    columns = ["night", "zone", "meter_j", "idle_j", "cost", "lit_ms"]
    return pd.DataFrame(found, columns=columns).groupby(["night", "zone"]).sum()


def powers(supplies: dict, lit: pd.DataFrame, *, powered: bool):
    """The mains power of each zone at one moment, of it idle, and whether it is lit."""
    known = {zone_id: supply["losses"] for zone_id, supply in supplies.items()}
    losses = known | {zone_id: {"transformer": ""} for zone_id in lit.zone if zone_id not in known}
    for name in {each["transformer"] for each in losses.values()}:
        here = [zone_id for zone_id, each in losses.items() if each["transformer"] == name]
        of = losses[here[0]]
        now = lit[lit.zone.isin(here)].fillna({"watts": 0.0})
        no_load_w = float(of.get("no_load_w", 0))
        if now.empty:
            rated = {zone_id: supplies.get(zone_id, {}).get("load_w") or 0.0 for zone_id in here}
            idle_w = 0.0 if of.get("mains_side") or not powered else no_load_w
            for zone_id, load_w in rated.items():
                part = load_w / sum(rated.values()) if sum(rated.values()) else 1 / len(rated)
                yield zone_id, idle_w * part, idle_w * part, 0
            continue
        load_w = now.watts.sum()
        meter_w = load_w + no_load_w
        if "efficiency" in of:
            meter_w = max(load_w / float(of["efficiency"]), meter_w)
        elif "copper_w" in of:
            meter_w += float(of["copper_w"]) * (load_w / float(of["rated_va"])) ** 2
        for row in now.itertuples():
            part = row.watts / load_w if load_w else 1 / len(now)
            yield row.zone, row.watts + (meter_w - load_w) * part, 0.0, 1


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
def test_pandas_finds_the_same_in_random_lives(part):
    """Light to 4 ms a night, energy and money to a billionth, by zone and night, over changing gardens."""
    for seed in range(part, 100, 10):
        chance = random.Random(seed)
        with TemporaryDirectory(dir=MEMORY) as folder:
            board = live(Path(folder), draw_garden(chance), draw_story(chance))
            board.close()
            now = board.true_utc
            found = account(board, board.site, FIRST, now.date(), Each.NIGHT)
            rows = Rows(Path(folder) / "journal.sqlite")
        began_ms = int(rows.events[rows.events.trusted == 1].at_ms.min())
        theirs = recompute(rows, began_ms, round(now.timestamp() * 1000))
        moved = rows.sites.text.map(lambda text: json.loads(text)["time_zone"]).nunique() > 1
        ours = pd.DataFrame(
            [
                (row.period.name, row.zone, row.meter_j, row.energy.idle_j, row.cost, row.lit_ms)
                for row in found
            ],
            columns=["night", "zone", *theirs.columns],
        ).astype(dict.fromkeys(theirs.columns, float))
        by = ["zone"] if moved else ["night", "zone"]
        ours = ours.groupby(by).sum(numeric_only=True)
        theirs = theirs.groupby(by).sum().reindex(ours.index, fill_value=0.0)
        for column, tolerance in (("meter_j", 1.0), ("idle_j", 1.0), ("cost", 1e-6), ("lit_ms", 4)):
            pd.testing.assert_series_equal(
                ours[column],
                theirs[column],
                check_names=False,
                rtol=1e-9,
                atol=tolerance,
                obj=f"{seed}: {column}",
            )
