"""The lines of a chip through gpiod: which chip, what is said of each fault, and the stand-in's own truth."""

from __future__ import annotations

import dataclasses
import inspect
import sys
from importlib import import_module
from pathlib import Path

import pytest

from config.errors import RelayError
from controller import gpiod_board
from controller.relays import Relays, Wire, open_relays
from tests.controller import gpiod_stand_in
from tests.controller.gpiod_stand_in import GpiodMachine

PATH, STEPS = Wire(pin=17, active_high=False), Wire(pin=27, active_high=True)
CHIP = "/dev/gpiochip0"


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> GpiodMachine:
    return use(GpiodMachine(), monkeypatch)


def use(machine: GpiodMachine, monkeypatch: pytest.MonkeyPatch) -> GpiodMachine:
    for name, module in machine.modules.items():
        monkeypatch.setitem(sys.modules, name, module)
    return machine


def on(chip: str | None = CHIP) -> Relays:
    return open_relays("gpio", "gpiod", chip)


def fault(relays: Relays, wire: Wire = PATH) -> str:
    with pytest.raises(RelayError) as caught:
        relays.set(wire, on=True)
    return str(caught.value)


def test_a_line_is_held_by_name_and_the_chip_is_not(machine: GpiodMachine) -> None:
    """Whoever looks for what holds a line finds leerie; the chip is closed as soon as the line is had."""
    relays = on()
    relays.set(PATH, on=True)
    assert (machine.pin(17).used, machine.pin(17).consumer) == (True, "leerie")
    assert machine.open_chips == 0
    assert relays.close() == []
    assert not machine.pin(17).used
    assert machine.levels(17) == [0, 1]


def test_a_line_that_another_program_holds_is_said_with_its_name(machine: GpiodMachine) -> None:
    """By the consumer that the kernel knows, where it knows one; it heals once the line is let go."""
    relays = on()
    machine.hold(17, "fan")
    held = "line 17 of /dev/gpiochip0 is held by “fan”; end that, or choose another pin"
    assert fault(relays) == f"pin 17 cannot be switched: {held}"
    machine.hold(17, "")
    assert fault(relays).endswith("line 17 of /dev/gpiochip0 is in use; choose another pin")
    machine.let_go(17)
    relays.set(PATH, on=True)
    assert relays.read(PATH) is True
    assert machine.open_chips == 0


def test_a_chip_that_this_user_may_not_open_gets_the_remedy(machine: GpiodMachine) -> None:
    """The group of the device is what is missing, also while the chip is still looked for."""
    machine.denied.add(CHIP)
    assert "sudo usermod -aG gpio" in fault(on())


def test_a_chip_that_is_not_there_is_said(machine: GpiodMachine) -> None:
    """A name that nothing has, and a device that is something else."""
    assert "there is no /dev/gpiochip7; ls /dev/gpiochip* shows" in fault(on("/dev/gpiochip7"))
    assert "/dev/null is no GPIO chip, or was taken away" in fault(on("/dev/null"))


def test_a_line_that_the_chip_has_not_or_that_is_no_output_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small chip ends before the pin; of some lines no output can be made."""
    machine = use(GpiodMachine(gpiochip0=("expander", 20)), monkeypatch)
    assert fault(on(), STEPS).endswith("/dev/gpiochip0 has only the lines 0 to 19")
    machine.unfit.add(17)
    assert fault(on()).endswith("line 17 of /dev/gpiochip0 cannot be an output; choose another")


def test_a_chip_that_goes_away_is_a_fault_of_each_relay_until_it_is_back(machine: GpiodMachine) -> None:
    """Reading, setting and closing say so; once the chip is back, each relay is opened again."""
    relays = on()
    for wire in (PATH, STEPS):
        relays.set(wire, on=True)
    about = machine.chips.pop(CHIP)
    for wire in (PATH, STEPS):
        with pytest.raises(
            RelayError, match=f"pin {wire.pin} cannot be read: {CHIP} is no GPIO chip, or was"
        ):
            relays.read(wire)
        with pytest.raises(RelayError, match=f"pin {wire.pin} cannot be switched"):
            relays.reopen(wire, on=True)
    machine.chips[CHIP] = about
    for wire in (PATH, STEPS):
        relays.set(wire, on=True)
        assert relays.read(wire) is True


def test_without_gpiod_or_with_an_old_one_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is named gpiod but has no LineSettings is the library before its version 2."""
    monkeypatch.setitem(sys.modules, "gpiod", None)
    assert fault(on()).endswith("needs gpiod 2 or later, which is not installed")
    old = GpiodMachine().modules["gpiod"]
    del old.LineSettings
    monkeypatch.setitem(sys.modules, "gpiod", old)
    assert fault(on()).endswith("needs gpiod 2 or later, which is not installed")


@pytest.fixture
def devices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(gpiod_board, "_DEVICES", tmp_path)
    return tmp_path


def plug(machine: GpiodMachine, devices: Path, **chips: tuple[str, int]) -> None:
    machine.chips = {
        str(devices / name): gpiod_stand_in.ChipInfo(name, *about) for name, about in chips.items()
    }
    for name in chips:
        (devices / name).touch()


@pytest.mark.parametrize("label", ["pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1"])
def test_the_chip_of_the_header_is_found_wherever_it_stands(
    machine: GpiodMachine, devices: Path, label: str
) -> None:
    """By its label and not its number, which kernels have changed, and by its own name where it has two."""
    plug(machine, devices, gpiochip0=("expander", 8), gpiochip4=(label, 54))
    (devices / "gpiochip1").symlink_to("gpiochip4")
    relays = on(None)
    relays.set(PATH, on=True)
    assert machine.levels(17) == [0]
    assert gpiod_board.find_header_chip() == str(devices / "gpiochip4")


def test_without_a_chip_of_the_header_those_here_are_named(machine: GpiodMachine, devices: Path) -> None:
    """Nothing is guessed: a line of the wrong chip may be anything."""
    plug(machine, devices, gpiochip0=("gpio0", 32), gpiochip1=("gpio1", 32))
    (devices / "gpiochip2").symlink_to("gpiochip1")
    (devices / "gpiochip3").touch()
    said = fault(on(None))
    assert f'chip = "{devices}/gpiochip0"' in said
    assert f"There are: {devices}/gpiochip0 (gpio0), {devices}/gpiochip1 (gpio1)" in said
    assert machine.lines == {}
    assert machine.open_chips == 0


def test_a_machine_without_chips_or_with_forbidden_ones_says_so(machine: GpiodMachine, devices: Path) -> None:
    """No chip at all, and chips of which this user may open none."""
    machine.chips = {}
    assert "this machine has no GPIO chip" in fault(on(None))
    plug(machine, devices, gpiochip0=("pinctrl-bcm2711", 58))
    machine.denied.add(str(devices / "gpiochip0"))
    assert "sudo usermod -aG gpio" in fault(on(None))


@pytest.fixture
def real() -> object:
    return pytest.importorskip("gpiod", reason="gpiod is not installed")


def test_the_stand_in_is_called_as_the_package_is(real: object) -> None:
    """Names and parameters of every call that Leerie makes, with their order and defaults."""
    modules = GpiodMachine().modules
    requests = (gpiod_stand_in.LineRequest, real.LineRequest)
    calls = {
        "is_gpiochip_device": (modules["gpiod"].is_gpiochip_device, real.is_gpiochip_device),
        "Chip": (modules["gpiod"].Chip.__init__, real.Chip.__init__),
    }
    for name in ("close", "get_info", "get_line_info", "request_lines", "__enter__", "__exit__"):
        calls[name] = (getattr(modules["gpiod"].Chip, name), getattr(real.Chip, name))
    for name in ("get_value", "set_value", "release"):
        calls[f"LineRequest.{name}"] = tuple(getattr(each, name) for each in requests)
    for name, (mine, theirs) in calls.items():
        said = [
            [(each.name, each.default, each.kind) for each in inspect.signature(call).parameters.values()]
            for call in (mine, theirs)
        ]
        assert said[0] == said[1], name


def test_the_stand_in_has_the_values_and_defaults_of_the_package(real: object) -> None:
    """What the stand-in has of settings, infos and values, the package has by the same names."""
    line = import_module("gpiod.line")
    for name in ("Value", "Direction"):
        mine, theirs = getattr(gpiod_stand_in, name), getattr(line, name)
        assert {each.name: each.value for each in mine} == {each.name: each.value for each in theirs}
    for mine, theirs in (
        (gpiod_stand_in.LineSettings, real.LineSettings),
        (gpiod_stand_in.ChipInfo, real.ChipInfo),
        (gpiod_stand_in.LineInfo, real.LineInfo),
    ):
        known = {
            each.name: getattr(each.default, "name", each.default) for each in dataclasses.fields(theirs)
        }
        wanted = {each.name: getattr(each.default, "name", each.default) for each in dataclasses.fields(mine)}
        assert wanted.items() <= known.items()


def test_the_package_itself_gives_the_errors_that_are_explained(real: object, tmp_path: Path) -> None:
    """No chip is needed for these: what is not there, what is no chip, and what may not be opened."""
    assert "there is no /dev/gpiochip-none" in fault(on("/dev/gpiochip-none"))
    assert "/dev/null is no GPIO chip, or was taken away" in fault(on("/dev/null"))
    assert not real.is_gpiochip_device(str(tmp_path / "gpiochip0"))
