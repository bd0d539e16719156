"""The simulation: how long a hundred thousand zone-nights take on two cores, scaled up from a twelfth.

There is no reference program: nothing else simulates Leerie's nights. The limit is 800 zone-nights a second.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from tests.bench.benchmark import Benchmark, Measurement

ROOT = Path(__file__).resolve().parents[2]
SIMULATED = 8_000
ALL = 100_000
BENCHMARKS = (Benchmark(what=f"{ALL:,} zone-nights simulated, two processes", unit="s", max_value=125),)


def measure() -> list[Measurement]:
    """Run many gardens in two processes, as CI does.

    Raises:
        RuntimeError: something went wrong in one of them; its output says what.
    """
    command = [sys.executable, "-m", "tests.simulation", "--zone-nights", str(SIMULATED), "--jobs", "2"]
    started_s = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    took_s = time.perf_counter() - started_s
    if done.returncode:
        raise RuntimeError(done.stdout + done.stderr)
    simulated = int(done.stdout.split(" gardens, ")[1].split(" ")[0])
    return [BENCHMARKS[0].measured(took_s * ALL / simulated)]
