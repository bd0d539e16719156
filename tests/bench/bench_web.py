"""The API under load: how fast a status is answered, how late relays switch meanwhile, what memory is lost.

The load comes from wrk (https://github.com/wg/wrk, in Debian as "wrk"), on the same machine.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.request import urlopen

import psutil

from tests.bench.bench_daemon import daemon, lateness_ms, quantile
from tests.bench.benchmark import Benchmark, Measurement
from tests.bench.programs import PATIENCE_S, free_port, python, wait_until_it_answers

STATUS = "/v1/status"
# No more than run and wait at once: none is refused.
CONNECTIONS = 8
# As many as the board's own programs may open.
ALL_CONNECTIONS = 64
FOR_S = 8
WARM_UP = 5_000
REQUESTS = int(os.environ.get("LEERIE_BENCH_REQUESTS", "100000"))
BENCHMARKS = (
    Benchmark(
        what="GET /v1/status, 8 connections: time for each request",
        unit="ms",
        reference="a bare FastAPI route of the same bytes",
        max_ratio=1.67,
    ),
    Benchmark(
        what="the same, p99",
        unit="ms",
        reference="a bare FastAPI route of the same bytes",
        max_ratio=2,
    ),
    Benchmark(what="lateness of 200 switchings, wrk with 64 connections, p99", unit="ms", max_value=100),
    Benchmark(what=f"memory that {REQUESTS:,} requests leave behind", unit="MB", max_value=5),
)
BARE = """
import sys
import uvicorn
from fastapi import FastAPI, Response

with open(sys.argv[2], "rb") as file:
    body = file.read()
app = FastAPI()

@app.get("/status")
def status() -> Response:
    return Response(body, media_type="application/json")

uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="critical", http="h11", loop="asyncio")
"""


def wrk(url: str, *, connections: int, for_s: int) -> tuple[int, float]:
    """Put load on an address for some seconds: how many requests were answered well, and p99 in ms."""
    program = shutil.which("wrk")
    if program is None:
        raise FileNotFoundError("wrk is not installed; on Debian: apt install wrk")
    done = subprocess.run(
        [program, "-t1", f"-c{connections}", f"-d{for_s}s", "--latency", url],
        capture_output=True,
        text=True,
        check=True,
    )
    answered = re.search(r"(\d+) requests in", done.stdout)
    p99 = re.search(r"99%\s+([0-9.]+)(us|ms|s)", done.stdout)
    if answered is None or p99 is None:
        raise ValueError(f"wrk said something else: {done.stdout}")
    refused = re.search(r"Non-2xx or 3xx responses: (\d+)", done.stdout)
    well = int(answered[1]) - (int(refused[1]) if refused else 0)
    return well, float(p99[1]) * {"us": 0.001, "ms": 1.0, "s": 1000.0}[p99[2]]


def speed(url: str) -> tuple[float, float]:
    """Give the milliseconds of each request, and p99, of an address that is asked all the time."""
    wrk(url, connections=CONNECTIONS, for_s=1)
    well, p99_ms = wrk(url, connections=CONNECTIONS, for_s=FOR_S)
    return FOR_S * 1000 / well, p99_ms


def bare_speed(body: Path) -> tuple[float, float]:
    """Give the same of a program that does nothing but send these bytes, by a thread as ours does."""
    port = free_port()
    with python(BARE, port, body) as process:
        url = f"http://127.0.0.1:{port}/status"
        wait_until_it_answers(url)
        assert process.poll() is None
        return speed(url)


def put_under_load(url: str) -> None:
    """Ask for the status on as many connections as the board may open; the daemon may go meanwhile."""
    with contextlib.suppress(subprocess.CalledProcessError):
        wrk(url + STATUS, connections=ALL_CONNECTIONS, for_s=2)


def left_behind_mb(folder: Path) -> float:
    """Give by how much the daemon has grown after very many requests."""
    with daemon(folder) as (process, url, _):

        def ask(times: int) -> None:
            left = times
            while left > 0:
                left -= wrk(url + STATUS, connections=CONNECTIONS, for_s=4)[0]

        ask(WARM_UP)
        held = psutil.Process(process.pid)
        before = held.memory_info().rss
        ask(REQUESTS)
        time.sleep(2)
        return float(held.memory_info().rss - before) / 1e6


def measure() -> list[Measurement]:
    """Measure ours and the bare one in turn, then lateness, then memory."""
    with TemporaryDirectory() as name:
        folders = [Path(name) / each for each in ("speed", "late", "memory")]
        for folder in folders:
            folder.mkdir()
        body = Path(name) / "body.json"
        with daemon(folders[0]) as (_, url, _site):
            with urlopen(url + STATUS, timeout=PATIENCE_S) as answer:
                body.write_bytes(answer.read())
            ours_ms, ours_p99_ms = speed(url + STATUS)
        bare_ms, bare_p99_ms = bare_speed(body)
        late = lateness_ms(folders[1], meanwhile=put_under_load)
        left_mb = left_behind_mb(folders[2])
    each, p99, lateness, memory = BENCHMARKS
    return [
        each.measured(ours_ms, bare_ms),
        p99.measured(ours_p99_ms, bare_p99_ms),
        lateness.measured(quantile(late, 0.99)),
        memory.measured(left_mb),
    ]
