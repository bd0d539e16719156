"""A keeper for tests: its clock goes when it is told to, its pins fail when they are told to.

The pins are gpiozero's own mock pins. ``levels`` of a pin are those that it was *driven* to, in order, with
the boot-time clock of the moment: that is what a relay hears.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPin

from config.models.site import Site
from controller.clock.clock import SteppedClock
from controller.journal.previous_run import PreviousRun
from controller.keeper.keeper import Keeper
from controller.keeper.state import ZoneStatus
from controller.planning.decision import Decision
from controller.records.entries import Entry, Event, EventKind, Switching
from controller.records.reading import Reading
from controller.relays import Relays
from tests.sites import site, zone

# An evening in London in January, where local time is UTC; the usual zone is lit from 21:00 to 22:00.
DAY = datetime(2027, 1, 5, 15, tzinfo=UTC)
PROGRAM = "21:00 to 22:00"


def at(clock_time: str, *, day: int = 5) -> datetime:
    """Give an instant of January 2027."""
    return datetime.fromisoformat(f"2027-01-{day:02}T{clock_time}+00:00").astimezone(UTC)


class Ledger:
    """Stands for the journal: keeps what it is given; ``fault`` and ``waiting`` are set by the test."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.closed: list[Reading] = []
        self.fault: str | None = None
        self.waiting = 0
        self.lost = 0

    def append(self, entry: Entry) -> None:
        self.entries.append(entry)

    def close_open_runs(self, now: Reading) -> None:
        self.closed.append(now)

    def of(self, kind: type) -> list[Any]:
        """Give the entries of one kind."""
        return [entry for entry in self.entries if isinstance(entry, kind)]

    def events(self, *kinds: EventKind) -> list[Event]:
        """Give the events of these kinds, in order."""
        return [event for event in self.of(Event) if event.kind in kinds]

    def switchings(self, zone_id: str = "jetty") -> list[tuple[str, bool]]:
        """Give the switchings of one zone: the clock time (UTC) and whether it was lit."""
        return [
            (f"{entry.at.utc:%H:%M:%S}", entry.on) for entry in self.of(Switching) if entry.zone == zone_id
        ]


class Pin(MockPin):  # type: ignore[misc]
    """A mock pin that writes down what it is driven to, and fails as its board says."""

    def __init__(self, factory: Any, info: Any) -> None:
        super().__init__(factory, info)
        self.levels: list[tuple[float, int]] = []

    @property
    def number(self) -> int:
        return int(str(self.info.name).removeprefix("GPIO"))

    def _may(self, what: str) -> bool:
        trouble = self.factory.trouble.get(self.number, "")
        if what in trouble or trouble == "gone":
            raise OSError(f"GPIO{self.number}: no answer to {what}")
        return bool(trouble != "deaf")

    def _drive(self, level: object) -> None:
        self._change_state(bool(level))
        self.levels.append((self.factory.boot_s(), int(bool(level))))

    def output_with_state(self, state: object) -> None:
        may = self._may("open")
        self._function = "output"
        if may:
            self._drive(state)

    def _set_state(self, value: object) -> None:
        if self._may("set"):
            self._drive(value)

    def _get_state(self) -> bool:
        self._may("read")
        return bool(self._state)

    def _set_function(self, value: str) -> None:
        if value == "output":
            # An output whose level is not said along with it: a relay may click.
            self.levels.append((self.factory.boot_s(), -1))
        super()._set_function(value)


class Board(MockFactory):  # type: ignore[misc]
    """A board of such pins; ``trouble`` maps a pin to open, set, read, gone (all three) or deaf."""

    def __init__(self, clock: SteppedClock | None = None) -> None:
        super().__init__(pin_class=Pin)
        self.trouble: dict[int, str] = {}
        self._clock = clock

    def boot_s(self) -> float:
        return self._clock.boot_s if self._clock else 0.0

    def levels(self, number: int) -> list[int]:
        """Give the levels that a pin was driven to."""
        return [level for _, level in self.pin(number).levels]

    def is_output(self, number: int) -> bool:
        return bool(self.pin(number).function == "output")


class Kept:
    """A keeper with its surroundings; without a site it keeps one zone called jetty on pin 17, active low.

    The board has been up for a minute, so that no relay rests any more.
    """

    def __init__(
        self,
        a_site: Site | None = None,
        at_utc: datetime = DAY,
        *,
        past: PreviousRun | None = None,
        clock: SteppedClock | None = None,
        trouble: dict[int, str] | None = None,
        boot_s: float = 60.0,
        **of_clock: Any,
    ) -> None:
        self.clock = clock or SteppedClock(at_utc, boot_s=boot_s, **of_clock)
        self.board = Board(self.clock)
        self.board.trouble.update(trouble or {})
        self.ledger = Ledger()
        self.relays = Relays(lambda: self.board)
        self.keeper = Keeper(
            a_site or site(zone("jetty", PROGRAM)),
            clock=self.clock,
            relays=self.relays,
            journal=self.ledger,
            past=past,
        )
        self.due_in_s = self.reconcile()

    def reconcile(self) -> float:
        self.due_in_s = self.keeper.reconcile()
        return self.due_in_s

    def pass_time(self, seconds: float) -> None:
        """Let time pass as the daemon does: a round whenever one is due, and one at the end."""
        ends_boot_s = self.clock.boot_s + seconds
        while self.clock.boot_s < ends_boot_s:
            self.clock.advance(min(self.due_in_s, ends_boot_s - self.clock.boot_s))
            self.reconcile()

    def pass_until(self, at_utc: datetime) -> None:
        self.pass_time((at_utc - self.clock.utc).total_seconds())

    def zone(self, zone_id: str = "jetty") -> ZoneStatus:
        return next(each for each in self.keeper.status().zones if each.zone == zone_id)

    def decision(self, zone_id: str = "jetty") -> Decision:
        return self.zone(zone_id).decision

    @property
    def lit(self) -> bool:
        """Whether the zone called jetty is lit, by its pin: low is lit."""
        return self.is_lit(17)

    def is_lit(self, number: int, *, active_high: bool = False) -> bool:
        """Whether a pin is an output at the level that closes its relay."""
        return self.board.is_output(number) and bool(self.board.pin(number)._state) is active_high

    def change(self, *zones: dict[str, Any], **more: Any) -> None:
        """Keep another site, and look at once, as a reload does."""
        self.keeper.change_site(site(*zones, **more), words="the site file was read again")
        self.reconcile()


def two(
    *, relays: dict[str, Any] | None = None, programs: Sequence[str] = (PROGRAM, PROGRAM), **more: Any
) -> Site:
    """Make a site of two zones, jetty on pin 17 and orchard on pin 27."""
    return site(
        zone("jetty", programs[0], pin=17),
        zone("orchard", programs[1], pin=27),
        relays=relays or {"rest_s": 0.0, "stagger_s": 0.0},
        **more,
    )
