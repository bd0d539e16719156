"""Relays through gpiod 2: the lines of a GPIO chip as the kernel offers them, on any Linux board.

Each relay has a request of its own, and the chip is open only while a line is requested. So a chip that goes
away is a fault of each of its relays, and once it is there again, each can be opened again.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from config.errors import RelayError
from config.phrase import Phrase

if TYPE_CHECKING:
    from gpiod import Chip, LineRequest

CONSUMER = "leerie"
# Labels, by the kernel's drivers, of chips whose line numbers are the BCM numbers of the 40-pin header.
HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")
_DEVICES = Path("/dev")


class GpiodLine:
    """One relay's line as an output, held until it is closed. Its value is whether the relay is closed."""

    def __init__(self, request: LineRequest, *, pin: int, chip: str) -> None:
        self._request, self._pin, self._chip = request, pin, chip

    @property
    def value(self) -> bool:
        """The level of the line itself, read back."""
        from gpiod.line import Value  # noqa: PLC0415 - imported when the line was opened

        with _said_plainly(self._chip, self._pin):
            return bool(self._request.get_value(self._pin) == Value.ACTIVE)

    @value.setter
    def value(self, on: bool) -> None:
        from gpiod.line import Value  # noqa: PLC0415 - imported when the line was opened

        with _said_plainly(self._chip, self._pin):
            self._request.set_value(self._pin, Value.ACTIVE if on else Value.INACTIVE)

    def close(self) -> None:
        """Release the line; whether its level stays is up to the chip's driver."""
        self._request.release()


class GpiodBoard:
    """The lines of one chip.

    Args:
        chip: its device; None for the chip with the lines of the 40-pin header.
    """

    def __init__(self, chip: str | None) -> None:
        self._chip = chip

    def open_line(self, pin: int, *, active_high: bool, on: bool) -> GpiodLine:
        """Take a line as an output, with direction and level set together.

        Raises:
            RelayError: gpiod is not installed, no chip fits, or the line cannot be had.
        """
        try:
            from gpiod import Chip, LineSettings  # noqa: PLC0415 - only where it is used
            from gpiod.line import Direction, Value  # noqa: PLC0415
        except ImportError as error:
            raise RelayError(Phrase("needs gpiod 2 or later, which is not installed")) from error
        path = self._chip or find_header_chip()
        settings = LineSettings(
            direction=Direction.OUTPUT,
            active_low=not active_high,
            output_value=Value.ACTIVE if on else Value.INACTIVE,
        )
        with _said_plainly(path, pin), Chip(path) as chip:
            lines = chip.get_info().num_lines
            if pin >= lines:
                what = Phrase("{chip} has only the lines 0 to {last}", chip=path, last=lines - 1)
                raise RelayError(what)
            try:
                request = chip.request_lines({pin: settings}, consumer=CONSUMER)
            except OSError as error:
                if error.errno == errno.EBUSY:
                    raise RelayError(_held_by_another(chip, path, pin)) from error
                raise
        return GpiodLine(request, pin=pin, chip=path)

    def close(self) -> None:
        """Nothing is held but the lines."""


def find_header_chip() -> str:
    """Find the chip whose line numbers are the BCM numbers of the header.

    Raises:
        RelayError: there is none, or it may not be looked at.
    """
    from gpiod import Chip, is_gpiochip_device  # noqa: PLC0415 - only where it is used

    seen: dict[Path, str] = {}
    denied = ""
    for path in sorted(_DEVICES.glob("gpiochip*")):
        device = path.resolve()  # a chip may have a second name
        if not is_gpiochip_device(str(device)):
            continue
        try:
            with Chip(str(device)) as chip:
                info = chip.get_info()
        except PermissionError:
            denied = str(device)
            continue
        except OSError:  # gone since it was listed
            continue
        if info.label in HEADER_LABELS:
            return str(device)
        seen[device] = info.label
    if denied:
        raise RelayError(_may_not(denied))
    if not seen:
        raise RelayError(Phrase("this machine has no GPIO chip: there is no /dev/gpiochip0"))
    raise RelayError(
        Phrase(
            "no GPIO chip here is known to be that of the 40-pin header; name yours under [relays], such as"
            ' chip = "{chip}", and the number of its line as pin of each zone. There are: {chips}',
            chip=str(min(seen)),
            chips=", ".join(f"{device} ({label})" for device, label in seen.items()),
        )
    )


def _may_not(path: str) -> Phrase:
    return Phrase(
        "this user may not use {chip}; the group that owns it, usually gpio, may: sudo usermod -aG gpio NAME",
        chip=path,
    )


def _held_by_another(chip: Chip, path: str, pin: int) -> Phrase:
    """Say who holds a line, as the kernel tells it."""
    consumer = chip.get_line_info(pin).consumer
    if not consumer:
        return Phrase("line {pin} of {chip} is in use; choose another pin", pin=pin, chip=path)
    return Phrase(
        "line {pin} of {chip} is held by “{consumer}”; end that, or choose another pin",
        pin=pin,
        chip=path,
        consumer=consumer,
    )


@contextmanager
def _said_plainly(path: str, pin: int) -> Iterator[None]:
    """Say what the kernel's error means, and what to do."""
    try:
        yield
    except RelayError:
        raise
    except PermissionError as error:
        raise RelayError(_may_not(path)) from error
    except FileNotFoundError as error:
        raise RelayError(
            Phrase("there is no {chip}; ls /dev/gpiochip* shows what there is", chip=path)
        ) from error
    except ValueError as error:  # the kernel's EINVAL
        what = Phrase("line {pin} of {chip} cannot be an output; choose another", pin=pin, chip=path)
        raise RelayError(what) from error
    except OSError as error:
        if error.errno == errno.ENODEV:
            what = Phrase("{chip} is no GPIO chip, or was taken away", chip=path)
            raise RelayError(what) from error
        raise RelayError(error.strerror or str(error)) from error
