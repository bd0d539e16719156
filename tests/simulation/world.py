"""The world of the simulation: true time, the board's clocks, its pins and its disk, each with its faults.

Nothing here is random and nothing waits: the story says what happens and when, and the world keeps the truth
that the journal is compared with.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar

from gpiozero.pins.mock import MockFactory, MockPin

from controller.clock.trust import ClockTrust, Evidence
from controller.records.reading import Reading

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Killed(BaseException):
    """The process is gone, at this very statement."""


@dataclass
class PinTruth:
    """What one pin really did: whether its relay is closed now, since when, and for how long altogether."""

    lit: bool = False
    since_s: float = 0.0
    lit_s: float = 0.0
    changes: list[tuple[float, bool, bool]] = field(default_factory=list)

    def become(self, at_s: float, *, lit: bool, by_hand: bool = False) -> bool:
        """Take a change down; ``by_hand`` where it was not the program's. True where there was one."""
        if lit is self.lit:
            return False
        if self.lit:
            self.lit_s += at_s - self.since_s
        self.lit, self.since_s = lit, at_s
        self.changes.append((at_s, lit, by_hand))
        return True

    def total_s(self, at_s: float) -> float:
        """Give the seconds lit up to now."""
        return self.lit_s + (at_s - self.since_s if self.lit else 0.0)


class World:
    """True time and everything that the program touches."""

    def __init__(self, start_utc: datetime) -> None:
        """Begin with a board that was just switched on, its clock right and kept so by the network."""
        self.start_utc = start_utc
        self.now_s = 0.0
        self.boot_at_s = 0.0
        self.boots = 1
        self.clock_error_s = 0.0
        self.synchronised = True
        self.hardware = False
        self.fuse: int | None = None
        self.disk = ""
        self.pins: dict[int, PinTruth] = {}
        self.pin_faults: dict[int, str] = {}
        self.board: SimulatedBoard | None = None
        self.ending = False
        self.deaths_s: set[float] = set()

    @property
    def true_utc(self) -> datetime:
        """What the time really is."""
        return self.start_utc + timedelta(seconds=self.now_s)

    @property
    def clock_utc(self) -> datetime:
        """What the board's clock says."""
        return self.true_utc + timedelta(seconds=self.clock_error_s)

    def pin(self, number: int) -> PinTruth:
        """Give the truth about a pin."""
        return self.pins.setdefault(number, PinTruth())

    def spend(self) -> None:
        """Burn the fuse by one write; at its end the process is killed."""
        if self.fuse is not None:
            self.fuse -= 1
            if self.fuse < 0:
                self.fuse = None
                raise Killed

    def release_pins(self) -> None:
        """Let every line go, as the kernel does when a process ends: relays open, lights go out."""
        for truth in self.pins.values():
            truth.become(self.now_s, lit=False, by_hand=True)
        self.board = None


class WorldClock:
    """The board's clock, judged by the program's own rules on the world's evidence."""

    def __init__(self, world: World, trust: ClockTrust) -> None:
        """Look at the world."""
        self._world = world
        self.trust = trust

    def read(self) -> Reading:
        """Look at the clock once."""
        world = self._world
        evidence = Evidence(synchronised=world.synchronised, hardware=world.hardware)
        utc = world.clock_utc
        trusted, words = self.trust.evaluate(utc, evidence)
        return Reading(
            utc=utc,
            boot_s=world.now_s - world.boot_at_s,
            boot_id=f"boot-{world.boots}",
            trusted=trusted,
            trust=words,
        )


class SimulatedPin(MockPin):  # type: ignore[misc]
    """A pin that reports to the world what it really does, and fails when the world says so."""

    def _world(self) -> World:
        return self.factory.world

    def _check(self, *modes: str) -> None:
        world = self._world()
        world.spend()
        if world.pin_faults.get(self.info_number) in modes:
            raise OSError(f"pin {self.info_number} does not answer")

    @property
    def info_number(self) -> int:
        """BCM number of the pin."""
        return int(str(self.info.name).removeprefix("GPIO"))

    def _report(self, *, by_hand: bool = False) -> None:
        number = self.info_number
        active = self._state if self.factory.active_high(number) else not self._state
        world = self._world()
        if world.board is not self.factory:
            return  # a pin of a process that is gone, only now swept up
        faulty = number in world.pin_faults
        lit = self._function == "output" and active
        world.pin(number).become(world.now_s, lit=lit, by_hand=by_hand or faulty or world.ending)

    def output_with_state(self, state: int) -> None:
        self._check("open", "all")
        self._function = "output"
        self._set_state(state)

    def _set_state(self, value: int) -> None:
        self._check("set", "all")
        if self._world().pin_faults.get(self.info_number) != "deaf":
            self._change_state(bool(value))
        self._report()
        self._world().spend()

    def _get_state(self) -> bool:
        self._check("all")
        return bool(self._state)

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self._report()

    def flip(self) -> None:
        """Be switched by somebody else."""
        self._change_state(not self._state)
        self._report(by_hand=True)


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
