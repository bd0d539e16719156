"""The relays: the one module that touches pins, through gpiozero. The stand-in is gpiozero's mock factory.

A pin that is closed becomes an input without pull, and what the relay module does then depends on its wiring:
so every relay is driven to its off level first.
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

BoardName = Literal["simulated", "gpio"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Wire:
    """How one zone's relay is wired: BCM pin number, and whether a high level closes it."""

    pin: int
    active_high: bool


class Relays:
    """Every relay of a board, opened one by one when first set.

    Args:
        factory: makes gpiozero's pin factory; called when the first relay is set, and again after it failed.
    """

    def __init__(self, factory: Callable[[], Any]) -> None:
        self._make_factory = factory
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

    def _open(self, wire: Wire, *, on: bool) -> Any:  # noqa: ANN401 - gpiozero ships no types
        """Open a pin as an output with direction and level set together."""
        from gpiozero import OutputDevice  # noqa: PLC0415 - start-up: the site file is read first

        if self._factory is None:
            self._factory = self._make_factory()
        try:
            return OutputDevice(
                wire.pin, active_high=wire.active_high, initial_value=on, pin_factory=self._factory
            )
        except Exception as error:
            # A device that failed half made holds its pin until nothing refers to it; the frames do.
            traceback.clear_frames(error.__traceback__)
            raise

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
        from gpiozero.pins.lgpio import LGPIOFactory  # noqa: PLC0415 - only on a board

        return LGPIOFactory()
    except ImportError as error:
        raise RelayError(
            Phrase('board = "gpio" needs lgpio, which is not installed; install leerie with its extra "gpio"')
        ) from error


def missing_library(board: BoardName) -> tuple[Phrase, Phrase] | None:
    """Say what a board needs and this machine lacks, and what to do; None where nothing is missing."""
    if board == "gpio" and find_spec("lgpio") is None:
        # Not by name: an index of packages may hold a stranger's under ours.
        what = Phrase("needs lgpio, which is not installed")
        return what, Phrase("in Leerie's folder, pip install '.[gpio]' adds it")
    return None


def open_relays(board: BoardName) -> Relays:
    """Give the relays of a board; its pins are opened when they are first set."""
    return Relays(gpio_board if board == "gpio" else simulated_board)
