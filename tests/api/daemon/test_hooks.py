"""The daemon's hooks: noon, a site file that was written, a reload that the keeper has no time for."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from api.daemon import hooks as hooks_module
from api.daemon.hooks import DaemonHooks
from config.file.loader import load_site
from controller.calendar.night import zone_info
from controller.clock.clock import SystemClock
from controller.clock.trust import RELEASED_UTC
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.loop import ControlLoop
from controller.records.entries import EventKind
from tests.api.stand_in import House, SilentLoop


class CopyingMaintenance(JournalMaintenance):
    """Records the nights of which a backup is wanted."""

    def __init__(self, house: House) -> None:
        super().__init__(house.journal, clock=house.clock, past=None, learn=lambda _past: None)
        self.nights: list[date] = []

    def back_up(self, night: date) -> None:
        self.nights.append(night)


class Runner:
    """The hooks of a daemon that stands still."""

    def __init__(self, house: House, state: Path) -> None:
        self.house = house
        self.clock = SystemClock(floor_utc=RELEASED_UTC)
        self.maintenance = CopyingMaintenance(house)
        self.hooks = DaemonHooks(
            site_path=house.site_path,
            state=state,
            clock=self.clock,
            site=house.keeper.site,
        )
        self.hooks.maintenance = self.maintenance
        self.hooks.loop = cast("ControlLoop", house.loop)


@pytest.fixture
def runner(house: House, tmp_path: Path) -> Runner:
    return Runner(house, tmp_path / "state")


def wait_for(name: str) -> None:
    """Wait for what runs in the background under a name."""
    for thread in threading.enumerate():
        if thread.name == name:
            thread.join(30)


def test_noon_backs_up_the_journal(runner: Runner) -> None:
    """The journal's backup is named by the night that is on."""
    runner.hooks.on_noon()
    assert runner.maintenance.nights == [date(2027, 6, 21)]


def test_new_time_zone_data_is_taken_at_noon_and_only_then(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing while the files stay as they were; else the keeper uses the new rules, recorded once."""
    before = runner.house.keeper.planner.tz
    runner.hooks.on_noon()
    assert runner.house.keeper.planner.tz is before
    monkeypatch.setattr(hooks_module, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    for _ in range(2):
        runner.hooks.on_noon()
    assert runner.house.keeper.planner.tz is not before
    runner.house.journal.flush()
    changed = [each for each in runner.house.gateway.reader.events() if each.kind is EventKind.SITE_CHANGED]
    assert [event.words for event in changed] == ["new time zone data"]


def test_a_site_file_that_is_read_again_leaves_new_time_zone_data_to_the_noon(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rules that were installed before the site file was written again are used from the next noon on."""
    before = runner.house.keeper.planner.tz
    monkeypatch.setattr(hooks_module, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    runner.hooks.on_site_written()
    runner.hooks.on_noon()
    assert runner.house.keeper.planner.tz is not before


def test_time_zone_data_that_cannot_be_read_is_tried_again_the_next_noon(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An update that is only half there keeps the old rules; once it is whole, the new ones are taken."""
    found: list[Any] = [ValueError("half a file"), zone_info("America/New_York")]

    def reload_zone(_name: str) -> Any:
        each = found.pop(0)
        if isinstance(each, Exception):
            raise each
        return each

    monkeypatch.setattr(hooks_module, "reload_zone", reload_zone)
    monkeypatch.setattr(hooks_module, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    with pytest.raises(ValueError, match="half a file"):
        runner.hooks.on_noon()
    runner.hooks.on_noon()
    assert found == []


def test_a_file_that_was_written_over_the_api_is_used_in_every_way(runner: Runner, tmp_path: Path) -> None:
    """Also for what was edited by hand before: its clock setting counts, and the copy is of this file."""
    path = runner.house.site_path
    path.write_text(path.read_text(encoding="utf-8") + '\n[clock]\nbelieve = "always"\n', encoding="utf-8")
    runner.house.keeper.change_site(load_site(path).site, words="written")
    runner.hooks.on_site_written()
    assert runner.clock.trust.believe == "always"
    assert (tmp_path / "state" / "site.last-good.toml").read_bytes() == path.read_bytes()


def test_the_floor_of_the_clock_follows_trusted_rounds_alone(runner: Runner) -> None:
    """An instant that was trusted once is never taken for the future."""
    runner.hooks.on_round(runner.house.keeper.status())
    assert runner.clock.trust.floor_utc == runner.house.clock.utc
    runner.house.clock.trusted = False
    runner.house.clock.utc = datetime(2037, 1, 1, tzinfo=UTC)
    runner.house.loop.run_once()
    runner.hooks.on_round(runner.house.keeper.status())
    assert runner.clock.trust.floor_utc < datetime(2028, 1, 1, tzinfo=UTC)


@pytest.fixture
def received(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Callable[[], list[str]]]:
    """Stand in for the service manager: give what it has received so far."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(str(tmp_path / "notify"))
    listener.setblocking(False)
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))

    def lines() -> list[str]:
        names: list[str] = []
        while True:
            try:
                names += listener.recv(4096).decode().splitlines()
            except BlockingIOError:
                return [line.split("=")[0] for line in names]

    yield lines
    listener.close()


def test_a_reload_is_reported_from_beginning_to_end(
    received: Callable[[], list[str]], runner: Runner
) -> None:
    """The service manager waits for the end of a reload, whether the file was taken or refused."""
    for text in ("", "nonsense"):
        runner.house.site_path.write_text(runner.house.site_path.read_text(encoding="utf-8") + text)
        runner.hooks.on_reload()
        wait_for("reload")
        names = received()
        assert names[0] == "RELOADING"
        assert "READY" in names
    assert runner.house.keeper.status().refused


def test_a_reload_that_the_keeper_has_no_time_for_ends_and_can_be_repeated(
    received: Callable[[], list[str]], runner: Runner, caplog: pytest.LogCaptureFixture
) -> None:
    """It is a line in the log; the service manager is not left waiting, and the next signal is followed."""
    runner.hooks.loop = cast("ControlLoop", SilentLoop(runner.house.keeper))
    runner.hooks.on_reload()
    wait_for("reload")
    assert "the site file was not read again" in caplog.text
    assert "READY" in received()
    runner.hooks.loop = cast("ControlLoop", runner.house.loop)
    path = runner.house.site_path
    path.write_text(path.read_text(encoding="utf-8").replace("Saltmarsh Lodge", "Another Lodge"))
    runner.hooks.on_reload()
    wait_for("reload")
    assert runner.house.keeper.site.name == "Another Lodge"


def test_the_end_is_reported_before_the_lights_go_out(
    received: Callable[[], list[str]], runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service manager receives STOPPING when a signal asks for the end, and the loop is stopped."""
    stopped: list[list[str]] = []
    monkeypatch.setattr(runner.hooks.loop, "stop", lambda: stopped.append(received()), raising=False)
    runner.hooks.on_stop()
    assert stopped == [["STOPPING", "STATUS"]]
