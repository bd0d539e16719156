"""``python -m tests.simulation``: many gardens, many nights, everything going wrong."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from functools import partial
from itertools import count

from tests.simulation.garden_year import Result, run_garden

NIGHTS_PER_GARDEN = 30


def run_gardens(
    seeds: Iterable[int],
    *,
    zone_nights: int,
    nights: int = NIGHTS_PER_GARDEN,
    calm: float = 0.4,
    jobs: int = 1,
    failures: int = 1,
) -> Iterator[Result]:
    """Run one garden for each seed, until there are enough zone-nights, or some of them have failed.

    Args:
        seeds: one for each garden; more than will be needed.
        zone_nights: how many to simulate, at least.
        nights: nights of each garden.
        calm: share of the nights in which nothing happens, 0 to 1.
        jobs: number of processes.
        failures: with how many violations to stop.

    Yields:
        The results in the order of the seeds, whatever the speed of each process.
    """
    run = partial(run_garden, nights=nights, calm=calm)
    simulated = 0
    for result in map(run, seeds) if jobs == 1 else _run_in_processes(run, seeds, jobs):
        yield result
        simulated += result.zone_nights
        failures -= result.violation is not None
        if not failures or simulated >= zone_nights:
            break


def _run_in_processes(run: partial[Result], seeds: Iterable[int], jobs: int) -> Iterator[Result]:
    """Give the results in order, with two gardens for each process under way."""
    under_way: deque[Future[Result]] = deque()
    with ProcessPoolExecutor(jobs) as pool:
        try:
            for seed in seeds:
                under_way.append(pool.submit(run, seed))
                if len(under_way) >= 2 * jobs:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def failure(result: Result, *, calm: float) -> str:
    """Say what went wrong in a garden, with the command that replays it."""
    return (
        f"FAILED {result.violation}\n  replay: python -m tests.simulation --only --seed {result.seed} "
        f"--nights {result.nights} --calm {calm}"
    )


def main(arguments: list[str] | None = None) -> int:
    """Run gardens until there are enough zone-nights, or some of them have failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=main.__doc__)
    parser.add_argument("--zone-nights", type=int, default=10_000, help="how many to simulate, at least")
    parser.add_argument("--seed", type=int, default=1, help="the first garden's seed; the others count on")
    parser.add_argument("--nights", type=int, default=NIGHTS_PER_GARDEN, help="nights of each garden")
    parser.add_argument("--calm", type=float, default=0.4, help="share of nights in which nothing happens")
    parser.add_argument("--only", action="store_true", help="run the first garden alone, as to replay")
    parser.add_argument("--failures", type=int, default=1, help="stop once so many gardens have failed")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    options = parser.parse_args(arguments)
    started_s = time.perf_counter()
    gardens = simulated = failures = 0
    happened: Counter[str] = Counter()
    for result in run_gardens(
        [options.seed] if options.only else count(options.seed),
        zone_nights=options.zone_nights,
        nights=options.nights,
        calm=options.calm,
        jobs=1 if options.only else options.jobs,
        failures=options.failures,
    ):
        gardens += 1
        simulated += result.zone_nights
        happened.update(result.happened)
        if result.violation:
            failures += 1
            print(failure(result, calm=options.calm), flush=True)
    took_s = time.perf_counter() - started_s
    print(f"{gardens} gardens, {simulated} zone-nights in {took_s:.1f} s: {simulated / took_s:.0f} a second")
    print(", ".join(f"{what} {times}" for what, times in sorted(happened.items())))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
