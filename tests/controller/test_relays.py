"""The relays: opened without a click, read back, and no fault of one reaching another."""

from __future__ import annotations

import os
import sys
from itertools import groupby
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from gpiozero import OutputDevice
from gpiozero.exc import PinUnknownPi
from gpiozero.pins.pi import PiBoardInfo

from config.errors import RelayError
from controller import relays as relays_module
from controller.relays import (
    Relays,
    Wire,
    choose_driver,
    gpio_board,
    missing_library,
    open_relays,
    simulated_board,
)
from tests.controller.gpiod_stand_in import GpiodMachine
from tests.controller.kept import Board

LOW = Wire(pin=17, active_high=False)
HIGH = Wire(pin=27, active_high=True)


@pytest.fixture(params=["gpiozero", "gpiod"])
def board(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Board | GpiodMachine:
    """Give the pins that a driver drives: every test that takes them holds for both."""
    if request.param == "gpiozero":
        return Board()
    machine = GpiodMachine()
    for name, module in machine.modules.items():
        monkeypatch.setitem(sys.modules, name, module)
    return machine


@pytest.fixture
def relays(board: Board | GpiodMachine) -> Relays:
    if isinstance(board, Board):
        return Relays(lambda: board)
    return open_relays("gpio", "gpiod", "/dev/gpiochip0")


@pytest.mark.parametrize(
    ("wire", "on", "level"),
    [(LOW, False, 1), (LOW, True, 0), (HIGH, False, 0), (HIGH, True, 1)],
)
def test_a_relay_is_opened_at_its_level_and_never_clicks(
    relays: Relays, board: Board, wire: Wire, on: bool, level: int
) -> None:
    """Direction and level are set together: the first level that a pin is driven to is the right one."""
    assert relays.read(wire) is None
    relays.set(wire, on=on)
    assert board.levels(wire.pin) == [level]
    assert board.is_output(wire.pin)
    assert relays.read(wire) is on


@pytest.mark.parametrize(("active_high", "states"), [(False, [False, True]), (True, [False])])
def test_the_simulated_board_keeps_the_history_of_a_pin(active_high: bool, states: list[bool]) -> None:
    """The mock pins of gpiozero float low at first: an active-low relay that is off goes high once."""
    factory = simulated_board()
    relays = Relays(lambda: factory)
    relays.set(Wire(pin=17, active_high=active_high), on=False)
    assert [each.state for each in factory.pin(17).states] == states
    relays.set(Wire(pin=17, active_high=active_high), on=True)
    relays.set(Wire(pin=17, active_high=active_high), on=False)
    assert [each.state for each in factory.pin(17).states] == [*states, active_high, not active_high]


def test_a_level_that_is_set_again_switches_nothing(relays: Relays, board: Board) -> None:
    """Setting what is already so leaves the pin's level as it was."""
    relays.set(HIGH, on=True)
    relays.set(HIGH, on=True)
    assert [level for level, _ in groupby(board.levels(27))] == [1]


def test_the_board_is_not_touched_before_the_first_relay_is_set() -> None:
    """Nothing is opened by making the object, or by reading."""
    asked: list[int] = []

    def factory() -> Board:
        asked.append(1)
        return Board()

    relays = Relays(factory)
    assert relays.read(LOW) is None
    relays.release(LOW)
    assert not asked
    relays.set(LOW, on=False)
    relays.set(HIGH, on=False)
    assert len(asked) == 1


def test_a_board_that_cannot_be_reached_is_tried_again() -> None:
    """The fault names the pin; once the board answers, the same call works."""
    boards: list[Any] = [OSError("no such chip"), Board()]

    def factory() -> Any:
        found = boards.pop(0)
        if isinstance(found, Exception):
            raise found
        return found

    relays = Relays(factory)
    with pytest.raises(RelayError, match="pin 17 cannot be switched: no such chip"):
        relays.set(LOW, on=True)
    relays.set(LOW, on=True)
    assert relays.read(LOW) is True


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        ("open", "pin 17 cannot be switched: GPIO17: no answer to open"),
        ("read", "pin 17 cannot be read: GPIO17: no answer to read"),
        ("gone", "pin 17 cannot be switched"),
    ],
)
def test_a_fault_at_opening_is_one_sentence_and_heals(
    relays: Relays, board: Board, trouble: str, words: str
) -> None:
    """It is an OSError too, it names the pin, and the other relay works meanwhile."""
    board.trouble[17] = trouble
    with pytest.raises(RelayError, match=words) as caught:
        relays.set(LOW, on=True)
    assert isinstance(caught.value, OSError)
    relays.set(HIGH, on=True)
    del board.trouble[17]
    relays.set(LOW, on=True)
    assert relays.read(LOW) is True


def test_a_fault_at_setting_names_the_pin_and_heals(relays: Relays, board: Board) -> None:
    """A relay that was opened and raises later."""
    relays.set(LOW, on=False)
    board.trouble[17] = "set"
    with pytest.raises(RelayError, match="pin 17 cannot be switched: GPIO17: no answer to set"):
        relays.set(LOW, on=True)
    board.trouble.clear()
    relays.set(LOW, on=True)
    assert board.levels(17) == [1, 0]


@pytest.mark.parametrize(
    ("on", "words"), [(True, "reads back dark after it was set to lit"), (False, "back lit .* to dark")]
)
def test_a_relay_that_reads_back_wrong_is_a_fault(relays: Relays, board: Board, on: bool, words: str) -> None:
    """What was set is not believed but read."""
    relays.set(LOW, on=not on)
    board.trouble[17] = "deaf"
    with pytest.raises(RelayError, match=words):
        relays.set(LOW, on=on)


def test_a_pin_that_something_else_holds_is_a_fault_until_it_is_let_go() -> None:
    """The library itself refuses a pin that another device of the same board holds."""
    board = Board()
    relays = Relays(lambda: board)
    other = OutputDevice(17, pin_factory=board)
    with pytest.raises(RelayError, match=r"pin 17 cannot be switched: .*already in use"):
        relays.set(LOW, on=True)
    other.close()
    relays.set(LOW, on=True)
    assert relays.read(LOW) is True


def test_letting_go_drives_to_the_off_level_first(relays: Relays, board: Board) -> None:
    """A pin that is let go becomes an input; before that its relay is opened."""
    relays.set(LOW, on=True)
    relays.release(LOW)
    assert board.levels(17) == [0, 1]
    assert not board.is_output(17)
    assert relays.read(LOW) is None


def test_a_relay_that_cannot_be_put_out_is_not_let_go(relays: Relays, board: Board) -> None:
    """It is kept, so that it can be tried again."""
    relays.set(LOW, on=True)
    board.trouble[17] = "set"
    with pytest.raises(RelayError, match="cannot be switched"):
        relays.release(LOW)
    assert relays.read(LOW) is True
    board.trouble.clear()
    relays.release(LOW)
    assert board.levels(17) == [0, 1]


def test_opening_afresh_mends_a_pin_whose_handle_went_bad(relays: Relays, board: Board) -> None:
    """The old handle is closed, whatever it says to that, and a new one opened at the level asked for."""
    relays.set(LOW, on=False)
    relays.reopen(LOW, on=True)
    assert board.levels(17) == [1, 0]
    assert relays.read(LOW) is True


def test_closing_puts_out_all_and_one_fault_stops_no_other(relays: Relays, board: Board) -> None:
    """Every relay that answers is driven to its off level; the faults come back, the pins are let go."""
    third = Wire(pin=22, active_high=True)
    for wire in (LOW, HIGH, third):
        relays.set(wire, on=True)
    pins = {number: board.pin(number) for number in (17, 22, 27)}  # closing makes the board forget them
    board.trouble[27] = "set"
    faults = relays.close()
    assert [str(fault) for fault in faults] == ["pin 27 cannot be switched: GPIO27: no answer to set"]
    assert [level for _, level in pins[17].levels] == [0, 1]
    assert [level for _, level in pins[22].levels] == [1, 0]
    assert {pin.function for pin in pins.values()} == {"input"}


def test_a_board_that_will_not_close_raises_nothing(monkeypatch: Any) -> None:
    """At the end there is nobody left to catch it; the lights are out."""
    board = Board()
    relays = Relays(lambda: board)

    def fail() -> None:
        raise OSError("bad handle")

    relays.set(LOW, on=True)
    with monkeypatch.context() as patched:
        patched.setattr(board, "close", fail)
        assert relays.close() == []
    assert board.levels(17) == [0, 1]


def test_after_closing_a_relay_can_be_set_again(relays: Relays) -> None:
    """The board is opened again when it is wanted."""
    relays.set(LOW, on=True)
    relays.close()
    relays.set(LOW, on=True)
    assert relays.read(LOW) is True


def test_real_pins_without_their_library_say_what_would_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library for them is an extra of the package; without it the fault names that extra."""
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", None)
    with pytest.raises(RelayError, match=r'needs lgpio, which is not installed; install .* extra "gpio"'):
        open_relays("gpio", "gpiozero").set(LOW, on=True)


@pytest.mark.parametrize("when", ["the chip is opened", "the pin is opened"])
def test_a_board_that_gpiozero_does_not_know_gets_a_remedy(
    monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    """Its revision cannot be read at all, or means nothing to gpiozero: either way gpiod would do."""

    class Unknown(Board):
        def __init__(self) -> None:
            if when == "the chip is opened":
                raise PinUnknownPi("unable to locate Pi revision in /proc/device-tree or /proc/cpuinfo")
            super().__init__()

        def pin(self, name: Any) -> Any:
            return PiBoardInfo.from_revision(0)

    module = ModuleType("gpiozero.pins.lgpio")
    module.LGPIOFactory = Unknown  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", module)
    with pytest.raises(RelayError) as caught:
        open_relays("gpio", "gpiozero").set(LOW, on=True)
    said = str(caught.value)
    assert said.startswith("pin 17 cannot be switched: gpiozero does not know this board")
    assert "pip install '.[gpiod]'" in said
    assert 'driver = "gpiod"' in said


@pytest.mark.parametrize(
    ("installed", "revision", "given", "chosen"),
    [
        ({"lgpio"}, None, (None, None), "gpiozero"),
        ({"gpiod"}, 0xC03111, (None, None), "gpiod"),
        ({"lgpio", "gpiod"}, 0xC03111, (None, None), "gpiozero"),
        ({"lgpio", "gpiod"}, 0, (None, None), "gpiod"),
        ({"lgpio", "gpiod"}, None, (None, None), "gpiod"),
        ({"lgpio", "gpiod"}, 0xC03111, (None, "/dev/gpiochip1"), "gpiod"),
        ({"lgpio", "gpiod"}, 0xC03111, ("gpiod", None), "gpiod"),
        ({"lgpio", "gpiod"}, None, ("gpiozero", None), "gpiozero"),
    ],
)
def test_the_driver_is_chosen_by_what_is_installed_and_knows_the_board(
    monkeypatch: pytest.MonkeyPatch, installed: set[str], revision: int | None, given: Any, chosen: str
) -> None:
    """By gpiozero where lgpio is there and the revision is one of its own, else gpiod; the site file wins."""

    def read_revision() -> int:
        if revision is None:
            raise PinUnknownPi("unable to locate Pi revision in /proc/device-tree or /proc/cpuinfo")
        return revision

    monkeypatch.setattr(relays_module, "find_spec", lambda name: name if name in installed else None)
    monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", read_revision)
    assert choose_driver(*given) == chosen


@pytest.mark.parametrize(
    ("installed", "given", "needs"),
    [
        (set(), ("simulated", "gpiod", None), None),
        (set(), ("gpio", None, None), "lgpio"),
        ({"lgpio"}, ("gpio", None, None), None),
        ({"gpiod"}, ("gpio", None, None), None),
        ({"gpiod"}, ("gpio", "gpiozero", None), "lgpio"),
        ({"lgpio"}, ("gpio", "gpiod", None), "gpiod"),
        ({"lgpio"}, ("gpio", None, "/dev/gpiochip1"), "gpiod"),
        ({"gpiod"}, ("gpio", None, "/dev/gpiochip1"), None),
    ],
)
def test_a_library_is_missing_only_where_it_is_needed(
    monkeypatch: pytest.MonkeyPatch, installed: set[str], given: Any, needs: str | None
) -> None:
    """Either will do where the site file asks for none; the one that it asks for has to be there."""
    monkeypatch.setattr(relays_module, "find_spec", lambda name: name if name in installed else None)
    missing = missing_library(*given)
    assert (missing is None) == (needs is None)
    if missing:
        assert missing[0] == f"needs {needs}, which is not installed"


def test_the_pipe_of_lgpio_goes_where_a_service_may_write(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It makes a pipe in LG_WD when it is imported: that is set before, to the runtime folder."""
    seen: list[str | None] = []
    monkeypatch.delenv("LG_WD", raising=False)
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"{tmp_path}:/run/other")
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", lgpio_that(seen))
    gpio_board()
    assert seen == [str(tmp_path)]
    monkeypatch.setenv("LG_WD", "/run/chosen")
    gpio_board()
    assert seen == [str(tmp_path), "/run/chosen"]


def lgpio_that(seen: list[str | None]) -> ModuleType:
    """Make a stand-in for gpiozero's room for lgpio, which notes LG_WD when its board is wanted."""
    module = ModuleType("gpiozero.pins.lgpio")

    def find(name: str) -> Any:
        if name != "LGPIOFactory":
            raise AttributeError(name)
        seen.append(os.environ.get("LG_WD"))
        return Board

    module.__getattr__ = find  # type: ignore[method-assign]
    return module
