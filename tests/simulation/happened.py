"""What happened, as the journal must say it: kept until the journal is compared with it, see `told`."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from sqlite3 import connect  # before the world puts its own in its place
from typing import NamedTuple

from config.models.site import Site
from controller.journal.database import JOURNAL_NAME
from controller.records.reading import Reading
from tests.simulation.belief import BEHIND_S, RELEASED_S, KnownTime
from tests.simulation.journal_rows import Ended, Row, how_it_ended, known_time
from tests.simulation.oracle import Oracle
from tests.simulation.violation import Violation
from tests.simulation.world import PinChange, World

# A round comes within a tick.
TICK_S = 31.0
DIED, POWER_LOST = "ended without warning", "power lost"

Range = tuple[float, float]
Load = tuple[float | None, str]


@dataclass(kw_only=True)
class Expected:
    """An event that must be in the journal, or may be; ``size_s`` is within the two limits."""

    kind: str
    words: str = ""
    size_s: Range | None = None
    must: bool = True
    may_come_later: bool = False

    def fits(self, row: Row) -> bool:
        """Whether a row tells it."""
        if row["kind"] != self.kind or self.words not in row["words"]:
            return False
        if self.size_s is None:
            return row["size_s"] is None or self.may_come_later
        return row["size_s"] is not None and self.size_s[0] <= row["size_s"] <= self.size_s[1]


@dataclass(kw_only=True)
class Switched:
    """A relay that the program switched, and the zones that have its pin, with the load of each."""

    change: PinChange
    loads: dict[str, Load]


@dataclass(kw_only=True)
class Asked:
    """An override that somebody placed, or lifted where ``lit`` is None."""

    zone: str
    at: Reading
    lit: bool | None = None
    ends_at_utc: datetime | None = None
    lasts_s: float | None = None


class Moment(NamedTuple):
    """An instant in the journal, by the number of the boot, and whether its clock was believed."""

    boot: int
    boot_ms: int
    trusted: bool


class Process:
    """What is known of the process that runs now."""

    def __init__(self, started: Reading, *, error_s: float, before: Ended | None) -> None:
        """Begin."""
        self.started = started
        self.trusted_since_s = started.boot_s
        self.was_trusted, self.by_person = started.trusted, False
        self.error_s = error_s
        self.asleep_s = 0.0
        # How the one before ended, until that is told.
        self.before = before


class Happened:
    """Keeps what happened until the journal has been compared with it.

    ``_errors_s`` is how wrong the clock was in each boot when it was believed.

    Attributes:
        doubt: whether something was lost with a process, so that this night is not compared.
        known: what the last process wrote of the time; None where that cannot be read.
    """

    def __init__(self, world: World, state: Path) -> None:
        """Begin with an empty journal."""
        self.world = world
        self.path = state / JOURNAL_NAME
        self.budget_s: dict[str, float] = {}
        self.mapping_changed = True
        self.doubt = False
        self.known: KnownTime | None = KnownTime()
        self._process: Process | None = None
        self._ended: Ended | None = None
        self._expected: list[Expected] = []
        self._switched: list[Switched] = []
        self._asked: list[Asked] = []
        self._faulty: set[str] = set()
        # From when to when relays were faulty.
        self._faults_s: dict[str, list[tuple[float, float]]] = {}
        # Every site that was in force, and since when.
        self.sites: list[tuple[float, Site, Oracle]] = []
        # What zones were called before, by their new id.
        self._renamed: dict[str, str] = {}
        self._loads: dict[int, dict[str, Load]] = {}
        self._pins: dict[str, set[int]] = {}
        self.forget()

    def forget(self) -> None:
        """Begin anew, as with a journal that was damaged."""
        self.doubt = True
        self.budget_s = {}
        self._errors_s: dict[int, set[float]] = {}
        self._totals: dict[str, float] = {}
        self._begun: dict[str, tuple[int, int, str]] = {}
        self._faults: dict[str, list[Row]] = {}
        self._begins = ("", 0)
        self._seen = {"event": 0, "switching": 0, "override": 0}
        self._open: set[int] = set()
        self._written: dict[str, float] | None = None
        self._truth: dict[str, float] = {}
        self._everything = 0.0

    # -- what happened ---------------------------------------------------------------------------------------

    def take_site(self, site: Site, oracle: Oracle) -> None:
        """From now on another site is in force; a zone that leaves may still switch its relay off."""
        self.site = site
        self.mapping_changed = True
        self.sites.append((self.world.now_s, site, oracle))
        for zone in site.zones:
            load = zone.rated_load
            self._loads.setdefault(zone.pin, {})[zone.id] = (load.watts, load.origin)
            self._pins.setdefault(zone.id, set()).add(zone.pin)

    def allow(self, zone_id: str, seconds: float) -> None:
        """Let the run hours of one zone be wrong by so much more."""
        self.budget_s[zone_id] = self.budget_s.get(zone_id, 0.0) + seconds

    def faulty(self, zone_id: str, *, mended: bool = False) -> None:
        """A relay does not do as it is set, so that nobody can say when the program switched it."""
        self._faulty.add(zone_id)
        of_zone = self._faults_s.setdefault(zone_id, [])
        if mended:
            of_zone[:] = [(since_s, min(to_s, self.world.now_s)) for since_s, to_s in of_zone]
        else:
            of_zone.append((self.world.now_s, float("inf")))

    def renamed(self, old: str, new: str) -> None:
        """A zone has another id; its run, its override and its fault go on under that."""
        self._renamed[new] = old
        self._faults_s[new] = self._faults_s.setdefault(old, [])
        for number in self._pins[old]:  # its relay may be released only now
            self._loads[number].setdefault(new, self._loads[number][old])
        self._pins[new] |= self._pins[old]
        if old in self._faulty:
            self._faulty.add(new)

    def flipped(self, zone_id: str) -> None:
        """Somebody else has switched a relay, which the program finds within a tick."""
        until_s = self.world.now_s + TICK_S
        self._faults_s.setdefault(zone_id, []).append((self.world.now_s, until_s))

    def switched(self, number: int, change: PinChange) -> None:
        """The program switched a relay."""
        self._switched.append(Switched(change=change, loads=dict(self._loads.get(number, {}))))

    def asked(self, asked: Asked) -> None:
        """Somebody placed an override or lifted one."""
        self._asked.append(asked)

    def expect(self, kind: str, *, words: str = "", size_s: Range | None = None, must: bool = True) -> None:
        """Something happened that must be told."""
        self._expected.append(Expected(kind=kind, words=words, size_s=size_s, must=must))

    def allow_event(self, kind: str, *, words: str = "") -> None:
        """Something happened that may be told, now or later."""
        self._expected.append(Expected(kind=kind, words=words, must=False, may_come_later=True))

    def confirmed(self, now: Reading) -> None:
        """A person vouched for the clock."""
        process = self._process
        if process is not None:
            lasted_s = now.boot_s - process.trusted_since_s
            self.expect("clock confirmed", words="a person", size_s=(lasted_s - 0.01, lasted_s + 0.01))
            process.trusted_since_s, process.was_trusted, process.by_person = now.boot_s, True, True

    def lose_gap(self) -> None:
        """The journal is another one, so that how the process before ended may be told otherwise."""
        if self._process is not None:
            self._process.before = None
        for kind in (DIED, POWER_LOST):
            self._expected.append(Expected(kind=kind, must=False, may_come_later=True))

    def slept(self, for_s: float) -> None:
        """The board slept."""
        if self._process is not None:
            self._process.asleep_s += for_s

    def need_not(self, kind: str, words: str) -> None:
        """The process ended before it came to something, which need not be told."""
        self._expected = [
            replace(each, must=False) if (each.kind, each.words) == (kind, words) else each
            for each in self._expected
        ]

    def ended(self) -> None:
        """The process is gone: what the next one can know of it."""
        self._process, self._ended, self.known = None, None, None
        if not self.path.exists():
            self.known = KnownTime()
            return
        try:
            with self.reading() as journal:
                self._ended, self.known = how_it_ended(journal), known_time(journal)
        except (sqlite3.Error, ValueError):
            if not self.doubt:  # one that was damaged, or never made
                raise

    def started(self, now: Reading, *, kind: str) -> None:
        """A process started, after an end of some kind; empty where that need not be what is told."""
        before = self._ended
        if before is not None and before.well:
            before = None
        kind = "" if self.doubt else kind
        if kind and before is None:
            raise Violation("the journal says that a process stopped which was killed")
        if kind and before is not None and (before.boot == now.boot_id) != (kind == DIED):
            raise Violation(f"the journal's last sign is of {before.boot}, after an end of the kind “{kind}”")
        self._process = Process(now, error_s=self.world.clock_error_s, before=before)
        if not now.trusted:
            self.expect("clock not trusted")
        elif self.known is not None and self.known.confirmed and self.known.confirmed[0] == now.boot_id:
            self._process.trusted_since_s, self._process.by_person = self.known.confirmed[2], True
        self._tell_gap(self._process, now)

    @property
    def clock_was_set(self) -> bool:
        """Whether the clock was set since the last round."""
        return self._process is not None and abs(self.world.clock_error_s - self._process.error_s) > 1

    def round(self, now: Reading, *, by_person: bool) -> None:
        """The program made a round: what it must have noticed in it.

        Args:
            now: the clock that was read in it.
            by_person: whether the clock is believed only because a person vouched for it.
        """
        process = self._process
        if process is None:
            return
        step_s = self.world.clock_error_s - process.error_s
        if abs(step_s) > 1:
            self.expect("clock stepped", size_s=(step_s - 0.01, step_s + 0.01))
        if process.asleep_s:
            size_s = (process.asleep_s - TICK_S, process.asleep_s + TICK_S)
            self.expect("resumed", size_s=size_s, must=process.asleep_s > 100)
        if now.trusted is not process.was_trusted or (process.by_person and not by_person):
            lasted_s = now.boot_s - process.trusted_since_s
            kind = "clock trusted" if now.trusted else "clock not trusted"
            self.expect(kind, size_s=(lasted_s - 0.01, lasted_s + 0.01))
            process.trusted_since_s = now.boot_s
        process.by_person = by_person
        if now.trusted:
            self._errors_s.setdefault(self.world.boots, set()).add(self.world.clock_error_s)
        process.was_trusted, process.error_s, process.asleep_s = now.trusted, self.world.clock_error_s, 0.0
        self._tell_gap(process, now)

    def _tell_gap(self, process: Process, now: Reading) -> None:
        """Once the clock is trusted, how the process before ended must be told, and how long ago that was."""
        before = process.before
        if before is None or not now.trusted:
            return
        process.before = None
        if before.boot == now.boot_id:  # on the clock that nobody sets
            size_s = process.started.boot_s - before.boot_ms / 1000
            self.expect(DIED, size_s=(size_s - 0.01, size_s + 0.01))
            return
        started_s = now.utc.timestamp() - (now.boot_s - process.started.boot_s)
        first_s, last_s = (at_ms / 1000 for at_ms in before.at_ms)
        measured = before.trusted and now.utc.timestamp() >= RELEASED_S - BEHIND_S
        size_s = (started_s - last_s - 0.01, started_s - first_s + 0.01)
        self.expect(POWER_LOST, size_s=size_s if measured else None)

    def may_have_begun_s(self, on: Moment, off: Moment) -> list[float]:
        """Give when a run began by a clock that was believed, in true seconds; empty where none was.

        The later word counts, and where neither end has one, that of another moment of the same boot.
        """
        began_s = self.world.boots_at_s[on.boot] + on.boot_ms / 1000
        ended_s = self.world.boots_at_s[off.boot] + off.boot_ms / 1000
        if off.trusted:
            errors_s = self.world.errors_at(ended_s)
        elif on.trusted:
            errors_s = self.world.errors_at(began_s)
        else:
            errors_s = self._errors_s.get(on.boot, set())
        return [began_s + error_s for error_s in errors_s]

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        with contextlib.closing(connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
            connection.row_factory = sqlite3.Row
            yield connection
