"""Hidden faults in the wiring of gardens, found by what a meter with noise shows: those missed, of forty.

Once with the seed of the tests, and once with a fresh one, which is printed so that a bad draw can be looked
at again: ``score`` of ``tests/controller/hidden_faults.py`` takes it.
"""

from __future__ import annotations

import secrets
import sys
from typing import Final

from tests.bench.benchmark import Benchmark, Measurement
from tests.controller.diagnosis.test_hidden_faults import COPPER_C, COUNT, FEWEST_FIRST, FEWEST_LISTED, SEED
from tests.controller.hidden_faults import Score, score

SEEDS: Final = ("fixed seed", "fresh seed")
BENCHMARKS = tuple(
    benchmark
    for seed in SEEDS
    for benchmark in (
        *(
            Benchmark(
                what=f"hidden faults not named first, all lamps read, copper at {copper_c:g} °C, {seed}",
                unit=f"of {COUNT}",
                max_value=COUNT - FEWEST_FIRST,
            )
            for copper_c in COPPER_C
        ),
        Benchmark(
            what=f"hidden faults not listed, only the last lamps read, {seed}, the worst of three",
            unit=f"of {COUNT}",
            max_value=COUNT - FEWEST_LISTED,
        ),
        Benchmark(
            what=f"hidden faults named wrongly and called clear, {seed}",
            unit=f"of {2 * COUNT * len(COPPER_C)}",
            max_value=0,
        ),
    )
)


def figures(seed: int) -> list[float]:
    """Give the five figures of one seed."""
    scores = [score(seed, COUNT, copper_c) for copper_c in COPPER_C]
    for copper_c, (everywhere, at_the_ends) in zip(COPPER_C, scores, strict=True):
        sys.stderr.write(f"  seed {seed}, {copper_c:g} °C: {_say(everywhere)}; last: {_say(at_the_ends)}\n")
    return [
        *(COUNT - everywhere.first for everywhere, _ in scores),
        COUNT - min(at_the_ends.listed for _, at_the_ends in scores),
        sum(each.clear_and_wrong for pair in scores for each in pair),
    ]


def _say(found: Score) -> str:
    return (
        f"{found.first} first, {found.listed} among {found.places} places named,"
        f" {found.clear} clear, {found.clear_and_wrong} of them wrong"
    )


def measure() -> list[Measurement]:
    """Count what is missed with the seed of the tests, and with one that nobody has seen."""
    missed = [*figures(SEED), *figures(secrets.randbelow(10**9))]
    return [benchmark.measured(value) for benchmark, value in zip(BENCHMARKS, missed, strict=True)]
