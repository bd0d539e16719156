"""The simulation: how long a hundred thousand zone-nights take on two cores, reckoned from a twelfth of them.

There is no peer: nothing else lives through Leerie's nights. The bound is what CI can afford.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from tests.bench.rows import Row

ROOT = Path(__file__).resolve().parents[2]
LIVED = 8_000
ALL = 100_000
AT_MOST_S = 300.0


def measure() -> list[Row]:
    """Run many gardens in two processes, as CI does.

    Raises:
        RuntimeError: something went wrong in one of them; its output says what.
    """
    command = [sys.executable, "-m", "tests.simulation", "--zone-nights", str(LIVED), "--jobs", "2"]
    started_s = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    took_s = time.perf_counter() - started_s
    if done.returncode:
        raise RuntimeError(done.stdout + done.stderr)
    lived = int(done.stdout.split(" gardens, ")[1].split(" ")[0])
    what = f"{ALL:,} zone-nights simulated ({lived / took_s:.0f} a second)"
    return [Row(what=what, unit="s", ours=took_s * ALL / lived, ours_at_most=AT_MOST_S)]
