"""The daemon's hooks: noon, a site file that was written, a reload that the keeper has no time for."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from api.daemon import hooks as hooks_module
from api.daemon import site_file as site_file_module
from api.daemon.hooks import DaemonHooks
from config.file.loader import load_site
from controller import relays
from controller.calendar.night import zone_info
from controller.clock.clock import SystemClock
from controller.clock.trust import RELEASED_UTC
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.loop import ControlLoop
from controller.records.entries import EventKind
from controller.relays import Relays
from tests.api.stand_in import House, SilentLoop, problem
from tests.controller.gpiod_stand_in import GpiodMachine
from tests.controller.kept import Board


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
            loaded=load_site(house.site_path),
        )
        self.hooks.maintenance = self.maintenance
        self.hooks.loop = cast("ControlLoop", house.loop)
        house.gateway.editing = self.hooks.site_file.editing
        house.gateway.on_site_written = self.hooks.on_site_written

    def write(self, old: str, new: str) -> None:
        """Change the site file by hand."""
        path = self.house.site_path
        path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    def status(self) -> dict[str, Any]:
        """What the API says of the site file."""
        return dict(self.house.get("/v1/status")["site_file"])

    def events(self, kind: EventKind) -> list[str]:
        """What the journal has of one kind."""
        self.house.journal.flush()
        return [each.words for each in self.house.gateway.reader.events() if each.kind is kind]


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
    assert runner.events(EventKind.SITE_CHANGED) == ["new time zone data"]


def test_a_site_file_that_is_read_again_leaves_new_time_zone_data_to_the_noon(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rules that were installed before the site file was written again are used from the next noon on."""
    before = runner.house.keeper.planner.tz
    monkeypatch.setattr(hooks_module, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    runner.hooks.on_site_written(load_site(runner.house.site_path))
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
    runner.write("[relays]", '[clock]\nbelieve = "always"\n\n[relays]')
    runner.hooks.on_reload()
    wait_for("reload")
    runner.house.ask("PUT", "/v1/zones/orchard/program", json={"program": ["dusk to 23:00"]})
    assert runner.clock.trust.believe == "always"
    copy = (tmp_path / "state" / "site.last-good.toml").read_bytes()
    assert copy == runner.house.site_path.read_bytes()
    assert b"dusk to 23:00" in copy


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


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have a file read at the first look that finds it changed."""
    monkeypatch.setattr(site_file_module, "STILL_S", 0.0)


def test_a_change_by_hand_is_in_the_status_until_it_is_read(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The status says when it was noticed, by the site's clock, and then that the file is in use."""
    look = runner.hooks.site_file.look
    look()
    in_use = {"summary": "in use", "changed_at": None, "refused": None}
    assert runner.status() == in_use
    runner.write("21:15", "22:15")
    look()
    words = "changed at 21:30, not read yet"
    assert runner.status() == {"summary": words, "changed_at": "2027-06-22T01:30:00Z", "refused": None}
    assert f"; site file {words}; " in runner.house.loop.status.words
    assert runner.house.get("/v1/zones/orchard")["lit"]
    monkeypatch.setattr(site_file_module, "STILL_S", 0.0)
    look()
    assert runner.status() == in_use
    assert not runner.house.get("/v1/zones/orchard")["lit"]
    assert runner.events(EventKind.SITE_CHANGED) == ["the site file was read again"]


@pytest.mark.usefixtures("at_once")
def test_a_change_that_is_refused_says_why_until_it_is_undone(
    runner: Runner, caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    """Every problem is in the log once, the first in the status; the last good copy stays as it was."""
    look = runner.hooks.site_file.look
    runner.hooks.on_reload()
    wait_for("reload")
    runner.write("pin = 27", "pin = 99")
    runner.write("count = 6", "count = 0")
    look()
    why = str(runner.status()["refused"])
    assert "count = 0" in why
    assert runner.status()["summary"] == f"refused: {why}"
    assert f"; site file refused: {why}; " in runner.house.loop.status.words
    assert caplog.text.count("pin = 99") == caplog.text.count("count = 0") == 1
    assert b"pin = 27" in (tmp_path / "state" / "site.last-good.toml").read_bytes()
    runner.write("pin = 99", "pin = 27")
    runner.write("count = 0", "count = 6")
    look()
    assert runner.status()["refused"] is None
    assert len(runner.events(EventKind.SITE_REFUSED)) == 1


@pytest.mark.usefixtures("at_once")
def test_new_time_zone_data_clears_no_refusal(runner: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is as wrong as before."""
    runner.write("pin = 27", "pin = 99")
    runner.hooks.site_file.look()
    monkeypatch.setattr(hooks_module, "tz_data_stamp", lambda _name: (("file", 1, 2, 3),))
    runner.hooks.on_noon()
    assert "pin = 99" in str(runner.status()["refused"])


@pytest.mark.usefixtures("at_once")
def test_a_board_without_its_library_is_refused_with_its_line(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand and, where it is in the file already, beside a program that is written over the API."""
    monkeypatch.setattr(hooks_module, "missing_library", lambda *_board: ("needs a library", "install it"))
    runner.write('board = "simulated"', 'board = "gpio"')
    runner.hooks.site_file.look()
    why = 'relays.board = "gpio": needs a library; install it'
    assert str(runner.status()["refused"]).endswith(f"site.toml:8: {why}")
    answer = runner.house.ask("PUT", "/v1/zones/orchard/program", json={"program": []})
    assert answer.status_code == 200
    assert str(runner.status()["refused"]).endswith(why)
    assert runner.house.get("/v1/status")["relays"]["simulated"]
    assert runner.house.keeper.site.zone("orchard").program == ()


@pytest.mark.usefixtures("at_once")
def test_another_board_is_used_at_once(runner: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
    """The relays in use are let go, the others are lit in the same round, and a later change keeps them."""
    pins = Board()
    monkeypatch.setattr(hooks_module, "missing_library", lambda *_board: None)
    monkeypatch.setattr(
        hooks_module, "open_relays", lambda board, *_: Relays(lambda: pins) if board == "gpio" else None
    )
    runner.write('board = "simulated"', 'board = "gpio"')
    runner.hooks.site_file.look()
    assert runner.status()["refused"] is None
    assert not runner.house.get("/v1/status")["relays"]["simulated"]
    assert pins.levels(17) == [0]
    answer = runner.house.ask("PUT", "/v1/zones/jetty/program", json={"program": []})
    assert answer.status_code == 200
    assert pins.levels(17) == [0, 1]


@pytest.mark.usefixtures("at_once")
def test_another_driver_is_used_at_once(runner: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same pins, through gpiod: the lines are let go by one driver and then taken by the other."""
    machine, opened = GpiodMachine(), []
    for name, module in machine.modules.items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.setattr(hooks_module, "missing_library", lambda *_board: None)

    def note_and_open(*board: Any) -> Relays:
        opened.append(board)
        return relays.open_relays(*board)

    monkeypatch.setattr(hooks_module, "open_relays", note_and_open)
    chip = 'chip = "/dev/gpiochip0"'
    runner.write('board = "simulated"', f'board = "gpio"\ndriver = "gpiod"\n{chip}')
    runner.hooks.site_file.look()
    assert opened == [("gpio", "gpiod", "/dev/gpiochip0")]
    assert machine.levels(17) == [0]
    assert machine.pin(17).consumer == "leerie"
    machine.chips["/dev/gpiochip1"] = machine.chips["/dev/gpiochip0"]
    runner.write(chip, 'chip = "/dev/gpiochip1"')
    runner.hooks.site_file.look()
    assert opened[1:] == [("gpio", "gpiod", "/dev/gpiochip1")]
    assert machine.levels(17)[:2] == [0, 1]


def test_an_edit_over_the_api_waits_for_a_change_by_hand(runner: Runner) -> None:
    """Refused as a file that was changed meanwhile, with nothing written; once that is read, it is let in."""
    runner.hooks.site_file.look()
    runner.write("21:15", "22:15")
    before = runner.house.site_path.read_bytes()
    body = {"program": ["dusk to 23:00"]}
    answer = runner.house.ask("PUT", "/v1/zones/jetty/program", json=body)
    words = problem(answer, "site-file-changed", at="/v1/zones/jetty/program")["detail"]
    assert words.endswith("was changed by hand and is not read yet; try again in a few seconds")
    assert runner.house.site_path.read_bytes() == before
    runner.hooks.on_reload()
    wait_for("reload")
    assert runner.house.ask("PUT", "/v1/zones/jetty/program", json=body).status_code == 200
    assert runner.events(EventKind.SITE_CHANGED) == [
        "the site file was read again",
        "the program of jetty was changed, by this board",
    ]
    runner.hooks.site_file.look()
    assert runner.status()["summary"] == "in use"


@pytest.mark.usefixtures("at_once")
def test_edits_by_hand_and_over_the_api_end_in_what_is_in_the_file(runner: Runner) -> None:
    """Two people at once, twenty times each: whoever was last, the keeper has the site that the file has."""
    done = threading.Event()
    path = runner.house.site_path

    def write_over_the_api() -> None:
        for number in range(20):
            body = {"program": [f"20:{number:02} to 23:00"]}
            runner.house.ask("PUT", "/v1/zones/orchard/program", json=body)
        done.set()

    def write_by_hand() -> None:
        for number in range(20):
            other = path.with_name("other.toml")
            text = path.read_text(encoding="utf-8")
            other.write_text(text.replace("Lodge", f"Lodge {number}", 1), encoding="utf-8")
            other.replace(path)

    threads = [threading.Thread(target=each) for each in (write_over_the_api, write_by_hand)]
    for thread in threads:
        thread.start()
    while not done.is_set():
        runner.hooks.site_file.look()
    for thread in threads:
        thread.join()
    runner.hooks.site_file.look()
    runner.hooks.site_file.look()
    assert runner.house.keeper.site == load_site(path).site
    assert runner.status()["summary"] == "in use"


def test_a_storm_of_signals_on_a_disk_that_hangs_leaves_two_threads(
    runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One reads, one waits to read once more, and no more are started."""
    goes_on = threading.Event()
    read_bytes = site_file_module.read_bytes

    def hang(path: Path) -> bytes:
        assert goes_on.wait(60)
        return read_bytes(path)

    monkeypatch.setattr(site_file_module, "read_bytes", hang)
    for _ in range(200):
        runner.hooks.on_reload()
    assert 1 <= [thread.name for thread in threading.enumerate()].count("reload") <= 2
    goes_on.set()
    wait_for("reload")


def test_the_end_is_reported_before_the_lights_go_out(
    received: Callable[[], list[str]], runner: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service manager receives STOPPING when a signal asks for the end, and the loop is stopped."""
    stopped: list[list[str]] = []
    monkeypatch.setattr(runner.hooks.loop, "stop", lambda: stopped.append(received()), raising=False)
    runner.hooks.on_stop()
    assert stopped == [["STOPPING", "STATUS"]]
