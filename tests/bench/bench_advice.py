"""The whole report of a large garden with its advice, and the advice beside brute force on fresh networks.

The time is that of the processor, so that other programs do not lengthen it.
"""

from __future__ import annotations

import secrets
import time

from config.file.loader import parse_site
from config.models.site import Site
from controller.inspection.advice import advise
from controller.inspection.report import report_site
from tests.bench.benchmark import Benchmark, Measurement
from tests.controller.inspection.brute_force import TAPS_V, failing, least_cost
from tests.site_of_wiring import PLACE

SIZES = ((200, 2000), (500, 8000))
LAMPS = {"filament": 'lamp = "filament"', "LED": "volts = [10, 15]", "LED without a range": ""}
NETWORKS = 60
BENCHMARKS = (
    *(
        Benchmark(what=f"report with advice, {count} fixtures, {lamp}", unit="ms", max_value=most_ms)
        for count, most_ms in SIZES
        for lamp in LAMPS
    ),
    Benchmark(
        what="fresh networks: best proposal over 5 % dearer than brute force",
        unit=f"of {NETWORKS}",
        max_value=NETWORKS // 10,
    ),
)


def garden(count: int, lamp: str) -> Site:
    """Four lines on one transformer, so long that the far lamps get too few volts."""
    each = count // 4
    cables = [
        f'[[cables]]\nfrom = "shed"\nline = "row{row}"\ngauge = "10 AWG"\nlength = "{6 * each} ft"\n'
        for row in range(4)
    ]
    zones = [
        f'[[zones]]\nid = "row{row}"\npin = {17 + row}\nprogram = ["dusk to midnight"]\n'
        f'[[zones.fixtures]]\nkind = "path"\ncount = {each}\nwatts = {360 / count:g}\n{lamp}\n'
        for row in range(4)
    ]
    transformer = (
        '[[transformers]]\nid = "shed"\nrated_va = 3000\ntap = 12\ntaps = [12, 13, 14, 15]\ncommons = 4\n'
    )
    return parse_site("".join([PLACE, transformer, *cables, *zones]), "garden.toml").site


def report_ms(site: Site) -> float:
    """Report once, and give the milliseconds of the processor."""
    began_s = time.process_time()
    report_site(site)
    return (time.process_time() - began_s) * 1000.0


def count_dearer(seed: int) -> int:
    """Count the networks that have a change that does for less than the best proposal, by over 5 %."""
    dearer = 0
    for network in failing(seed, NETWORKS):
        costs = [each.cost.total for each in advise([network], taps_v=TAPS_V)]
        dearer += least_cost(network, below=min(costs, default=float("inf")) / 1.05) is not None
    return dearer


def measure() -> list[Measurement]:
    """Report on each garden, then compare with brute force from a seed that nobody has seen."""
    *reports, dearer = BENCHMARKS
    gardens = [garden(count, lamp) for count, _ in SIZES for lamp in LAMPS.values()]
    measurements = [
        benchmark.measured(report_ms(site)) for benchmark, site in zip(reports, gardens, strict=True)
    ]
    return [*measurements, dearer.measured(count_dearer(secrets.randbits(30)))]
