"""``python -m tests.simulation``: many gardens, many nights, everything going wrong."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from itertools import count

from tests.simulation.garden_year import Result, live

NIGHTS_PER_GARDEN = 30


def main(arguments: list[str] | None = None) -> int:
    """Run gardens until enough zone-nights are lived, or one of them fails."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=main.__doc__)
    parser.add_argument("--zone-nights", type=int, default=10_000, help="how many to live, at least")
    parser.add_argument("--seed", type=int, default=1, help="the first garden's seed; the others count on")
    parser.add_argument("--nights", type=int, default=NIGHTS_PER_GARDEN, help="nights of each garden")
    parser.add_argument("--calm", type=float, default=0.4, help="share of nights in which nothing happens")
    parser.add_argument("--only", action="store_true", help="live the first garden alone, as to replay")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    asked = parser.parse_args(arguments)
    started_s = time.perf_counter()
    results = [live(asked.seed, asked.nights, calm=asked.calm)] if asked.only else _many(asked)
    return _tell(results, asked, time.perf_counter() - started_s)


def _many(asked: argparse.Namespace) -> list[Result]:
    """Live garden after garden, several at once; stop at the first failure."""
    results: list[Result] = []
    lived = 0
    seeds = count(asked.seed)
    with ProcessPoolExecutor(asked.jobs) as pool:
        while lived < asked.zone_nights:
            batch = [
                pool.submit(live, next(seeds), asked.nights, calm=asked.calm) for _ in range(asked.jobs * 4)
            ]
            for future in batch:
                result = future.result()
                results.append(result)
                lived += result.zone_nights
            if any(result.violation for result in results):
                break
    return results


def _tell(results: list[Result], asked: argparse.Namespace, took_s: float) -> int:
    """Print what was lived through, and each failure with the line that replays it."""
    lived = sum(result.zone_nights for result in results)
    happened: Counter[str] = Counter()
    for result in results:
        happened.update(result.happened)
    print(f"{len(results)} gardens, {lived} zone-nights in {took_s:.1f} s: {lived / took_s:.0f} a second")
    print(", ".join(f"{what} {times}" for what, times in sorted(happened.items())))
    failures = [result for result in results if result.violation]
    for result in failures:
        print(
            f"FAILED {result.violation}\n  replay: python -m tests.simulation --only --seed {result.seed} "
            f"--nights {asked.nights} --calm {asked.calm}"
        )
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
