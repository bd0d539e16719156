"""A stand-in for the package gpiod 2 and for the chips behind it, by what the package documents.

``GpiodMachine`` is a machine with chips; its ``modules`` are what ``import gpiod`` and ``import gpiod.line``
give on it. Its lines fail when they are told to, as the boards of kept.py do. test_gpiod_board.py holds the
names, defaults and signatures against the real package.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from types import ModuleType, TracebackType


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1


class Direction(Enum):
    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


@dataclass
class LineSettings:
    direction: Direction = Direction.AS_IS
    active_low: bool = False
    output_value: Value = Value.INACTIVE


@dataclass(frozen=True)
class ChipInfo:
    name: str
    label: str
    num_lines: int


@dataclass(frozen=True)
class LineInfo:
    offset: int
    used: bool
    consumer: str


class ChipClosedError(Exception):
    """A chip was used after it was closed."""


class RequestReleasedError(Exception):
    """A request was used after it was released."""


def failure(number: int, words: str = "") -> OSError:
    """Make the error that the kernel gives, of the class that Python chooses for it."""
    return OSError(number, words or os.strerror(number))


@dataclass
class Line:
    """A line: ``levels`` are those that it was driven to, with the time, as in kept.py."""

    levels: list[tuple[float, int]] = field(default_factory=list)
    function: str = "input"
    level: int = 0
    consumer: str = ""
    used: bool = False

    def drive(self, level: int) -> None:
        self.level = level
        self.levels.append((0.0, level))


class GpiodMachine:
    """A machine with GPIO chips, by the path of their devices; ``trouble`` is as that of kept.py's Board.

    ``denied`` are devices that this user may not open; of ``unfit`` lines the kernel makes no output.
    """

    def __init__(self, **chips: tuple[str, int]) -> None:
        named = chips or {"gpiochip0": ("pinctrl-bcm2711", 58)}
        self.chips = {f"/dev/{name}": ChipInfo(name, *about) for name, about in named.items()}
        self.trouble: dict[int, str] = {}
        self.denied: set[str] = set()
        self.unfit: set[int] = set()
        self.lines: dict[int, Line] = {}
        self.open_chips = 0

    def pin(self, number: int) -> Line:
        return self.lines.setdefault(number, Line())

    def levels(self, number: int) -> list[int]:
        return [level for _, level in self.pin(number).levels]

    def is_output(self, number: int) -> bool:
        return self.pin(number).function == "output"

    def hold(self, number: int, consumer: str) -> None:
        """Have something else hold a line."""
        self.pin(number).used, self.pin(number).consumer = True, consumer

    def let_go(self, number: int) -> None:
        self.pin(number).used, self.pin(number).consumer = False, ""

    def may(self, number: int, what: str) -> bool:
        trouble = self.trouble.get(number, "")
        if trouble == "gone":
            raise failure(errno.ENODEV)
        if what in trouble:
            raise failure(errno.EIO, f"GPIO{number}: no answer to {what}")
        return trouble != "deaf"

    @property
    def modules(self) -> dict[str, ModuleType]:
        machine = self

        class Chip(_Chip):
            def __init__(self, path: str) -> None:
                super().__init__(machine, path)

        def is_gpiochip_device(path: str) -> bool:
            return path in machine.chips

        gpiod, line = ModuleType("gpiod"), ModuleType("gpiod.line")
        gpiod.__dict__.update(Chip=Chip, LineSettings=LineSettings, is_gpiochip_device=is_gpiochip_device)
        gpiod.__dict__.update(line=line)
        line.__dict__.update(Direction=Direction, Value=Value)
        return {"gpiod": gpiod, "gpiod.line": line}


class _Chip:
    """An open chip: its lines are requested from it, and are held also after it is closed."""

    def __init__(self, machine: GpiodMachine, path: str) -> None:
        if path in machine.denied:
            raise failure(errno.EACCES)
        if path not in machine.chips:
            raise failure(errno.ENODEV if Path(path).exists() else errno.ENOENT)
        self._machine, self._path, self._is_open = machine, path, True
        machine.open_chips += 1

    def __enter__(self) -> _Chip:
        self._check()
        return self

    def __exit__(
        self,
        exc_type: type[BaseException] | None,
        exc_value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._machine.open_chips -= self._is_open
        self._is_open = False

    def _check(self) -> None:
        if not self._is_open:
            raise ChipClosedError
        if self._path not in self._machine.chips:
            raise failure(errno.ENODEV)

    def get_info(self) -> ChipInfo:
        self._check()
        return self._machine.chips[self._path]

    def get_line_info(self, line: int | str) -> LineInfo:
        self._check()
        found = self._machine.pin(int(line))
        return LineInfo(int(line), found.used, found.consumer)

    def request_lines(
        self,
        config: dict[Iterable[int | str] | int | str, LineSettings | None],
        consumer: str | None = None,
        event_buffer_size: int | None = None,
        output_values: dict[int | str, Value] | None = None,
    ) -> LineRequest:
        ((number, settings),) = config.items()
        assert isinstance(number, int)
        assert settings is not None
        if number >= self.get_info().num_lines:
            raise ValueError("line offset of out range")
        may = self._machine.may(number, "open")
        line = self._machine.pin(number)
        if line.used:
            raise failure(errno.EBUSY)
        if number in self._machine.unfit:
            raise ValueError(errno.EINVAL, os.strerror(errno.EINVAL))
        line.used, line.consumer = True, consumer or "?"
        request = LineRequest(self._machine, self._path, number, active_low=settings.active_low)
        if settings.direction is Direction.OUTPUT:
            line.function = "output"
            if may:
                line.drive(request.level_of(settings.output_value))
        return request


class LineRequest:
    """A line that is held until it is released; its values are logical, as active_low says."""

    def __init__(self, machine: GpiodMachine, path: str, number: int, *, active_low: bool) -> None:
        self._machine, self._path, self._number, self._active_low = machine, path, number, active_low
        self._is_held = True

    def level_of(self, value: Value) -> int:
        return value.value ^ self._active_low

    def _line(self, number: int | str) -> Line:
        if not self._is_held:
            raise RequestReleasedError
        if number != self._number:
            raise ValueError(errno.EINVAL, os.strerror(errno.EINVAL))
        if self._path not in self._machine.chips:
            raise failure(errno.ENODEV)
        return self._machine.pin(self._number)

    def get_value(self, line: int | str) -> Value:
        found = self._line(line)
        self._machine.may(self._number, "read")
        return Value(found.level ^ self._active_low)

    def set_value(self, line: int | str, value: Value) -> None:
        found = self._line(line)
        if self._machine.may(self._number, "set"):
            found.drive(self.level_of(value))

    def release(self) -> None:
        """Give the line back; most drivers make it an input then, and so does this one."""
        if self._is_held:
            self._is_held = False
            self._machine.let_go(self._number)
            self._machine.pin(self._number).function = "input"
