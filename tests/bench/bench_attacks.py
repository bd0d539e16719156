"""What attacks on the web server cost everybody else: how late lights are, and how long a person waits.

They are those of tests/api/attacks, on a daemon with eight zones. All of them at once go on over three
minutes at which zones are switched; how late that was is read from the journal. There is no reference.
"""

from __future__ import annotations

import contextlib
import resource
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import trustme

from tests.api.attacks.attackers import (
    BOARD,
    OVERRIDE,
    ZONE,
    Answer,
    ask,
    besiege,
    cross_site_gets,
    heavy_gets,
    slow_ones,
)
from tests.api.lines import wait_for_ends
from tests.bench.benchmark import Benchmark, Measurement
from tests.process.daemon import Daemon, running

ENCRYPTED = "127.9.0.4"
ZONES = 8
# The attacks have begun so long before the first minute, at least.
BEFORE_S = 20.0
OPEN_FILES = 8192
SLOW = 250
TRIES = 10
BENCHMARKS = (
    Benchmark(
        what=f"all attacks at once: lateness of {2 * ZONES} switchings, worst", unit="ms", max_value=250
    ),
    Benchmark(what="status while 60 cross-site requests are refused, worst", unit="ms", max_value=1000),
    Benchmark(what="an override while 60 heavy requests wait, worst", unit="ms", max_value=1000),
    Benchmark(
        what=f"{4 * (200 + SLOW)} slow heads, bodies, TLS handshakes: until all are gone",
        unit="s",
        max_value=11,
    ),
)
SITE = """\
[site]
name = "Saltmarsh Lodge"
latitude = 41.4901
longitude = -71.3128
time_zone = "{time_zone}"

[network]
listen = ["{listen}"]
certificate = "{pem}"

[clock]
believe = "always"

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[[zones]]
id = "jetty"
pin = 17
program = ["dusk to dawn"]
"""


def write_site(folder: Path, first_utc: datetime) -> Path:
    """Write a site: half of the zones are lit in the minute from an instant on, half in the next one."""
    made, pem = trustme.CA().issue_cert(ENCRYPTED), folder / "both.pem"
    made.private_key_and_cert_chain_pem.write_to_path(pem)
    # No night may end meanwhile: it does at noon.
    time_zone = "Asia/Tokyo" if first_utc.hour in (11, 12) else "UTC"
    hours = timedelta(hours=9) if time_zone == "Asia/Tokyo" else timedelta()
    text = SITE.format(time_zone=time_zone, listen=ENCRYPTED, pem=pem)
    for number in range(ZONES):
        on = first_utc + hours + timedelta(minutes=number % 2)
        span = f"{on:%H:%M} to {on + timedelta(minutes=1):%H:%M}"
        text += f'\n[[zones]]\nid = "z{number}"\npin = {number + 4}\nprogram = ["{span}"]\n'
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


@contextmanager
def daemon(folder: Path, first_utc: datetime) -> Iterator[Daemon]:
    """Run the daemon on such a site."""
    with running(write_site(folder, first_utc), folder / "state") as started:
        started.wait_for_api()
        yield started


def lateness_ms(folder: Path) -> list[float]:
    """Give how late each switching was while every attack went on, by the journal."""
    now_utc = datetime.now(UTC) + timedelta(seconds=BEFORE_S + 5)
    first_utc = now_utc.replace(second=0, microsecond=0) + timedelta(minutes=1)
    last_utc = first_utc + timedelta(minutes=2)
    with daemon(folder, first_utc) as started:
        siege = besiege(started, encrypted=ENCRYPTED)
        if (first_utc - datetime.now(UTC)).total_seconds() < BEFORE_S:
            raise ValueError("the attacks did not begin in time")
        time.sleep((last_utc - datetime.now(UTC)).total_seconds() + 5)
        siege.end()
        started.stop()
        switchings = [each for each in started.switchings if each.zone != "jetty"]
    if len(switchings) != 2 * ZONES:
        raise ValueError(f"{len(switchings)} switchings were recorded, not {2 * ZONES}")
    late_s = []
    for each in switchings:
        due_utc = first_utc + timedelta(minutes=int(each.zone[1:]) % 2 + (not each.on))
        late_s.append((each.at.utc - due_utc).total_seconds())
    return [each * 1000 for each in late_s]


def worst_ms(work: Callable[[], Answer | None]) -> float:
    """Give the longest time that something takes, of some tries; each must go well."""
    spent_s = []
    for _ in range(TRIES):
        begun_s = time.perf_counter()
        answer = work()
        spent_s.append(time.perf_counter() - begun_s)
        if answer is None or answer.status != 200:
            raise ValueError(f"not answered well: {answer}")
        time.sleep(0.2)
    return max(spent_s) * 1000


def status_ms(started: Daemon) -> float:
    """Give how long status takes while another site's page asks for much, without end."""
    over = threading.Event()

    def attack() -> None:
        while not over.is_set():
            with contextlib.suppress(OSError):
                cross_site_gets(started)

    attacker = threading.Thread(target=attack)
    attacker.start()
    try:
        return worst_ms(lambda: ask(started, "GET", "/v1/status"))
    finally:
        over.set()
        attacker.join()


def override_ms(started: Daemon) -> float:
    """Give how long an override takes while sixty long answers are asked for."""
    spent_ms = []
    for _ in range(TRIES):
        with heavy_gets(started):
            begun_s = time.perf_counter()
            answer = ask(started, "PUT", f"{ZONE}/override", OVERRIDE)
            spent_ms.append((time.perf_counter() - begun_s) * 1000)
        if answer is None or answer.status != 200:
            raise ValueError(f"no override was made: {answer}")
    return max(spent_ms)


def slow_s(started: Daemon) -> float:
    """Give how long it takes until the last of many connections that never finish what they begin is gone."""
    with slow_ones(started, SLOW, encrypted=ENCRYPTED) as lines:
        begun_s = time.perf_counter()
        wait_for_ends(lines)
        spent_s = time.perf_counter() - begun_s
    if ask(started, "GET", "/health", source=BOARD) is None:
        raise ValueError("nobody is served afterwards")
    return spent_s


def measure() -> list[Measurement]:
    """Attack one daemon with everything at once, and another with one attack after the other."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most if 0 <= most < OPEN_FILES else OPEN_FILES, most))
    with TemporaryDirectory() as name:
        folders = [Path(name) / each for each in ("late", "waits")]
        for folder in folders:
            folder.mkdir()
        late_ms = lateness_ms(folders[0])
        if min(late_ms) < 0:
            raise ValueError(f"a zone was switched {-min(late_ms):.0f} ms before its time")
        with daemon(folders[1], datetime.now(UTC) + timedelta(hours=3)) as started:
            waits = [status_ms(started), override_ms(started), slow_s(started)]
    return [each.measured(value) for each, value in zip(BENCHMARKS, (max(late_ms), *waits), strict=True)]
