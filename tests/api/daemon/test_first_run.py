"""The first run: when there is one, and how a relay is tried."""

import shutil
import signal
import socket
import subprocess
import time

import pytest
from playwright.sync_api import expect

from api.daemon.first_run import CLOSED_S, REST_S, Trial
from api.daemon.last_good import LAST_GOOD, is_first_run
from config.errors import RelayError
from config.file.loader import example_path, load_site
from controller.relays import Wire, open_relays
from tests.api.browser import browsing, needs_chromium
from tests.api.command import ROOT, command, environment, start
from tests.api.lines import LONG_S

WIRE = Wire(pin=17, active_high=False)


class Bench:
    """A trial on simulated pins, whose time passes only where it is slept through."""

    def __init__(self):
        self.now_s = 100.0
        self.relays = open_relays("simulated")
        self.seen: list[tuple[float, bool | None]] = []
        self.trial = Trial(lambda _board: self.relays, now_s=lambda: self.now_s, sleep=self.sleep)

    def sleep(self, seconds):
        self.seen.append((seconds, self.relays.read(WIRE)))
        self.now_s += seconds


def test_a_relay_is_closed_for_two_seconds_and_rests():
    """It opens again by itself, and is not closed anew before it has rested."""
    bench = Bench()
    bench.trial.blink("simulated", WIRE)
    assert bench.seen == [(0.0, None), (CLOSED_S, True)]
    assert bench.relays.read(WIRE) is None
    bench.now_s += 0.5
    bench.trial.blink("simulated", WIRE)
    assert bench.seen[2:] == [(pytest.approx(REST_S - 0.5), None), (CLOSED_S, True)]
    bench.trial.close()


def test_a_relay_is_let_go_of_whatever_happens():
    """A trial that is broken off leaves nothing closed, and the rest counts all the same."""
    bench = Bench()

    def fail(seconds):
        bench.sleep(seconds)
        if bench.relays.read(WIRE):
            raise RuntimeError("broken off")

    bench.trial._sleep = fail
    with pytest.raises(RuntimeError):
        bench.trial.blink("simulated", WIRE)
    assert bench.relays.read(WIRE) is None
    assert bench.trial._rested_s[17] == bench.now_s + REST_S


def test_without_the_library_of_the_pins_it_is_said(monkeypatch):
    """Nothing is opened, and the remedy is the daemon's own."""
    monkeypatch.setattr("controller.relays.find_spec", lambda _name: None)
    with pytest.raises(RelayError, match="needs lgpio"):
        Bench().trial.blink("gpio", WIRE)


def test_a_first_run_is_one_without_a_site_file_and_without_a_copy(tmp_path):
    """A link that leads nowhere, a last good copy, and a folder that is missing are no first run."""
    site, state = tmp_path / "garden.toml", tmp_path / "state"
    state.mkdir()
    assert is_first_run(site, state)
    assert not is_first_run(tmp_path / "no" / "garden.toml", state)
    (state / LAST_GOOD).write_text("x")
    assert not is_first_run(site, state)
    (state / LAST_GOOD).unlink()
    site.symlink_to("nowhere")
    assert not is_first_run(site, state)


def test_switching_off_needs_no_set_up(tmp_path):
    """With --relays-off a file that is missing is an error, as the unit calls it after every end."""
    done = start("run", tmp_path / "garden.toml", "--state", tmp_path, "--relays-off")
    assert done.returncode == 2
    assert "there is no such file" in done.stderr


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def fresh(tmp_path):
    """The program as it is started for the first time: its port, its site file, and the process."""
    port, site = free_port(), tmp_path / "garden.toml"
    words = command("run", site, "--state", tmp_path / "state", "--port", port)
    with (tmp_path / "log").open("w") as log:
        process = subprocess.Popen(words, cwd=ROOT, env=environment(), stderr=log)
    try:
        until_s = time.monotonic() + LONG_S
        while "set the garden up at" not in (tmp_path / "log").read_text("utf-8"):
            assert process.poll() is None, (tmp_path / "log").read_text("utf-8")
            assert time.monotonic() < until_s
            time.sleep(0.05)
        yield port, site, process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()


@needs_chromium
def test_a_fresh_board_is_lit_by_a_minute_of_clicks(fresh):
    """A phone's screen, three fields and a button: the file is there, and the same process is the daemon."""
    port, site, process = fresh
    with browsing() as (page, _):
        page.set_viewport_size({"width": 390, "height": 800})
        page.set_default_timeout(LONG_S * 1000)
        page.goto(f"http://127.0.0.1:{port}/")
        page.locator("#name").fill("Plum Tree Cottage")
        page.locator("#place").fill("51.221, -2.413")
        page.locator("#zone-1").fill("Garden path")
        page.get_by_role("button", name="Finish, and light the garden").click()
        expect(page.locator("#garden-path")).to_be_visible(timeout=LONG_S * 1000)
        light = page.get_by_role("button", name="Garden path: light for now")
        if light.count():
            light.click()
        expect(page.locator("#garden-path p").first).to_contain_text("lit", timeout=LONG_S * 1000)
    assert load_site(site).site.zones[0].id == "garden-path"
    process.send_signal(signal.SIGTERM)
    assert process.wait(LONG_S) == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_set_up(fresh, number):
    """The exit code is 0, and nothing was written; a reload ends nothing."""
    _, site, process = fresh
    process.send_signal(signal.SIGHUP)
    time.sleep(0.2)
    assert process.poll() is None
    process.send_signal(number)
    assert process.wait(LONG_S) == 0
    assert not site.exists()


def test_a_site_file_that_is_there_needs_no_set_up(tmp_path):
    """With --home as well, the daemon runs as ever."""
    site, port = tmp_path / "garden.toml", free_port()
    shutil.copyfile(example_path("one-zone"), site)
    words = command("run", site, "--state", tmp_path / "state", "--port", port, "--home")
    process = subprocess.Popen(words, cwd=ROOT, env=environment(), stderr=subprocess.PIPE, text=True)
    try:
        assert "Plum Tree Cottage" in process.stderr.readline()
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(LONG_S) == 0
        process.stderr.close()
