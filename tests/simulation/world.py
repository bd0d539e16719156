"""The world of the simulation: true time, the board's clocks, its pins and its disk, each with its faults.

Nothing here is random and nothing waits: the story says what happens and when, and the world keeps the truth
that the journal is compared with.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Any, ClassVar, NamedTuple

from gpiozero.pins.mock import MockFactory, MockPin

from controller.clock.trust import Evidence
from controller.records.reading import Reading


class Killed(BaseException):
    """The process is gone, at this very statement."""


class PinChange(NamedTuple):
    """A relay that moved.

    Attributes:
        at_s: when, in true seconds since the world began.
        boot: number of the board's start, and ``boot_s`` the seconds since then.
        by: "program"; "stop" where it switched off as it ended; "hand" where anything else did.
    """

    at_s: float
    boot: int
    boot_s: float
    lit: bool
    by: str


@dataclass
class PinTruth:
    """What one pin really did: whether its relay is closed now, since when, and for how long altogether."""

    lit: bool = False
    since_s: float = 0.0
    lit_s: float = 0.0
    changes: list[PinChange] = field(default_factory=list)

    def become(self, change: PinChange) -> None:
        """Record a change; nothing where there is none."""
        if change.lit is self.lit:
            return
        if self.lit:
            self.lit_s += change.at_s - self.since_s
        self.lit, self.since_s = change.lit, change.at_s
        self.changes.append(change)

    def total_s(self, at_s: float) -> float:
        """Give the seconds lit up to now."""
        return self.lit_s + (at_s - self.since_s if self.lit else 0.0)


class World:
    """True time and everything that the program touches.

    Attributes:
        now_s: true seconds since the world began.
        asleep_s: for how much of the time since the board started it was suspended.
        killed: whether a fuse has ended the process.
        is_dead: whether what is called now is only swept up of a process that is gone.
    """

    def __init__(self, start_utc: datetime) -> None:
        """Begin with a board that was just switched on, its clock right and kept so by the network."""
        self.start_utc = start_utc
        self.now_s = 0.0
        # A board takes a while to start; by then no relay rests any more.
        self.boot_at_s = -100.0
        self.asleep_s = 0.0
        self.boots = 1
        self.boots_at_s = {1: self.boot_at_s}
        # How wrong the board's clock was from when on.
        self.errors_s = [(0.0, 0.0)]
        self.synchronised = True
        self.hardware = False
        self.fuse: int | None = None
        self.disk = ""
        self.pins: dict[int, PinTruth] = {}
        self.pin_faults: dict[int, str] = {}
        self.board: SimulatedBoard | None = None
        self.killed = self.is_dead = False
        self.ending = False
        self.deaths_s: set[float] = set()
        self.zone_data = 0
        self.daemon: Any = None
        self.on_read: Callable[[Reading], None] = lambda _reading: None
        self.on_confirmed: Callable[[], None] = lambda: None

    @property
    def clock_error_s(self) -> float:
        """By how much the board's clock is ahead."""
        return self.errors_s[-1][1]

    @clock_error_s.setter
    def clock_error_s(self, error_s: float) -> None:
        self.errors_s.append((self.now_s, error_s))

    def errors_at(self, at_s: float) -> set[float]:
        """Give by how much the clock was ahead at an instant; several where it was set just then."""
        place = bisect_right(self.errors_s, at_s - 0.002, key=itemgetter(0))
        return {error_s for since_s, error_s in self.errors_s[max(place - 1, 0) :] if since_s <= at_s + 0.002}

    @property
    def true_utc(self) -> datetime:
        """What the time really is."""
        return self.start_utc + timedelta(seconds=self.now_s)

    @property
    def clock_utc(self) -> datetime:
        """What the board's clock says."""
        return self.start_utc + timedelta(seconds=self.now_s + self.errors_s[-1][1])

    @property
    def boot_id(self) -> str:
        """The name of the board's present start."""
        return f"boot-{self.boots}"

    @property
    def awake_s(self) -> float:
        """The clock that event loops go by: seconds since the board started, suspend left out."""
        return self.now_s - self.boot_at_s - self.asleep_s

    def read_clocks(self) -> tuple[datetime, float]:
        """Read the board's clock, and the one that counts from its start."""
        if self.is_dead or self.killed:
            raise Killed
        return self.clock_utc, self.now_s - self.boot_at_s

    def collect(self, utc: datetime, boot_s: float) -> Evidence:
        """Say what the board knows of its clock, as ``ClockEvidence`` does."""
        return Evidence(synchronised=self.synchronised, hardware=self.hardware)

    def forget(self) -> None:
        """Nothing is remembered."""

    def boot(self) -> None:
        """Start the board."""
        self.boots += 1
        self.boot_at_s = self.boots_at_s[self.boots] = self.now_s
        self.asleep_s = 0.0

    def suspend(self, for_s: float) -> None:
        """Let the board sleep."""
        self.now_s += for_s
        self.asleep_s += for_s

    def pin(self, number: int) -> PinTruth:
        """Give the truth about a pin."""
        found = self.pins.get(number)
        if found is None:
            found = self.pins[number] = PinTruth()
        return found

    def spend(self) -> None:
        """Burn the fuse by one write; at its end the process is killed."""
        if self.fuse is not None:
            self.fuse -= 1
            if self.fuse < 0:
                self.fuse = None
                self.killed = True
                raise Killed

    def move(self, number: int, *, lit: bool, by: str) -> None:
        """Record what a relay is now."""
        boot_s = self.now_s - self.boot_at_s
        self.pin(number).become(PinChange(self.now_s, self.boots, boot_s, lit, by))

    def release_pins(self) -> None:
        """Let every line go, as the kernel does when a process ends: relays open, lights go out."""
        for number in self.pins:
            self.move(number, lit=False, by="hand")
        self.board = None


class SimulatedPin(MockPin):  # type: ignore[misc]
    """A pin that reports to the world what it really does, and fails when the world says so."""

    def __init__(self, factory: SimulatedBoard, info: Any) -> None:
        """Remember the number: BCM."""
        self.bcm = int(str(info.name).removeprefix("GPIO"))
        super().__init__(factory, info)

    def _check(self, *modes: str) -> None:
        world = self.factory.world
        if world.board is not self.factory:
            raise Killed  # a pin of a process that is gone
        world.spend()
        if world.pin_faults and world.pin_faults.get(self.bcm) in modes:
            raise OSError(f"pin {self.bcm} does not answer")

    def _report(self, *, by: str = "program") -> None:
        world = self.factory.world
        if world.board is not self.factory:
            return  # a pin of a process that is gone, only now swept up
        if self.bcm in world.pin_faults:
            by = "hand"
        elif world.ending:
            by = "stop"
        active = bool(self._state) is self.factory.active_high(self.bcm)
        world.move(self.bcm, lit=self._function == "output" and active, by=by)

    def output_with_state(self, state: int) -> None:
        self._check("open", "all")
        self._function = "output"
        self._set_state(state)

    def _set_state(self, value: int) -> None:
        self._check("set", "all")
        if self.factory.world.pin_faults.get(self.bcm) != "deaf":
            self._change_state(bool(value))
        self._report()
        self.factory.world.spend()

    def _get_state(self) -> bool:
        self._check("all")
        return bool(self._state)

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self._report()

    def flip(self) -> None:
        """Be switched by somebody else."""
        self._change_state(not self._state)
        self._report(by="hand")


class SimulatedBoard(MockFactory):  # type: ignore[misc]
    """A board of simulated pins; odd pin numbers close their relay on high, even ones on low."""

    def __init__(self, world: World) -> None:
        """Belong to the world."""
        super().__init__(pin_class=SimulatedPin)
        self.world = world
        world.board = self

    @staticmethod
    def active_high(number: int) -> bool:
        """Say how a pin's relay is wired in every simulated site."""
        return number % 2 == 1


class SimulatedDisk(sqlite3.Connection):
    """A connection that fails, or ends the process, at any statement when the world says so."""

    world: World
    _FAULTS: ClassVar = {
        "full": "database or disk is full",
        "read-only": "attempt to write a readonly database",
        "locked": "database is locked",
        "broken": "disk I/O error",
    }

    def execute(self, sql: str, *args: Any) -> sqlite3.Cursor:  # type: ignore[override]
        """Run a statement, unless the disk or the process does not get that far."""
        if self.world.fuse is not None or self.world.disk:
            self._check(sql)
        return super().execute(sql, *args)

    def executemany(self, sql: str, *args: Any) -> sqlite3.Cursor:  # type: ignore[override]
        """Run a statement several times, with the same dangers."""
        self._check(sql)
        return super().executemany(sql, *args)

    def _check(self, sql: str) -> None:
        writes = not sql.lstrip().upper().startswith(("SELECT", "PRAGMA", "ROLLBACK"))
        if writes:
            self.world.spend()
            if self.world.disk in self._FAULTS:
                raise sqlite3.OperationalError(self._FAULTS[self.world.disk])


def connect_through(world: World) -> Any:
    """Make a stand-in for ``sqlite3.connect`` whose connections belong to the world."""
    real = sqlite3.connect

    class Disk(SimulatedDisk):
        pass

    Disk.world = world

    def connect(*args: Any, **kwargs: Any) -> sqlite3.Connection:
        if world.disk == "broken":
            raise sqlite3.OperationalError("unable to open database file")
        kwargs.setdefault("factory", Disk)
        return real(*args, **kwargs)

    return connect
