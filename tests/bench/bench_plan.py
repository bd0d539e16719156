"""A year of plans: 365 nights of the eight zones of the largest example, from nothing.

There is no peer to hold it against: nothing else at hand plans nights. The bound is ours.
"""

from __future__ import annotations

import time
from datetime import date, timedelta

from config.file.loader import example_path, load_site
from config.models.site import Site
from controller.calendar.night import night_on
from controller.planning.planner import Planner
from tests.bench.rows import Row

FIRST = date(2027, 1, 1)
NIGHTS = 365
ZONES = 8
RUNS = 7
AT_MOST_MS = 150.0


def a_year_of_plans(site: Site) -> int:
    """Plan every zone for every night by a planner that remembers nothing; count the windows."""
    planner = Planner(site)
    windows = 0
    for day in range(NIGHTS):
        night = night_on(FIRST + timedelta(days=day), planner.tz)
        windows += sum(len(planner.plan(zone.id, night).windows) for zone in site.zones)
    return windows


def best_ms(site: Site) -> float:
    """Give the shortest of some runs: what disturbs a run only ever makes it longer."""
    spent_s = []
    for _ in range(RUNS):
        begun_s = time.perf_counter()
        windows = a_year_of_plans(site)
        spent_s.append(time.perf_counter() - begun_s)
        if windows < NIGHTS * ZONES // 2:
            raise ValueError(f"a year of eight zones has more than {windows} windows: nothing was measured")
    return min(spent_s) * 1000


def measure() -> list[Row]:
    """Time the year of the largest example."""
    site = load_site(example_path("full-property")).site
    if len(site.zones) != ZONES:
        raise ValueError(f"the bench wants {ZONES} zones, the example has {len(site.zones)}")
    return [
        Row(
            what=f"{NIGHTS} nights of {ZONES} zones planned",
            unit="ms",
            ours=best_ms(site),
            ours_at_most=AT_MOST_MS,
        )
    ]
