"""``leerie demo`` as a program: on a pipe, on a terminal, ended early, with a file of one's own."""

from __future__ import annotations

import contextlib
import os
import pty
import re
import select
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest

from api.demo.demo import choose_port
from api.web.server import HOST
from config.file.loader import example_path, load_site
from config.models.network import PORT
from tests.api.command import ROOT, command, environment

# Fast enough that seven hours take a second or two.
FAST = ["--pace", "12000"]


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """Give a folder for temporary files, which must be empty again at the end."""
    yield tmp_path
    assert list(tmp_path.iterdir()) == []


def test_a_whole_evening_from_beginning_to_end(folder: Path) -> None:
    """As a program, on a pipe: every zone is lit and put out, the totals are printed, and no file is left."""
    result = subprocess.run(
        command("demo", *FAST),
        cwd=ROOT,
        env=environment(TMPDIR=str(folder)),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    zones = load_site(example_path("full-property")).site.zones
    for each in zones:
        assert f"  {each.name} lit: " in result.stdout
        assert f"  {each.name} dark: " in result.stdout
        assert re.search(rf"^{each.name} +\d h \d\d m", result.stdout, re.MULTILINE)
    assert "The evening is over: " in result.stdout
    assert f"{2 * len(zones)} switchings; every relay was simulated." in result.stdout
    assert "leerie new" in result.stdout


def read_until(stream: int, what: bytes) -> bytes:
    """Read what a program writes until something is in it; at most a minute."""
    read, until = b"", time.monotonic() + 60
    while what not in read and time.monotonic() < until:
        ready, _, _ = select.select([stream], [], [], 1)
        if ready:
            try:
                read += os.read(stream, 65536)
            except OSError:  # a terminal says so when the program has ended
                break
    assert what in read, read
    return read


@pytest.mark.parametrize("name", [signal.SIGINT, signal.SIGTERM])
def test_the_page_is_live_and_a_signal_ends_it_cleanly(folder: Path, name: signal.Signals) -> None:
    """While it runs the API answers; Ctrl-C or SIGTERM prints the totals and ends with exit code 0."""
    with subprocess.Popen(
        command("demo", "--pace", "2000", "--stay"),
        cwd=ROOT,
        env=environment(TMPDIR=str(folder)),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        shown = read_until(running.stdout.fileno(), b"Pergola lit")
        address = re.search(r"http://127\.0\.0\.1:\d+/", shown.decode())
        assert address is not None
        with urlopen(f"{address[0]}health", timeout=10) as answer:
            assert answer.status == 200
        with urlopen(f"{address[0]}v1/zones", timeout=10) as answer:
            assert b'"front-path"' in answer.read()
        running.send_signal(name)
        rest = running.stdout.read().decode()
        assert running.wait(30) == 0
        assert running.stderr.read() == b""
    assert "Ended before the evening was over" in rest
    assert re.search(r"^Front path .* was still lit$", rest, re.MULTILINE)


def test_a_terminal_gets_the_picture(folder: Path) -> None:
    """On a terminal the picture stands in its place, and the summary under it."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        command("demo", *FAST, "--night", "2027-12-18"),
        cwd=ROOT,
        env=environment(TMPDIR=str(folder), TERM="xterm-256color", COLUMNS="100", LINES="40"),
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
    ) as running:
        os.close(theirs)
        shown = read_until(ours, b"asks here").decode()
        assert running.wait(30) == 0
    os.close(ours)
    assert "Sat 18 Dec 2027, EST" in shown
    assert "▲" in shown
    assert "●" in shown
    assert "Traceback" not in shown
    assert "The evening is over" in shown


def test_a_site_of_ones_own_is_shown_and_not_touched(tmp_path: Path) -> None:
    """Somebody's own file, even one for real pins, is played with simulated relays and stays as it is."""
    path = tmp_path / "own.toml"
    text = example_path("one-zone").read_text("utf-8").replace('board = "simulated"', 'board = "gpio"')
    path.write_text(text, "utf-8")
    assert load_site(path).site.relays.board == "gpio"
    before = path.read_bytes()
    result = subprocess.run(
        command("demo", path, *FAST),
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert result.returncode == 0, result.stderr
    assert f"leerie run {path}" in result.stdout
    assert path.read_bytes() == before


def test_a_taken_port_is_passed_over() -> None:
    """Where another program has the usual port the page takes any other."""
    with socket.socket() as other:
        other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        # If this fails it is taken already, which is as good.
        with contextlib.suppress(OSError):
            other.bind((HOST, PORT))
            other.listen()
        assert choose_port() == 0
