"""The year ahead of a whole property: eight zones, 365 nights, sun, plan, energy, money and lamp life.

There is no peer to hold it against: nothing else at hand does this job. The bound is ours.
"""

from __future__ import annotations

import time
from datetime import date
from datetime import time as clock_time
from decimal import Decimal
from pathlib import Path

from config.file.loader import load_site
from config.models.site import Site
from config.models.tariff import PriceBand, Tariff
from config.program.special_nights import parse_nights
from controller.energy.values import Load, Losses, watts
from controller.forecast.forecast import Forecast, ForecastInput, ForecastZone, look_ahead
from controller.lamps.life import Lamps, lamp_life, nights_again
from controller.planning.planner import Planner
from tests.bench.rows import Row

FIRST = date(2027, 3, 1)
EXAMPLE = Path(__file__).parents[2] / "config" / "examples" / "full-property.toml"
RUNS = 5
AT_MOST_MS = 400.0


def forecast_input(site: Site, planner: Planner) -> ForecastInput:
    """Give the property two-loss transformers and a tariff of bands, the dearest case to work out."""
    peak = PriceBand(
        per_kwh=Decimal("0.41"),
        begins=clock_time(16),
        ends=clock_time(21),
        days=parse_nights("Mon, Tue, Wed, Thu, Fri"),
    )
    return ForecastInput(
        zones=tuple(
            ForecastZone(
                zone=zone.id,
                transformer=zone.transformer or "",
                load=Load(lamps_w=watts(zone.rated_load.watts)),
            )
            for zone in site.zones
        ),
        transformers=tuple(
            Losses(
                transformer=each.id,
                no_load_w=Decimal(6),
                copper_w=Decimal(9),
                rated_va=Decimal(repr(each.rated_va)),
            )
            for each in site.transformers
        ),
        tariff=Tariff(currency="USD", per_kwh=Decimal("0.29"), bands=(peak,)),
        sun=planner.sun,
        dusk_angle_deg=site.dusk_angle_deg,
        tz=planner.tz,
    )


def a_year(site: Site) -> Forecast:
    """Work out the year from nothing: a new planner, every sunset, every plan, every lamp."""
    planner = Planner(site)
    year = look_ahead(
        forecast_input(site, planner), FIRST, lambda zone_id, night: planner.plan(zone_id, night).windows
    )
    for zone in site.zones:
        again = nights_again(FIRST, year.lit_ms_by_night(zone.id))
        for place, fixture in enumerate(zone.fixtures, start=1):
            lamps = Lamps(zone=zone.id, number=place, fixture=fixture)
            lamp_life(lamps, 3000.0, since=fixture.fitted, first_night=FIRST, lit_ms_on=again)
    return year


def measure() -> list[Row]:
    """Time the year; the shortest of some runs, since what disturbs a run only makes it longer."""
    site = load_site(EXAMPLE).site
    if len(site.zones) != 8:
        raise ValueError(f"the bench wants eight zones, the example has {len(site.zones)}")
    spent_s = []
    for _ in range(RUNS):
        begun_s = time.perf_counter()
        year = a_year(site)
        spent_s.append(time.perf_counter() - begun_s)
    if not year.energy().cost:
        raise ValueError("the year costs nothing, so nothing was measured")
    return [
        Row(
            what="the year ahead, 8 zones: hours, energy, money, lamps",
            unit="ms",
            ours=min(spent_s) * 1000,
            ours_at_most=AT_MOST_MS,
        )
    ]
