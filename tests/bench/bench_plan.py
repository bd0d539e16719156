"""A year of plans: 365 nights of the eight zones of the largest example, from nothing.

There is no reference program: nothing else at hand plans nights. The limit is ours.
"""

from __future__ import annotations

from datetime import date, timedelta

from config.file.loader import example_path, load_site
from config.models.site import Site
from controller.calendar.night import night_on
from controller.planning.planner import Planner
from tests.bench.benchmark import Benchmark, Measurement, best_ms

FIRST = date(2027, 1, 1)
NIGHTS = 365
ZONES = 8
RUNS = 7
BENCHMARKS = (Benchmark(what=f"{NIGHTS} nights of {ZONES} zones planned", unit="ms", max_value=150),)


def a_year_of_plans(site: Site) -> int:
    """Plan every zone for every night by a planner that remembers nothing; count the windows."""
    planner = Planner(site)
    windows = 0
    for day in range(NIGHTS):
        night = night_on(FIRST + timedelta(days=day), planner.tz)
        windows += sum(len(planner.plan(zone.id, night).windows) for zone in site.zones)
    if windows < NIGHTS * ZONES // 2:
        raise ValueError(f"a year of eight zones has more than {windows} windows: nothing was measured")
    return windows


def measure() -> list[Measurement]:
    """Time the year of the largest example."""
    site = load_site(example_path("full-property")).site
    if len(site.zones) != ZONES:
        raise ValueError(f"the bench wants {ZONES} zones, the example has {len(site.zones)}")
    return [BENCHMARKS[0].measured(best_ms(lambda: a_year_of_plans(site), RUNS))]
