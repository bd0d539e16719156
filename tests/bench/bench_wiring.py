"""A garden of 60 fixtures solved, refused and advised, beside scipy's root of the same nodal equations.

Scipy's solution is believed where no node misses more than a microampere; it then is the truth for our volts.
"""

from __future__ import annotations

from functools import partial

from config.models.cables import parse_gauge
from controller.inspection.advice import advise
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Network
from controller.wiring.solver import NoSolution, Solution, solve
from tests.bench.benchmark import Benchmark, Measurement, best_ms
from tests.controller.nodal import NodalEquations

FIXTURES = 60
TAPS_V = (12.0, 13.0, 14.0, 15.0)
GAUGES = tuple(parse_gauge(text) for text in ("8 AWG", "10 AWG", "12 AWG"))
LEAD = Lead(gauge=parse_gauge("18 AWG"), length_m=1.0)
TRUE_A = 1e-6
KINDS = (Lamp.FILAMENT, Lamp.POWER, Lamp.RESISTANCE, Lamp.CURRENT)
# What advice is asked for: name, kinds of lamp, watts, and whether all are in one line.
ADVISED: tuple[tuple[str, tuple[Lamp, ...], float, bool], ...] = (
    ("filament, branching", (Lamp.FILAMENT,), 4.0, False),
    ("LED, branching", (Lamp.POWER,), 4.0, False),
    ("filament, in line", (Lamp.FILAMENT,), 3.0, True),
    ("mixed, in line", KINDS, 3.0, True),
)
BENCHMARKS = (
    Benchmark(
        what=f"{FIXTURES} fixtures solved", unit="ms", reference="scipy root", max_ratio=1, max_value=3
    ),
    Benchmark(what=f"{FIXTURES} fixtures, worst error", unit="mV", max_value=1),
    Benchmark(what=f"{FIXTURES} fixtures refused, with the most they could have", unit="ms", max_value=100),
    *(
        Benchmark(what=f"advice for {FIXTURES} fixtures, {name}", unit="ms", max_value=2000)
        for name, *_ in ADVISED
    ),
)


def garden(lamps: tuple[Lamp, ...], *, watts: float, source_v: float, in_line: bool = False) -> Network:
    """Sixty fixtures of three zones, each on a lead of its own; branching by sevens, or all in one line."""
    cables, fixtures = [], []
    for place in range(1, FIXTURES + 1):
        parent = place - 1 if in_line or place % 7 else place // 2
        gauge = GAUGES[min(place // 12, 2)]
        length_m = 1.0 + place % 3
        cables.append(
            CableSegment(from_node=f"n{parent}", to_node=f"n{place}", gauge=gauge, length_m=length_m)
        )
        fixtures.append(
            FixtureAt(
                node=f"n{place}",
                zone=("beds", "path", "trees")[place % 3],
                watts=watts * (0.6 + 0.1 * (place % 9)),
                lamp=lamps[place % len(lamps)],
                lead=LEAD,
                min_v=10.8,
                max_v=12.6,
            )
        )
    feed = Feed(node="n0", transformer="shed", rated_va=600.0, source_v=source_v)
    return Network(feed=feed, segments=tuple(cables), fixtures=tuple(fixtures))


def worst_mv(network: Network) -> float:
    """Give the largest difference of our volts at any lamp from scipy's, checked, in millivolts."""
    nodal = NodalEquations(network)
    pair_v = nodal.solve()
    missing_a = nodal.missing_a(pair_v)
    if missing_a > TRUE_A:
        raise ValueError(f"the truth is not true: {missing_a:g} A are missing at a node")
    ours = solve(network)
    if not isinstance(ours, Solution):
        raise TypeError(f"ours has no solution: {ours}")
    theirs_v = [pair_v[nodal.at[first]] for first in nodal.first_lamp]
    return max(abs(lamp.volts - v) for lamp, v in zip(ours.lamps, theirs_v, strict=True)) * 1_000


def measure() -> list[Measurement]:
    """Time solutions and scipy's in turn, then a refusal and the whole search for advice."""
    mixed = garden(KINDS, watts=2.5, source_v=13.0)
    rounds = [
        (best_ms(lambda: solve(mixed), 10), best_ms(lambda: NodalEquations(mixed).solve(), 1))
        for _ in range(5)
    ]
    ours_ms, scipy_ms = (min(column) for column in zip(*rounds, strict=True))
    beyond = garden((Lamp.POWER,), watts=20.0, source_v=12.0, in_line=True)
    if not isinstance(solve(beyond), NoSolution):
        raise TypeError("the load that should be refused was solved")
    solved, error, refused, *advised = BENCHMARKS
    measurements = [
        solved.measured(ours_ms, scipy_ms),
        error.measured(worst_mv(mixed)),
        refused.measured(best_ms(lambda: solve(beyond), 3)),
    ]
    for benchmark, (_, lamps, watts, in_line) in zip(advised, ADVISED, strict=True):
        network = garden(lamps, watts=watts, source_v=12.0, in_line=in_line)
        measurements.append(benchmark.measured(best_ms(partial(advise, [network], taps_v=TAPS_V), 2)))
    return measurements
