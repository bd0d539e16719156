"""Lights first: from the start of the process to the last relay right, beside importing the web stack alone.

Eight zones, each with its own program and its own dusk to work out, a journal to open. ``stagger_s`` is 0 in
the site file, or the last relay would be waiting for its turn and not for the program. The reference is
``python -c "import fastapi, uvicorn"``: once from its start to its end, and once to the last of its imports.
"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.bench.benchmark import Benchmark, Measurement
from tests.bench.programs import (
    PIN_RECORDER,
    RUN,
    PinSet,
    daemon_arguments,
    free_port,
    out_of,
    python,
    write_site,
)

ZONES = 8
TURNS = 15
WHAT = f"start to the last of {ZONES} relays right"
BENCHMARKS = (
    Benchmark(what=WHAT, unit="ms", reference='python -c "import fastapi, uvicorn"', max_ratio=0.55),
    Benchmark(what=WHAT, unit="ms", reference="its imports alone", max_ratio=1),
)
IMPORTS = "import fastapi, uvicorn\nimport time\nprint(time.monotonic(), flush=True)\n"


def daemon_ms(site: Path, state: Path) -> float:
    """Start the daemon, and wait until every relay was set once."""
    begun_s = time.monotonic()
    with python(PIN_RECORDER + RUN, *daemon_arguments(site, state, free_port())) as process:
        seen: dict[int, PinSet] = {}
        for each in PinSet.read(out_of(process)):
            seen.setdefault(each.pin, each)
            if len(seen) == ZONES:
                break
    return (max(each.at_monotonic_s for each in seen.values()) - begun_s) * 1000


def imports_ms() -> tuple[float, float]:
    """Run a program that imports FastAPI and uvicorn and nothing else: to its last import, and to its end."""
    begun_s = time.monotonic()
    with python(IMPORTS) as process:
        imported_s = float(out_of(process).readline())
        process.wait()
        ended_s = time.monotonic()
    return (imported_s - begun_s) * 1000, (ended_s - begun_s) * 1000


def measure() -> list[Measurement]:
    """Take turns, so that both meet the same machine, and compare the medians."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        site = write_site(folder)
        # Once for nothing: files come into the cache, bytecode is written.
        daemon_ms(site, folder / "state")
        imports_ms()
        turns = [(daemon_ms(site, folder / "state"), *imports_ms()) for _ in range(TURNS)]
    ours, imported, ended = (median(column) for column in zip(*turns, strict=True))
    command, imports = BENCHMARKS
    return [command.measured(ours, ended), imports.measured(ours, imported)]
