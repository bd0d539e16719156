"""The errands between the rooms: noon, a file that was written, a reload that nobody has time for."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from api.daemon import hooks as errands_room
from api.daemon.hooks import DaemonHooks
from config.file.loader import load_site
from controller.calendar.night import zone_info
from controller.clock.clock import SystemClock
from controller.clock.trust import RELEASED_UTC
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.loop import ControlLoop
from controller.records.entries import EventKind
from tests.api.stand_in import House, SilentRounds


class CopyingMaintenance(JournalMaintenance):
    """Notes the nights of which a copy is wanted."""

    def __init__(self, house: House) -> None:
        super().__init__(house.journal, clock=house.clock, past=None, learn=lambda _past: None)
        self.nights: list[date] = []

    def back_up(self, night: date) -> None:
        self.nights.append(night)


class Runner:
    """Errands in a house that stands still."""

    def __init__(self, house: House, state: Path) -> None:
        self.house = house
        self.clock = SystemClock(floor_utc=RELEASED_UTC)
        self.maintenance = CopyingMaintenance(house)
        self.errands = DaemonHooks(
            site_path=house.site_path,
            state=state,
            clock=self.clock,
            maintenance=self.maintenance,
            site=house.keeper.site,
        )
        self.errands.rounds = cast("ControlLoop", house.rounds)


@pytest.fixture
def runner(house: House, tmp_path: Path) -> Runner:
    return Runner(house, tmp_path / "state")


def wait_for(name: str) -> None:
    """Wait for what runs in the background under a name."""
    for thread in threading.enumerate():
        if thread.name == name:
            thread.join(30)


def test_noon_has_the_night_copied(runner: Runner) -> None:
    """The journal's copy is named by the night that is on."""
    runner.errands.at_noon()
    assert runner.maintenance.nights == [date(2027, 6, 21)]


def test_new_time_zone_data_is_taken_at_noon_and_only_then(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing where the files are as they were; else the keeper goes by the new rules, told once."""
    before = runner.house.keeper.planner.tz
    runner.errands.at_noon()
    assert runner.house.keeper.planner.tz is before
    monkeypatch.setattr(errands_room, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    for _ in range(2):
        runner.errands.at_noon()
    assert runner.house.keeper.planner.tz is not before
    runner.house.journal.flush()
    changed = [each for each in runner.house.desk.journal.events() if each.kind is EventKind.SITE_CHANGED]
    assert [event.words for event in changed] == ["new time zone data"]


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

    monkeypatch.setattr(errands_room, "reload_zone", reload_zone)
    monkeypatch.setattr(errands_room, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    with pytest.raises(ValueError, match="half a file"):
        runner.errands.at_noon()
    runner.errands.at_noon()
    assert found == []


def test_a_file_that_was_written_over_the_api_is_followed_in_every_way(
    runner: Runner, tmp_path: Path
) -> None:
    """Whoever edited it by hand before: what it says of the clock counts, and the copy is of this file."""
    path = runner.house.site_path
    path.write_text(path.read_text(encoding="utf-8") + '\n[clock]\nbelieve = "always"\n', encoding="utf-8")
    runner.house.keeper.change_site(load_site(path).site, words="written")
    runner.errands.site_written()
    assert runner.clock.believe == "always"
    assert (tmp_path / "state" / "site.last-good.toml").read_bytes() == path.read_bytes()


def test_the_floor_of_the_clock_follows_trusted_rounds_alone(runner: Runner) -> None:
    """What was trusted once is never believed to be still to come."""
    runner.errands.after_round(runner.house.keeper.status())
    assert runner.clock.floor_utc == runner.house.clock.utc
    runner.house.clock.trusted = False
    runner.house.clock.utc = datetime(2037, 1, 1, tzinfo=UTC)
    runner.house.rounds.run_once()
    runner.errands.after_round(runner.house.keeper.status())
    assert runner.clock.floor_utc < datetime(2028, 1, 1, tzinfo=UTC)


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Callable[[], list[str]]]:
    """Stand for the service manager: give what it was told so far."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(str(tmp_path / "notify"))
    listener.setblocking(False)
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))

    def lines() -> list[str]:
        told: list[str] = []
        while True:
            try:
                told += listener.recv(4096).decode().splitlines()
            except BlockingIOError:
                return [line.split("=")[0] for line in told]

    yield lines
    listener.close()


def test_a_reload_is_told_from_beginning_to_end(heard: Callable[[], list[str]], runner: Runner) -> None:
    """The service manager waits for the end of a reload, whether the file was taken or refused."""
    for text in ("", "nonsense"):
        runner.house.site_path.write_text(runner.house.site_path.read_text(encoding="utf-8") + text)
        runner.errands.reload()
        wait_for("reload")
        told = heard()
        assert told[0] == "RELOADING"
        assert "READY" in told
    assert runner.house.keeper.status().refused


def test_a_reload_that_the_keeper_has_no_time_for_ends_and_can_be_asked_again(
    heard: Callable[[], list[str]], runner: Runner, caplog: pytest.LogCaptureFixture
) -> None:
    """It is a line in the log; the service manager is not left waiting, and the next signal is followed."""
    runner.errands.rounds = cast("ControlLoop", SilentRounds(runner.house.keeper))
    runner.errands.reload()
    wait_for("reload")
    assert "the site file was not read again" in caplog.text
    assert "READY" in heard()
    runner.errands.rounds = cast("ControlLoop", runner.house.rounds)
    path = runner.house.site_path
    path.write_text(path.read_text(encoding="utf-8").replace("Saltmarsh Lodge", "Another Lodge"))
    runner.errands.reload()
    wait_for("reload")
    assert runner.house.keeper.site.name == "Another Lodge"
