"""How much memory the longest questions take, after 30 years with eight zones, and whom they keep waiting.

Of a request: the most that a fresh daemon holds while it answers, less what it held before, with the API up
and nothing but its status asked for. Of a command: the most that it holds, less the same for a night or two.
And while the longest answer is being made: how long others wait for theirs, and how late relays switch.
"""

from __future__ import annotations

import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote
from urllib.request import urlopen

from config.file.loader import load_site
from tests.bench.bench_daemon import daemon, lateness_ms, quantile
from tests.bench.benchmark import Benchmark, Measurement
from tests.bench.programs import out_of, python, wait_until_it_answers, write_site
from tests.years import write_years

YEARS = 30
MOST_MB = 20
# As long as the slowest answer may take on a slow machine.
PATIENCE_S = 900.0
CHUNK_BYTES = 65_536
SETTLE_S = 1.0
REQUESTS = 20
PAUSE_S = 0.02
TODAY = datetime.now(UTC).date()
FIRST = TODAY - timedelta(days=YEARS * 365)
YESTERDAY = TODAY - timedelta(days=1)
TEN_YEARS = f"{TODAY - timedelta(days=3650)} to {YESTERDAY}"
LONGEST = "/v1/hours?by=night&all=true"
SHORT = "/v1/hours?by=night"
# What to ask the daemon for, and what that is.
REQUESTED = {
    LONGEST: f"GET /v1/hours, {YEARS} years night by night",
    f"{LONGEST}&beside=last-year&beside=forecast": "the same, with last year and the forecast beside it",
    f"{LONGEST}&format=csv": f"GET /v1/hours, {YEARS} years night by night, as CSV",
    "/v1/hours?by=whole": "GET /v1/hours, all nights in one sum",
    f"/v1/nights?from={TODAY}&to={TODAY + timedelta(days=799)}": "GET /v1/nights, 800 nights",
    f"/v1/switchings?from={FIRST}&limit=1000": "GET /v1/switchings, 1,000 of them",
    f"/v1/report/{quote(TEN_YEARS)}": "GET /v1/report, ten years",
    "/v1/year.svg?kind=past": "GET /v1/year.svg, what ran",
    "/v1/wiring": "GET /v1/wiring",
}
# Each command with what makes it long, and with what keeps it short.
_ONE_NIGHT = ("--from", YESTERDAY, "--to", YESTERDAY)
_ALL_NIGHTS = ("--by", "night", "--all")
COMMANDS = {
    f"leerie hours, {YEARS} years night by night": (("hours", *_ALL_NIGHTS), ("hours", *_ONE_NIGHT)),
    f"leerie hours, {YEARS} years night by night, as JSON": (
        ("hours", "--json", *_ALL_NIGHTS),
        ("hours", "--json", *_ONE_NIGHT),
    ),
    f"leerie hours, {YEARS} years night by night, as CSV": (
        ("hours", "--csv", *_ALL_NIGHTS),
        ("hours", "--csv", *_ONE_NIGHT),
    ),
    "leerie hours, all nights in one sum": (("hours", "--by", "whole"), ("hours", *_ONE_NIGHT)),
    "leerie nights, ten years": (
        ("nights", "--from", TODAY, "--to", TODAY + timedelta(days=3652)),
        ("nights", *_ONE_NIGHT),
    ),
    "leerie report, ten years": (("report", TEN_YEARS), ("report", f"{YESTERDAY}")),
    "leerie year": (("year", "--json"), ("nights", *_ONE_NIGHT)),
    f"leerie backup of {YEARS} years": (("backup",), ("nights", *_ONE_NIGHT)),
}
BENCHMARKS = (
    *(Benchmark(what=f"memory: {what}", unit="MB", max_value=MOST_MB) for what in REQUESTED.values()),
    *(Benchmark(what=f"memory: {what}", unit="MB", max_value=MOST_MB) for what in COMMANDS),
    Benchmark(what="GET /v1/status while the longest answer is made, p99", unit="ms", max_value=100),
    Benchmark(what="GET /v1/hours, 14 nights, meanwhile, p99", unit="ms", max_value=1000),
    Benchmark(what="lateness of 200 switchings meanwhile, p99", unit="ms", max_value=50),
)
# Runs a command, and prints its exit code and the most that it held, in kilobytes.
MEASURED = """
import resource, subprocess, sys
command = [sys.executable, "-m", "api.cli.main", *sys.argv[1:]]
code = subprocess.call(command, stdout=subprocess.DEVNULL)
print(code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


@contextmanager
def old_daemon(journal: Path) -> Iterator[tuple[int, str]]:
    """Run a daemon on a copy of the journal: its process id, and its address."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(journal, folder / "state")
        with daemon(folder) as (process, url, _):
            for _ in range(REQUESTS):
                wait_until_it_answers(f"{url}/v1/status")
            time.sleep(SETTLE_S)
            yield process.pid, url


def held_mb(pid: int, field: str) -> float:
    """Read how much a process holds (VmRSS), or held at most (VmHWM): proc(5)."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines():
        if line.startswith(f"{field}:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise ValueError(f"the kernel does not tell {field}")


def read_all(url: str) -> None:
    """Read an answer to its end, and keep none of it."""
    with urlopen(url, timeout=PATIENCE_S) as answer:
        while answer.read(CHUNK_BYTES):
            pass


def request_mb(journal: Path, path: str) -> float:
    """Give by how much a daemon grows while it answers one request."""
    with old_daemon(journal) as (pid, url):
        before_mb = held_mb(pid, "VmRSS")
        # From here on the most is counted anew: proc(5), clear_refs.
        Path(f"/proc/{pid}/clear_refs").write_text("5", encoding="utf-8")
        read_all(f"{url}{path}")
        return held_mb(pid, "VmHWM") - before_mb


def command_mb(site: Path, journal: Path, folder: Path, words: tuple[object, ...]) -> float:
    """Give the most that a command holds."""
    command, *options = words
    state: tuple[object, ...] = () if command in ("nights", "year") else ("--state", journal)
    files: tuple[object, ...] = {
        "backup": (folder / "copy.sqlite",),
        "report": (*options, "--out", folder / "report.html"),
    }.get(str(command), tuple(options))
    with python(MEASURED, command, site, *files, *state) as process:
        code, kilobytes = out_of(process).read().split()
    for made in ("copy.sqlite", "report.html"):
        (folder / made).unlink(missing_ok=True)
    if code != "0":
        raise ValueError(f"leerie {' '.join(map(str, words))} ended with exit code {code}")
    return int(kilobytes) * 1024 / 1e6


def waits_ms(journal: Path) -> tuple[list[float], list[float]]:
    """Give how long status, and the hours of 14 nights, are waited for while the longest answer is made."""
    with old_daemon(journal) as (_, url):
        read_all(f"{url}{SHORT}")  # the year ahead is worked out once a night
        longest = threading.Thread(target=read_all, args=(f"{url}{LONGEST}",))
        longest.start()
        waited: dict[str, list[float]] = {"/v1/status": [], SHORT: []}
        while longest.is_alive():
            for path, spent_ms in waited.items():
                begun_s = time.perf_counter()
                read_all(f"{url}{path}")
                spent_ms.append((time.perf_counter() - begun_s) * 1000)
                time.sleep(PAUSE_S)
    # The last may have been answered when all was over.
    return waited["/v1/status"][:-1], waited[SHORT][:-1]


def lateness_meanwhile_ms(journal: Path) -> list[float]:
    """Give how late relays are let go of while the longest answer is made."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copytree(journal, folder / "state")
        return lateness_ms(folder, meanwhile=lambda url: read_all(f"{url}{LONGEST}"))


def measure() -> list[Measurement]:
    """Build 30 years up to yesterday, and ask for the most that there is."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        site, journal = write_site(folder), folder / "state"
        write_years(journal, load_site(site).site, FIRST, YESTERDAY)
        figures = [request_mb(journal, path) for path in REQUESTED]
        for long, short in COMMANDS.values():
            least_mb = command_mb(site, journal, folder, short)
            figures.append(command_mb(site, journal, folder, long) - least_mb)
        status_ms, hours_ms = waits_ms(journal)
        figures += [quantile(status_ms, 0.99), quantile(hours_ms, 0.99)]
        figures.append(quantile(lateness_meanwhile_ms(journal), 0.99))
    return [each.measured(figure) for each, figure in zip(BENCHMARKS, figures, strict=True)]
