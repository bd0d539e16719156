"""The page: how much is sent and when it is first painted, screen by screen, and what ten open pages cost.

Chromium, without a window, opens each screen of a daemon with eight zones and a past of 400 nights on this
machine.
"""

from __future__ import annotations

import contextlib
import gzip
import re
import statistics
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.request import Request, urlopen

import psutil

from config.file.loader import load_site
from controller.calendar.periods import season_at
from tests.api.browser import browsing
from tests.bench.bench_daemon import daemon, hello_mb, lateness_ms, quantile
from tests.bench.benchmark import Benchmark, Measurement
from tests.bench.programs import PATIENCE_S, write_site
from tests.years import write_years

TODAY = datetime.now(UTC).date()
# An address of its own in each season: that of the season that was last over.
SEASON = "-".join(map(str, season_at(TODAY - timedelta(days=92), 0.0)))
PAST_NIGHTS = 400
SCREENS = {
    "/": "tonight",
    "/programs": "programs",
    "/programs/front-path": "one program",
    "/year": "the year",
    "/cost": "what it cost",
    "/lamps": "lamps and relays",
    "/what-if": "what if",
    "/cables": "cables and lamps",
    f"/report/{SEASON}": "the report",
    "/sheet": "the site sheet",
}
OPENINGS = 9
PAGES = 10
MOST_KB = 60
SETTLE_S = 3.0
BENCHMARKS = (
    *(
        Benchmark(what=f"the page: {name}, with scripts and styles, compressed", unit="kB", max_value=MOST_KB)
        for name in SCREENS.values()
    ),
    *(
        Benchmark(what=f"the page: {name}, first paint, median of {OPENINGS}", unit="ms", max_value=200)
        for name in SCREENS.values()
    ),
    Benchmark(what="resident memory, page open", unit="MB", reference="FastAPI hello", max_ratio=1.6),
    Benchmark(what="resident memory, every screen seen", unit="MB", reference="FastAPI hello", max_ratio=2),
    Benchmark(what=f"lateness of 200 switchings, {PAGES} pages open, p99", unit="ms", max_value=50),
)
PAINTED = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"


def fetch(url: str) -> tuple[int, bytes]:
    """Get something as a browser does: the bytes that were sent, and what they mean."""
    with urlopen(Request(url, headers={"accept-encoding": "gzip"}), timeout=PATIENCE_S) as answer:
        sent = answer.read()
        packed = answer.headers.get("content-encoding") == "gzip"
    return len(sent), gzip.decompress(sent) if packed else sent


def sent_kb(url: str, path: str) -> float:
    """Give how much a browser is sent that has nothing yet: the screen, and all that it names."""
    sent, html = fetch(url + path)
    names = set(re.findall(rb'"(/static/[^"]+)"', html))
    folder = next(iter(names), b"").rpartition(b"/")[0]
    known: set[bytes] = set()
    while names - known:
        for name in names - known:
            size, content = fetch(url + name.decode())
            sent += size
            known.add(name)
            names |= {folder + b"/" + each for each in re.findall(rb'"\./([\w.]+\.js)"', content)}
    return sent / 1000


def first_paint_ms(url: str, path: str) -> float:
    """Give when a screen is first painted by a browser that was here before: the median of some openings."""
    painted = []
    with browsing() as (page, _):
        page.goto(url + path)
        for _ in range(OPENINGS):
            page.goto("about:blank")
            page.goto(url + path)
            while (at_ms := page.evaluate(PAINTED)) is None:
                page.wait_for_timeout(20)
            painted.append(float(at_ms))
    return statistics.median(painted)


@contextmanager
def open_page(url: str) -> Iterator[None]:
    """Do what an open page does: listen to the events, and fetch the screen at each of them."""
    host = url.removeprefix("http://")
    stream = HTTPConnection(host, timeout=PATIENCE_S)
    stream.request("GET", "/v1/events")
    answer = stream.getresponse()

    def listen() -> None:
        with contextlib.suppress(OSError, HTTPException, ValueError, AttributeError):
            while line := answer.readline():
                if line.startswith(b"event:") and b"ping" not in line:
                    fetch(url + "/")

    threading.Thread(target=listen, daemon=True).start()
    try:
        yield
    finally:
        stream.close()


def memory_mb(folder: Path, seen: Iterable[str]) -> float:
    """Give what the daemon holds with a page open, after some screens were seen."""
    with daemon(folder) as (process, url, _):
        for path in seen:
            fetch(url + path)
        with open_page(url):
            for _ in range(20):
                fetch(url + "/")
            time.sleep(SETTLE_S)
            return float(psutil.Process(process.pid).memory_info().rss) / 1e6


def with_pages_open(url: str) -> None:
    """Keep ten pages open until the daemon has gone."""
    with contextlib.ExitStack() as stack:
        for _ in range(PAGES):
            stack.enter_context(open_page(url))
        while True:
            time.sleep(1.0)
            fetch(url + "/health")


def write_past(folder: Path) -> None:
    """Write the journal of the nights before today."""
    site = load_site(write_site(folder)).site
    write_years(folder / "state", site, TODAY - timedelta(days=PAST_NIGHTS), TODAY - timedelta(days=2))


def measure() -> list[Measurement]:
    """Measure sizes and paints, then memory, then lateness."""
    with TemporaryDirectory() as name:
        folders = [Path(name) / each for each in ("paint", "memory", "late", "all")]
        for folder in folders:
            folder.mkdir()
        write_past(folders[0])
        write_past(folders[3])
        with daemon(folders[0]) as (_, url, _site):
            sizes = [sent_kb(url, path) for path in SCREENS]
            paints = [first_paint_ms(url, path) for path in SCREENS]
        held, held_at_most = memory_mb(folders[1], []), memory_mb(folders[3], SCREENS)
        late = lateness_ms(folders[2], meanwhile=with_pages_open)
    *screens, memory, most, lateness = BENCHMARKS
    figures = [each.measured(figure) for each, figure in zip(screens, [*sizes, *paints], strict=True)]
    hello = hello_mb()
    return [
        *figures,
        memory.measured(held, hello),
        most.measured(held_at_most, hello),
        lateness.measured(quantile(late, 0.99)),
    ]
