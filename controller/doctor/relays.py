"""The pins of the relays, who may use them, and the libraries that drive them."""

from collections.abc import Iterator
from dataclasses import dataclass

from config.phrase import Phrase, list_phrases
from controller.doctor.check import Check, error, note, warning, well

GPIO_GROUP = "gpio"
# Read and write, for the group.
_GROUP_MAY = 0o060
BUSES = {
    "I2C": (2, 3),
    "1-Wire": (4,),
    "SPI": (7, 8, 9, 10, 11),
    "the serial console": (14, 15),
}
"""The BCM lines that a bus takes once it is switched on, at its usual place."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceFacts:
    """A device of GPIO lines: who owns it, and whether the user that Leerie runs as may use it."""

    path: str
    group: str
    mode: int
    usable: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class PinFacts:
    """What was found of one zone's pin; ``used_by`` is the program that holds it, other than this Leerie."""

    zone: str
    pin: int
    used_by: str = ""
    fault: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayFacts:
    """What was found of the relays.

    Attributes:
        user: that Leerie runs as.
        buses: those of BUSES that are switched on.
        lines_known: whether the kernel said who holds each pin.
    """

    simulated: bool
    user: str
    devices: tuple[DeviceFacts, ...] = ()
    pins: tuple[PinFacts, ...] = ()
    buses: tuple[str, ...] = ()
    lines_known: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class DriverFacts:
    """The library that drives the pins.

    Attributes:
        name: of the library.
        missing: what is not installed, and what to do; None where all is.
        knows_boards: whether it drives only boards whose revision it can read.
        revision: of this board; empty where it cannot be read.
    """

    simulated: bool
    name: str
    missing: tuple[str, str] | None = None
    knows_boards: bool = True
    revision: str = ""


def judge_pins(facts: RelayFacts) -> Iterator[Check]:
    """Say whether each relay can be driven by the user that Leerie runs as, and nobody else drives it."""
    faults = list(_faults(facts))
    yield from faults
    if facts.simulated:
        remedy = Phrase('write board = "gpio" once relays are wired to the pins')
        yield note("pins", Phrase("simulated relays: nothing is switched"), remedy)
        return
    problems = [*_permissions(facts), *_users(facts)]
    yield from problems
    if not facts.lines_known and facts.devices:
        yield note(
            "pins",
            Phrase("whether another program uses a pin cannot be seen"),
            Phrase("run this as a user who may use {device}", device=facts.devices[0].path),
        )
    if not problems and not faults:
        numbers = list_phrases([str(each.pin) for each in facts.pins])
        yield well("pins", Phrase("BCM {pins}: “{user}” may use them", pins=numbers, user=facts.user))


def _faults(facts: RelayFacts) -> Iterator[Check]:
    for each in facts.pins:
        if each.fault:
            what = Phrase("zone “{zone}”: {fault}", zone=each.zone, fault=each.fault)
            remedy = Phrase("check the wiring and who else uses the pin; Leerie keeps trying")
            yield error("pins", what, remedy)


def _permissions(facts: RelayFacts) -> Iterator[Check]:
    if not facts.devices:
        yield error(
            "pins",
            Phrase("this machine has no {device}, and so no pins", device="/dev/gpiochip*"),
            Phrase('use a board with a 40-pin header, or write board = "simulated"'),
        )
    elif not any(each.usable for each in facts.devices):
        first = facts.devices[0]
        what = Phrase(
            "“{user}” may not use {device} (group {group}, mode {mode})",
            user=facts.user,
            device=first.path,
            group=first.group,
            mode=f"{first.mode:04o}",
        )
        remedy = Phrase("give it to the group gpio with the udev rule in systemd/README.md")
        if first.group == GPIO_GROUP and first.mode & _GROUP_MAY == _GROUP_MAY:
            join = f"sudo usermod -aG {GPIO_GROUP} {facts.user}"
            remedy = Phrase("let that user join the group ({command}), then restart Leerie", command=join)
        yield error("pins", what, remedy)


def _users(facts: RelayFacts) -> Iterator[Check]:
    for each in facts.pins:
        if each.used_by:
            what = Phrase(
                "BCM {pin} of zone “{zone}” is used by “{program}”",
                pin=str(each.pin),
                zone=each.zone,
                program=each.used_by,
            )
            yield error("pins", what, Phrase("end that program, or wire the relay to another pin"))
    for bus in facts.buses:
        taken = [each for each in facts.pins if each.pin in BUSES[bus]]
        if taken:
            pins = list_phrases([str(each.pin) for each in taken])
            what = Phrase("BCM {pins} belong to {bus}, which is switched on", pins=pins, bus=bus)
            remedy = Phrase("switch that off in the settings of the board, or wire the relay to another pin")
            yield warning("pins", what, remedy)


def judge_driver(facts: DriverFacts) -> Iterator[Check]:
    """Say whether the library is there, and whether it can tell which board this is."""
    if facts.simulated:
        return
    if facts.missing is not None:
        what, remedy = facts.missing
        yield error("driver", what, remedy)
    if facts.knows_boards and not facts.revision:
        yield error(
            "driver",
            Phrase("the board's revision cannot be read, so the driver does not know its pins"),
            Phrase(
                "use the system image of the board's maker: its /proc/cpuinfo has a line “Revision”; or"
                " install gpiod (pip install '.[gpiod]' in Leerie's folder), and write driver = \"gpiod\""
            ),
        )
    elif facts.missing is None and facts.revision:
        what = Phrase(
            "{name} is installed, board revision {revision}", name=facts.name, revision=facts.revision
        )
        yield well("driver", what)
    elif facts.missing is None:
        yield well("driver", Phrase("{name} is installed", name=facts.name))
