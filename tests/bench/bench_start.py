"""Lights first: from the start of the process to the last relay right, beside importing the web stack alone.

Eight zones, each with its own program and its own dusk to work out, a journal to open. ``stagger_s`` is 0 in
the site file, or the last relay would be waiting for its turn and not for the program. The peer is
``python -c "import fastapi, uvicorn"``: once from its start to its end, and once to the last of its imports.
"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from tests.bench.programs import (
    EYE_ON_THE_PINS,
    RUN,
    PinSet,
    daemon_arguments,
    free_port,
    out_of,
    python,
    write_site,
)
from tests.bench.rows import Row

ZONES = 8
TURNS = 15
PEER = "import fastapi, uvicorn\nimport time\nprint(time.monotonic(), flush=True)\n"


def ours_ms(site: Path, state: Path) -> float:
    """Start the daemon, and wait until every relay was set once."""
    begun_s = time.monotonic()
    with python(EYE_ON_THE_PINS + RUN, *daemon_arguments(site, state, free_port())) as process:
        seen: dict[int, PinSet] = {}
        while len(seen) < ZONES:
            each = PinSet.read(out_of(process).readline())
            seen.setdefault(each.pin, each)
    return (max(each.at_monotonic_s for each in seen.values()) - begun_s) * 1000


def peer_ms() -> tuple[float, float]:
    """Run a program that imports FastAPI and uvicorn and nothing else: to its last import, and to its end."""
    begun_s = time.monotonic()
    with python(PEER) as process:
        imported_s = float(out_of(process).readline())
        process.wait()
        ended_s = time.monotonic()
    return (imported_s - begun_s) * 1000, (ended_s - begun_s) * 1000


def measure() -> list[Row]:
    """Take turns, so that both meet the same machine, and compare the medians."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        site = write_site(folder)
        # Once for nothing: files come into the cache, bytecode is written.
        ours_ms(site, folder / "state")
        peer_ms()
        turns = [(ours_ms(site, folder / "state"), *peer_ms()) for _ in range(TURNS)]
    ours, imported, ended = (median(column) for column in zip(*turns, strict=True))
    what = f"start to the last of {ZONES} relays right"
    command = 'python -c "import fastapi, uvicorn"'
    return [
        Row(what=what, unit="ms", ours=ours, peer_name=command, peer=ended, ratio_at_most=0.7),
        Row(what=what, unit="ms", ours=ours, peer_name="its imports alone", peer=imported, ratio_at_most=1.0),
    ]
