"""Programs for the benches to start: ours, with a recorder of its pins, and the reference programs."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from urllib.error import URLError
from urllib.request import urlopen

from config.file.loader import example_path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0

# Prints a line for every relay that is set: its pin, lit or dark, the wall clock, and the clock that all
# processes share. The program itself is started unchanged.
PIN_RECORDER = """
import os, time
from controller import relays

really_set = relays.Relays.set

def set(self, wire, *, on):
    really_set(self, wire, on=on)
    os.write(1, b"%d %d %.6f %.6f\\n" % (wire.pin, on, time.time(), time.monotonic()))

relays.Relays.set = set
"""
RUN = "from api.cli.main import main\nmain()\n"


@dataclass(frozen=True, kw_only=True)
class PinSet:
    """One setting of a relay: when, by the wall clock and by the clock that all processes share."""

    pin: int
    on: bool
    at_s: float
    at_monotonic_s: float

    @classmethod
    def read(cls, out: Iterable[str]) -> Iterator[PinSet]:
        """Read the lines of the pin recorder, among what the program itself prints."""
        for line in out:
            if line[:1].isdigit():
                pin, on, at_s, at_monotonic_s = line.split()
                yield cls(pin=int(pin), on=on == "1", at_s=float(at_s), at_monotonic_s=float(at_monotonic_s))


def write_site(folder: Path, *, program: str = "") -> Path:
    """Write the largest example, eight zones, with a clock that is believed and no rest and no stagger.

    Args:
        folder: where to.
        program: one span for every zone and night in place of its own; the zones' own programs where empty.
    """
    text = example_path("full-property").read_text(encoding="utf-8")
    for key, value in (("rest_s", "0"), ("stagger_s", "0"), ("believe", '"always"')):
        text, found = re.subn(rf"^{key} = \S+", f"{key} = {value}", text, flags=re.MULTILINE)
        if found != 1:
            raise ValueError(f"the example has {found} lines with {key}")
    if program:
        # Those of special nights too.
        text = re.sub(r"^( *)program = .*$", rf'\1program = ["{program}"]', text, flags=re.MULTILINE)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def free_port() -> int:
    """Find a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def python(program: str, *args: object) -> Iterator[subprocess.Popen[str]]:
    """Start a Python program whose output can be read; at the end of the block it has ended."""
    # As installed: with its bytecode written, whatever the shell of whoever measures says of that.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen(
        [sys.executable, "-c", program, *(str(arg) for arg in args)],
        cwd=ROOT,
        env={**environment, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        out_of(process).close()


def out_of(process: subprocess.Popen[str]) -> IO[str]:
    """Give the standard output of a program that was started for it."""
    assert process.stdout is not None, "it was started with a pipe"
    return process.stdout


def daemon_arguments(site: Path, state: Path, port: int) -> tuple[object, ...]:
    """Give the command line of the daemon."""
    return ("run", site, "--state", state, "--port", port)


def wait_until_it_answers(url: str) -> None:
    """Wait for the first answer of a web server."""
    until_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urlopen(url, timeout=PATIENCE_S) as answer:
                answer.read()
                return
        except URLError:
            if time.monotonic() > until_s:
                raise
            time.sleep(0.05)


def seconds_to_end(process: subprocess.Popen[str]) -> float:
    """Ask a program to end, and give how long that took; it must end well."""
    begun_s = time.perf_counter()
    process.send_signal(signal.SIGTERM)
    code = process.wait(PATIENCE_S)
    spent_s = time.perf_counter() - begun_s
    if code != 0:
        raise ValueError(f"it ended with exit code {code}")
    return spent_s
