"""The year ahead of a whole property: eight zones, 365 nights, sun, plan, energy, money and lamp life.

There is no reference program: nothing else at hand does this job. The limit is ours.
"""

from __future__ import annotations

from datetime import date, time
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
from tests.bench.benchmark import Benchmark, Measurement, best_ms

FIRST = date(2027, 3, 1)
EXAMPLE = Path(__file__).parents[2] / "config" / "examples" / "full-property.toml"
RUNS = 5
BENCHMARKS = (
    Benchmark(what="the year ahead, 8 zones: hours, energy, money, lamps", unit="ms", max_value=400),
)


def forecast_input(site: Site, planner: Planner) -> ForecastInput:
    """Give the property two-loss transformers and a tariff of bands, the dearest case to work out."""
    peak = PriceBand(
        per_kwh=Decimal("0.41"),
        begins=time(16),
        ends=time(21),
        days=parse_nights("Mon, Tue, Wed, Thu, Fri"),
    )
    losses = {
        each.id: Losses(
            transformer=each.id,
            no_load_w=Decimal(6),
            copper_w=Decimal(9),
            rated_va=Decimal(repr(each.rated_va)),
        )
        for each in site.transformers
    }
    return ForecastInput(
        zones=tuple(
            ForecastZone(
                zone=zone.id,
                losses=losses[zone.transformer or ""],
                load=Load(lamps_w=watts(zone.rated_load.watts)),
            )
            for zone in site.zones
        ),
        tariff=Tariff(currency="USD", per_kwh=Decimal("0.29"), bands=(peak,)),
        place=planner.place,
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
    if not year.total().energy.cost:
        raise ValueError("the year costs nothing, so nothing was measured")
    return year


def measure() -> list[Measurement]:
    """Time the year; the shortest of some runs, since what disturbs a run only makes it longer."""
    site = load_site(EXAMPLE).site
    if len(site.zones) != 8:
        raise ValueError(f"the bench wants eight zones, the example has {len(site.zones)}")
    return [BENCHMARKS[0].measured(best_ms(lambda: a_year(site), RUNS))]
