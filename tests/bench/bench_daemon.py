"""The daemon as it runs for years: its memory, its idle cost, how late it switches, how soon it ends.

Eight zones, the API up, the journal on this disk. Its memory is compared with the smallest program that
FastAPI allows. Lateness is measured on its own pins: overrides are asked for over the API, each until an
instant, and what counts is when the relay was let go of, against that instant.
"""

from __future__ import annotations

import contextlib
import json
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.client import HTTPException
from math import ceil
from pathlib import Path
from subprocess import Popen
from tempfile import TemporaryDirectory
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import psutil

from config.file.loader import load_site
from tests.bench.benchmark import Benchmark, Measurement
from tests.bench.programs import (
    PATIENCE_S,
    PIN_RECORDER,
    RUN,
    PinSet,
    daemon_arguments,
    free_port,
    out_of,
    python,
    seconds_to_end,
    wait_until_it_answers,
    write_site,
)

HELLO = """
import sys
import uvicorn
from fastapi import FastAPI

app = FastAPI()

@app.get("/health")
async def hello() -> dict[str, str]:
    return {"hello": "world"}

uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="critical")
"""
# Nothing that is to be written ever gets to the disk.
HANGING_DISK = """
import threading
from controller.journal import writer

def hang(*_args, **_more):
    print("hanging", flush=True)
    threading.Event().wait()

writer.Transactions.commit = hang
"""
REQUESTS = 20
SETTLE_S = 5.0
IDLE_S = 60.0
SWITCHINGS = 200
BENCHMARKS = (
    Benchmark(what="resident memory, API up", unit="MB", reference="FastAPI hello", max_ratio=1.6),
    Benchmark(what=f"processor while idle, {IDLE_S:.0f} s", unit="% of a core", max_value=0.08),
    Benchmark(what=f"lateness of {SWITCHINGS} switchings, p99", unit="ms", max_value=50),
    Benchmark(what="SIGTERM to the end, lit", unit="ms", max_value=2000),
    Benchmark(what="the same, the disk hanging", unit="ms", max_value=2000),
)
# Dark whatever the time of the day: the end is before the beginning. Overrides alone switch.
NEVER = "23:00 to 22:00"


class Pins:
    """Reads what the pin recorder in the daemon prints, as it comes."""

    def __init__(self, process: Popen[str]) -> None:
        """Begin to read."""
        self.let_go: dict[int, list[float]] = {}
        self._news = threading.Condition()
        self._out = out_of(process)
        threading.Thread(target=self._read, daemon=True).start()

    def wait_for(self, pin: int, after: int) -> float:
        """Wait until a relay was let go of once more than so many times; when, by the wall clock."""
        with self._news:
            if not self._news.wait_for(lambda: len(self.let_go.get(pin, ())) > after, PATIENCE_S):
                raise TimeoutError(f"pin {pin} was not let go of")
            return self.let_go[pin][after]

    def count(self, pin: int) -> int:
        """Count how often a relay was let go of."""
        with self._news:
            return len(self.let_go.get(pin, ()))

    def _read(self) -> None:
        for each in PinSet.read(self._out):
            with self._news:
                if not each.on:
                    self.let_go.setdefault(each.pin, []).append(each.at_s)
                self._news.notify_all()


@contextmanager
def daemon(folder: Path, *, script: str = "", program: str = "") -> Iterator[tuple[Popen[str], str, Path]]:
    """Run the daemon with its API up: its process, its address, its site file."""
    site, port = write_site(folder, program=program), free_port()
    with python(script + RUN, *daemon_arguments(site, folder / "state", port)) as process:
        url = f"http://127.0.0.1:{port}"
        wait_until_it_answers(f"{url}/health")
        yield process, url, site


def resident_mb(process: Popen[str], url: str) -> float:
    """Give what a program holds in memory, once it has answered some requests."""
    for _ in range(REQUESTS):
        wait_until_it_answers(f"{url}/health")
    return float(psutil.Process(process.pid).memory_info().rss) / 1e6


def hello_mb() -> float:
    """Give the same of the smallest program of its kind."""
    port = free_port()
    with python(HELLO, port) as process:
        url = f"http://127.0.0.1:{port}"
        wait_until_it_answers(f"{url}/health")
        return resident_mb(process, url)


def idle_percent(process: Popen[str]) -> float:
    """Give the share of one core that a program takes while nobody asks it anything."""
    # The clock of another process's processor time, to the nanosecond (Linux, clock_getcpuclockid(3)): what
    # psutil gives comes in steps of 10 ms, a fifth of what is measured here.
    used = ((~process.pid) << 3) | 2
    time.sleep(SETTLE_S)
    before_s, begun_s = time.clock_gettime(used), time.monotonic()
    time.sleep(IDLE_S)
    worked_s, spent_s = time.clock_gettime(used) - before_s, time.monotonic() - begun_s
    return 100 * worked_s / spent_s


def override(url: str, zone: str, until_s: float) -> None:
    """Override a zone: light until an instant."""
    until = datetime.fromtimestamp(until_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    body = json.dumps({"light": "on", "until": until}).encode()
    request = Request(
        f"{url}/v1/zones/{zone}/override", body, {"content-type": "application/json"}, method="PUT"
    )
    with urlopen(request, timeout=PATIENCE_S) as answer:
        answer.read()


def lateness_ms(folder: Path, *, meanwhile: Callable[[str], object] | None = None) -> list[float]:
    """Let every zone be lit again and again until an instant, and give how late each relay was let go of.

    ``meanwhile`` is done with the daemon's address again and again until that is over.
    """
    dice = random.Random(2027)
    late: list[float] = []
    with daemon(folder, script=PIN_RECORDER, program=NEVER) as (process, url, site):
        pins = Pins(process)
        zones = load_site(site).site.zones

        def keep_switching(zone: str, pin: int, times: int) -> None:
            left = times
            while left > 0:
                seen = pins.count(pin)
                until_s = round(time.time() + dice.uniform(0.4, 0.9), 3)
                try:
                    override(url, zone, until_s)
                except HTTPError:  # refused, as others ask for too much
                    continue
                except (OSError, HTTPException):  # cut off, but perhaps carried out
                    time.sleep(1.0)
                    continue
                late.append((pins.wait_for(pin, seen) - until_s) * 1000)
                left -= 1

        for zone in zones:
            pins.wait_for(zone.pin, 0)  # the relay was opened, dark
        times = ceil(SWITCHINGS / len(zones))
        threads = [threading.Thread(target=keep_switching, args=(each.id, each.pin, times)) for each in zones]
        if meanwhile is not None:
            threading.Thread(target=_repeat, args=(meanwhile, url), daemon=True).start()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    if len(late) < SWITCHINGS:
        raise ValueError(f"only {len(late)} switchings were measured")
    return late


def _repeat(work: Callable[[str], object], url: str) -> None:
    """Do something until the daemon has gone."""
    with contextlib.suppress(OSError, HTTPException):
        while True:
            work(url)


def quantile(values: list[float], share: float) -> float:
    """Give the value that a share of all does not exceed."""
    return sorted(values)[ceil(share * len(values)) - 1]


def ends_ms(folder: Path) -> float:
    """Give how long the daemon takes to end with its lights on, in milliseconds."""
    with daemon(folder, program="12:00 for 24h") as (process, _, _):
        return seconds_to_end(process) * 1000


def ends_with_a_hanging_disk_ms(folder: Path) -> float:
    """Give the same while a write hangs."""
    with daemon(folder, script=HANGING_DISK, program="12:00 for 24h") as (process, _, _):
        if out_of(process).readline() != "hanging\n":
            raise ValueError("the disk was to hang, and did not")
        return seconds_to_end(process) * 1000


def measure() -> list[Measurement]:
    """Measure one after the other; nothing of ours runs beside what is measured."""
    with TemporaryDirectory() as name:
        folders = [Path(name) / each for each in ("run", "late", "end", "hang")]
        for folder in folders:
            folder.mkdir()
        hello = hello_mb()
        with daemon(folders[0]) as (process, url, _):
            ours = resident_mb(process, url)
            idle = idle_percent(process)
        late = lateness_ms(folders[1])
        ends, hangs = ends_ms(folders[2]), ends_with_a_hanging_disk_ms(folders[3])
    if min(late) < 0:
        raise ValueError(f"a relay was let go of {-min(late):.3f} ms before its time")
    memory, processor, lateness, end, hanging = BENCHMARKS
    return [
        memory.measured(ours, hello),
        processor.measured(idle),
        lateness.measured(quantile(late, 0.99)),
        end.measured(ends),
        hanging.measured(hangs),
    ]
