"""The relays: each is opened, set, read back and released here, through gpiozero or through gpiod.

gpiozero with lgpio drives the boards that gpiozero knows; gpiod_board.py any other. The stand-in is the mock
factory of gpiozero.

A pin that is closed becomes an input without pull, or with gpiod what its chip makes of it. What the relay
module does then depends on its wiring: so every relay is driven to its off level first.
"""

import logging
import os
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from config.errors import RelayError
from config.phrase import Phrase

log = logging.getLogger(__name__)

SIMULATED = Phrase("simulated relays: nothing is switched")

DEVICES = Path("/dev")
UNKNOWN_BOARD = Phrase(
    "gpiozero does not know this board, as its revision cannot be read; in Leerie's folder,"
    " pip install '.[gpiod]' adds gpiod, which does without, and driver = \"gpiod\" under [relays] chooses it"
)

BoardName = Literal["simulated", "gpio"]
DriverName = Literal["gpiozero", "gpiod"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Wire:
    """How one zone's relay is wired: BCM pin number, and whether a high level closes it."""

    pin: int
    active_high: bool


class Relays:
    """Every relay of a board, opened one by one when first set.

    Args:
        factory: makes gpiozero's pin factory, or another board; called when the first relay is set, and again
            after it failed.
        open_line: opens a pin of that board as an output, with direction and level set together.
    """

    def __init__(self, factory: Callable[[], Any], *, open_line: Callable[..., Any] | None = None) -> None:
        self._make_factory = factory
        self._open_line = open_line or _open_with_gpiozero
        self._factory: Any = None
        self._devices: dict[Wire, Any] = {}

    @property
    def are_simulated(self) -> bool:
        """Whether these are mock pins, with which nothing is switched."""
        return self._make_factory is simulated_board

    def read(self, wire: Wire) -> bool | None:
        """Read back whether a relay is closed (lit); None where it was not opened yet.

        Raises:
            RelayError: the pin does not answer.
        """
        device = self._devices.get(wire)
        if device is None:
            return None
        try:
            return bool(device.value)
        except Exception as error:
            what = Phrase("pin {pin} cannot be read: {reason}", pin=wire.pin, reason=_reason(error))
            raise RelayError(what) from error

    def set(self, wire: Wire, *, on: bool) -> None:
        """Close (lit) or open (dark) a relay, and read it back.

        A relay not opened yet is opened at that level, so that it never clicks through the other one.

        Raises:
            RelayError: the pin cannot be opened or set, or reads back otherwise.
        """
        device = self._devices.get(wire)
        try:
            if device is None:
                self._devices[wire] = self._open(wire, on=on)
            else:
                device.value = on
        except Exception as error:
            what = Phrase("pin {pin} cannot be switched: {reason}", pin=wire.pin, reason=_reason(error))
            raise RelayError(what) from error
        if self.read(wire) is not on:
            if on:
                raise RelayError(Phrase("pin {pin} reads back dark after it was set to lit", pin=wire.pin))
            raise RelayError(Phrase("pin {pin} reads back lit after it was set to dark", pin=wire.pin))

    def reopen(self, wire: Wire, *, on: bool) -> None:
        """Release and open a pin that keeps failing, at the level asked for.

        Raises:
            RelayError: it still fails.
        """
        self._drop(wire)
        self.set(wire, on=on)

    def release(self, wire: Wire) -> None:
        """Drive a relay to its off level and release its pin.

        Raises:
            RelayError: it could not be switched off; the pin is kept.
        """
        if wire in self._devices:
            self.set(wire, on=False)
            self._drop(wire)

    def close(self) -> list[RelayError]:
        """Drive every relay to its off level and release the board.

        Returns:
            The errors; none stops the rest.
        """
        faults: list[RelayError] = []
        for wire in list(self._devices):
            try:
                self.release(wire)
            except RelayError as error:
                faults.append(error)
                self._drop(wire)
        factory, self._factory = self._factory, None
        if factory is not None:
            try:
                factory.close()
            except Exception as error:  # noqa: BLE001 - every relay was released; nothing is left to do
                log.warning("the board would not close: %s", error)
        return faults

    def _open(self, wire: Wire, *, on: bool) -> Any:  # noqa: ANN401 - neither library's type
        """Open a pin as an output with direction and level set together."""
        if self._factory is None:
            self._factory = self._make_factory()
        return self._open_line(self._factory, wire.pin, active_high=wire.active_high, on=on)

    def _drop(self, wire: Wire) -> None:
        """Release a pin, whatever error that gives."""
        device = self._devices.pop(wire, None)
        if device is None:
            return
        try:
            device.close()
        except Exception as error:  # noqa: BLE001 - a pin that will not close is a pin we no longer hold
            log.warning("pin %s would not close: %s", wire.pin, error)


def _reason(error: Exception) -> str:
    return str(error) or type(error).__name__


def _open_with_gpiozero(factory: Any, pin: int, *, active_high: bool, on: bool) -> Any:  # noqa: ANN401
    from gpiozero import OutputDevice  # noqa: PLC0415 - start-up: the site file is read first
    from gpiozero.exc import PinUnknownPi  # noqa: PLC0415

    try:
        return OutputDevice(pin, active_high=active_high, initial_value=on, pin_factory=factory)
    except Exception as error:
        # A device that failed half made holds its pin until nothing refers to it; the frames do.
        traceback.clear_frames(error.__traceback__)
        if isinstance(error, PinUnknownPi):
            raise RelayError(UNKNOWN_BOARD) from error
        raise


def simulated_board() -> Any:  # noqa: ANN401 - gpiozero ships no types
    """Make a board of mock pins: nothing is switched, everything can be tried."""
    from gpiozero.pins.mock import MockFactory, MockPin  # noqa: PLC0415 - only where it is used

    class SimulatedPin(MockPin):  # type: ignore[misc]  # gpiozero ships no types
        """A mock pin that takes direction and level together, as a real line does."""

        def output_with_state(self, state: int) -> None:
            self._function = "output"
            self._change_state(bool(state))

    return MockFactory(pin_class=SimulatedPin)


def gpio_board() -> Any:  # noqa: ANN401 - gpiozero ships no types
    """Open the board's own pins through lgpio.

    lgpio makes a named pipe in its working folder when it is imported: ``LG_WD`` points it to the runtime
    folder before that, where a service may write.

    Raises:
        RelayError: lgpio is not installed, or this machine has no such pins.
    """
    folder = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    if folder and Path(folder).is_dir():
        os.environ.setdefault("LG_WD", folder)
    try:
        from gpiozero.exc import PinUnknownPi  # noqa: PLC0415 - only on a board
        from gpiozero.pins.lgpio import LGPIOFactory  # noqa: PLC0415

        return LGPIOFactory()
    except ImportError as error:
        raise RelayError(
            Phrase('board = "gpio" needs lgpio, which is not installed; install leerie with its extra "gpio"')
        ) from error
    except PinUnknownPi as error:
        raise RelayError(UNKNOWN_BOARD) from error


def missing_library(
    board: BoardName, driver: DriverName | None = None, chip: str | None = None
) -> tuple[Phrase, Phrase] | None:
    """Say what a board needs and this machine lacks, and what to do; None where nothing is missing."""
    if board == "simulated":
        return None
    has_lgpio, has_gpiod = find_spec("lgpio") is not None, find_spec("gpiod") is not None
    # Not by name: an index of packages may hold a stranger's under ours.
    if driver == "gpiod" or (driver is None and chip is not None):
        what = Phrase("needs gpiod, which is not installed")
        return None if has_gpiod else (what, Phrase("in Leerie's folder, pip install '.[gpiod]' adds it"))
    what = Phrase("needs lgpio, which is not installed")
    if driver == "gpiozero":
        return None if has_lgpio else (what, Phrase("in Leerie's folder, pip install '.[gpio]' adds it"))
    if has_lgpio or has_gpiod:
        return None
    remedy = Phrase(
        "in Leerie's folder, pip install '.[gpio]' adds it; where it cannot be installed,"
        " pip install '.[gpiod]' adds gpiod, which does as well"
    )
    return what, remedy


def propose_board() -> BoardName:
    """Propose real pins where this machine has a GPIO chip and a library for it."""
    has_chip = any(DEVICES.glob("gpiochip*"))
    return "gpio" if has_chip and missing_library("gpio") is None else "simulated"


def choose_driver(driver: DriverName | None, chip: str | None) -> DriverName:
    """Choose the library for the pins: as the site file says, or one that is installed and knows it."""
    if driver is not None:
        return driver
    if chip is not None:  # gpiozero finds the chip by itself
        return "gpiod"
    if find_spec("gpiod") is None:
        return "gpiozero"
    return "gpiozero" if find_spec("lgpio") is not None and _is_known_to_gpiozero() else "gpiod"


def _is_known_to_gpiozero() -> bool:
    from gpiozero.exc import PinUnknownPi  # noqa: PLC0415 - only on a board
    from gpiozero.pins.local import get_pi_revision  # noqa: PLC0415
    from gpiozero.pins.pi import PiBoardInfo  # noqa: PLC0415

    try:
        PiBoardInfo.from_revision(get_pi_revision())
    except (PinUnknownPi, OSError):
        return False
    return True


def open_relays(board: BoardName, driver: DriverName | None = None, chip: str | None = None) -> Relays:
    """Give the relays of a board; its pins are opened when they are first set."""
    if board == "simulated":
        return Relays(simulated_board)
    chosen = choose_driver(driver, chip)
    log.info("the pins are driven through %s", chosen)
    if chosen == "gpiod":
        from controller.gpiod_board import GpiodBoard  # noqa: PLC0415 - only where it is used

        return Relays(lambda: GpiodBoard(chip), open_line=GpiodBoard.open_line)
    return Relays(gpio_board)
