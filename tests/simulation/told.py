"""What the journal must say: its raw rows compared with what happened, without the program's own reader."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from sqlite3 import connect  # before the world puts its own in its place
from typing import Any, NamedTuple

from config.models.site import Site
from controller.journal.database import JOURNAL_NAME
from controller.records.reading import Reading
from tests.simulation.belief import BEHIND_S, RELEASED_S, KnownTime
from tests.simulation.oracle import Oracle
from tests.simulation.violation import Violation
from tests.simulation.world import PinChange, World

# What a power cut may lose of a run: a heartbeat every five minutes, by the promise of the journal.
BEAT_S = 301.0
# A round comes within a tick.
TICK_S = 31.0
# A switching is kept to a millisecond.
ROUNDING_S = 0.05
ROW_MS = 1
DIED, POWER_LOST = "ended without warning", "power lost"
# Kinds of event that are told each time, in their order.
EACH_TIME = (
    "clock stepped",
    "resumed",
    "clock trusted",
    "clock confirmed",
    "clock not trusted",
    "site changed",
    "site refused",
    DIED,
    POWER_LOST,
)
# From here on the journal knows of no fault that it is not told again.
BEGINS = ("started", "journal replaced", "journal set aside")
# Causes of switchings that are told, but were not the program's.
OF_OTHERS = ("relay fault", "power lost", "stopped")
# Of several rows of one moment the program's own is meant, if there is one.
RARE = {"site changed": 1, **dict.fromkeys(OF_OTHERS, 2)}

# The last sign of life of each kind.
SIGNS = " UNION ALL ".join(
    f"SELECT at_ms, boot_ms, boot, trusted FROM {table} {last}"
    for table, last in (
        ("beat", ""),
        ("event", "WHERE id = (SELECT max(id) FROM event)"),
        ("switching", "WHERE id = (SELECT max(id) FROM switching)"),
        ("override", "WHERE id = (SELECT max(id) FROM override)"),
    )
)
# And the last of each kind that was believed.
BELIEVED = " UNION ALL ".join(
    f"SELECT * FROM (SELECT at_ms, boot_ms, boot FROM {table} WHERE trusted ORDER BY {order} DESC LIMIT 1)"
    for table, order in (("beat", "boot"), ("event", "id"), ("switching", "id"), ("override", "id"))
)

Row = dict[str, Any]
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


@dataclass(kw_only=True)
class Ended:
    """How the last process left the journal: its last sign of life, and whether it says that it stopped.

    Several signs of one moment have several instants where the clock was set just then: first and last.
    """

    at_ms: tuple[int, int]
    boot_ms: int
    trusted: bool
    boot: str
    well: bool


class Moment(NamedTuple):
    """An instant in the journal, by the number of the boot, and whether its clock was believed."""

    boot: int
    boot_ms: int
    trusted: bool


class Life:
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


class Told:
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
        self._life: Life | None = None
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
        life = self._life
        if life is not None:
            lasted_s = now.boot_s - life.trusted_since_s
            self.expect("clock confirmed", words="a person", size_s=(lasted_s - 0.01, lasted_s + 0.01))
            life.trusted_since_s, life.was_trusted, life.by_person = now.boot_s, True, True

    def lose_gap(self) -> None:
        """The journal is another one, so that how the process before ended may be told otherwise."""
        if self._life is not None:
            self._life.before = None
        for kind in (DIED, POWER_LOST):
            self._expected.append(Expected(kind=kind, must=False, may_come_later=True))

    def slept(self, for_s: float) -> None:
        """The board slept."""
        if self._life is not None:
            self._life.asleep_s += for_s

    def ended(self) -> None:
        """The process is gone: what the next one can know of it."""
        self._life, self._ended, self.known = None, None, None
        if not self.path.exists():
            self.known = KnownTime()
            return
        try:
            with self._reading() as journal:
                self._ended, self.known = _how_it_ended(journal), _known_time(journal)
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
        self._life = Life(now, error_s=self.world.clock_error_s, before=before)
        if not now.trusted:
            self.expect("clock not trusted")
        elif self.known is not None and self.known.confirmed and self.known.confirmed[0] == now.boot_id:
            self._life.trusted_since_s, self._life.by_person = self.known.confirmed[2], True
        self._tell_gap(self._life, now)

    @property
    def clock_was_set(self) -> bool:
        """Whether the clock was set since the last round."""
        return self._life is not None and abs(self.world.clock_error_s - self._life.error_s) > 1

    def round(self, now: Reading, *, by_person: bool) -> None:
        """The program made a round: what it must have noticed in it.

        Args:
            now: the clock that was read in it.
            by_person: whether the clock is believed only because a person vouched for it.
        """
        life = self._life
        if life is None:
            return
        step_s = self.world.clock_error_s - life.error_s
        if abs(step_s) > 1:
            self.expect("clock stepped", size_s=(step_s - 0.01, step_s + 0.01))
        if life.asleep_s:
            size_s = (life.asleep_s - TICK_S, life.asleep_s + TICK_S)
            self.expect("resumed", size_s=size_s, must=life.asleep_s > 100)
        if now.trusted is not life.was_trusted or (life.by_person and not by_person):
            lasted_s = now.boot_s - life.trusted_since_s
            kind = "clock trusted" if now.trusted else "clock not trusted"
            self.expect(kind, size_s=(lasted_s - 0.01, lasted_s + 0.01))
            life.trusted_since_s = now.boot_s
        life.by_person = by_person
        if now.trusted:
            self._errors_s.setdefault(self.world.boots, set()).add(self.world.clock_error_s)
        life.was_trusted, life.error_s, life.asleep_s = now.trusted, self.world.clock_error_s, 0.0
        self._tell_gap(life, now)

    def _tell_gap(self, life: Life, now: Reading) -> None:
        """Once the clock is trusted, how the process before ended must be told, and how long ago that was."""
        before = life.before
        if before is None or not now.trusted:
            return
        life.before = None
        if before.boot == now.boot_id:  # on the clock that nobody sets
            size_s = life.started.boot_s - before.boot_ms / 1000
            self.expect(DIED, size_s=(size_s - 0.01, size_s + 0.01))
            return
        started_s = now.utc.timestamp() - (now.boot_s - life.started.boot_s)
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

    # -- the journal -----------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with contextlib.closing(connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
            connection.row_factory = sqlite3.Row
            yield connection

    def in_force(self) -> set[str]:
        """Give the zones whose override is in force by the journal."""
        with self._reading() as journal:
            rows = journal.execute(
                "SELECT zone.name FROM override JOIN zone ON zone.id = zone WHERE ended_at_ms IS NULL"
            )
            return {name for (name,) in rows}

    def check_fresh(self, lit: set[str], overridden: set[str]) -> None:
        """A journal that took the place of another must begin with what was found, and what is in force."""
        with self._reading() as journal:
            (replaced,) = journal.execute(
                "SELECT count(*) FROM event WHERE kind = 'journal replaced'"
            ).fetchone()
            open_runs = {
                zone
                for zone, is_lit in journal.execute(
                    "SELECT zone.name, lit FROM switching s JOIN zone ON zone.id = s.zone WHERE s.id IN "
                    "(SELECT max(id) FROM switching GROUP BY zone)"
                )
                if is_lit
            }
        in_force = self.in_force()
        if not replaced:
            raise Violation("nothing in the journal says that it took the place of another")
        if open_runs != lit or in_force != overridden:
            raise Violation(f"lit {lit}, overridden {overridden}; the journal says {open_runs}, {in_force}")

    def compare(self, now: Reading, in_force: dict[str, bool | None]) -> None:
        """Compare the journal with all that happened since the last time; every entry is written.

        Args:
            now: the clock as it is read.
            in_force: the overrides that were placed and not lifted, by zone, and whether each is over.
        """
        if not self.path.exists():
            # Nothing was in force when it was removed, and nothing has happened since.
            self.forget()
            return
        known = self._seen["override"]
        with self._reading() as journal:
            events = self._new(journal, "event", "kind, words, size_s")
            switchings = self._new(
                journal,
                "switching",
                "lit, lit_ms, cause, watts, origin",
                "JOIN reason ON reason.id = t.reason JOIN load ON load.id = t.load",
            )
            overrides = self._new(
                journal, "override", "lit, ends_at_ms, lasts_s, ended_boot_ms, ended_words", also=self._open
            )
        self._open = {row["id"] for row in overrides if row["ended_words"] is None}
        self._add_runs(switchings)
        self._follow_faults(events)
        if not self.doubt:
            self._compare_events(events)
            self._compare_switchings(switchings)
            self._compare_overrides(overrides, known, in_force)
        self._compare_run_hours(now)
        self._expected = [each for each in self._expected if each.may_come_later]
        self.doubt, self._switched, self._asked = False, [], []
        faulty = self.world.pin_faults
        self._faulty = {zone.id for zone in self.site.zones if zone.pin in faulty}

    def _new(
        self, journal: sqlite3.Connection, table: str, columns: str, join: str = "", also: Iterable[int] = ()
    ) -> list[Row]:
        """Read the rows that were added since the last time, and some others that may have changed."""
        others = ", ".join(map(str, also))
        rows = journal.execute(
            f"SELECT t.id, at_ms, boot_ms, boot.boot_id AS boot, zone.name AS zone, {columns} FROM {table} t "
            f"JOIN boot ON boot.id = t.boot LEFT JOIN zone ON zone.id = t.zone {join} "
            f"WHERE t.id > ? OR t.id IN ({others}) ORDER BY t.id",
            (self._seen[table],),
        ).fetchall()
        if rows:
            self._seen[table] = max(self._seen[table], rows[-1]["id"])
        return [dict(row) for row in rows]

    def _compare_events(self, rows: list[Row]) -> None:
        """Each thing is told once, with its size; and nothing else is."""
        for kind in EACH_TIME:
            told = [row for row in rows if row["kind"] == kind]
            for expected in sorted(
                (each for each in self._expected if each.kind == kind), key=_optional_last
            ):
                found = next((row for row in told if expected.fits(row)), None)
                if found is not None:
                    told.remove(found)
                    expected.may_come_later = False
                elif expected.must:
                    others = [(row["words"], row["size_s"]) for row in told]
                    raise Violation(f"not told: {expected}; the journal has {others}")
            if told:
                raise Violation(f"told, but it never was: {told[0]}")

    def _follow_faults(self, rows: list[Row]) -> None:
        """A relay's fault is followed by its recovery, which says how long it lasted.

        A zone has several where its old relay does not answer and its new one neither. One that a journal is
        told of as it begins has lasted for a while.
        """
        for row in rows:
            moment = (row["boot"], row["boot_ms"])
            zone, before = row["zone"], self._renamed.get(row["zone"], "")
            open_ones = self._faults.setdefault(zone, [])
            open_ones += self._faults.pop(before, [])
            if row["kind"] in BEGINS:
                self._faults, self._begins = {}, moment
            elif row["kind"] == "relay fault":
                if zone not in self._faulty and not self.doubt:
                    raise Violation(f"a fault was told of a relay that works: {row}")
                open_ones.append(row | {"since before": moment == self._begins})
            elif row["kind"] == "relay recovered":
                lasted_ms = [(each, row["boot_ms"] - each["boot_ms"]) for each in open_ones]
                size_ms = row["size_s"] * 1000
                ends = [each for each, for_ms in lasted_ms if abs(for_ms - size_ms) <= ROW_MS] or [
                    each for each, for_ms in lasted_ms if each["since before"] and for_ms < size_ms
                ]
                if ends:
                    open_ones.remove(ends[0])
                elif not self.doubt:
                    raise Violation(f"{zone}: of the faults {open_ones} none has lasted so long: {row}")

    def no_fault_is_left(self) -> None:
        """All relays have worked for a while."""
        known = {name for zone in self.site.zones for name in (zone.id, *zone.formerly)}
        for zone, rows in self._faults.items():
            if zone in known and rows:
                raise Violation(f"the recovery of {zone} was not told after its fault: {rows}")

    def _compare_switchings(self, rows: list[Row]) -> None:
        """Each switching of the program is in the journal, with the load of its time; and no other one."""
        left = {row["id"]: row for row in rows}
        for ends, begins in pairwise(rows):
            if (
                (ends["boot_ms"], ends["zone"]) == (begins["boot_ms"], self._renamed.get(begins["zone"]))
                and (ends["lit"], ends["cause"]) == (False, "site changed")
                and begins["lit"]
            ):  # the zone got another id, and no relay moved
                del left[ends["id"]], left[begins["id"]]
        for each in self._switched:
            change = each.change
            found = [
                row
                for row in left.values()
                if row["boot"] == f"boot-{change.boot}"
                and abs(row["boot_ms"] - change.boot_s * 1000) <= ROW_MS
                and bool(row["lit"]) is change.lit
                and row["zone"] in each.loads
            ]
            # The process was killed before it could tell, or told that a relay did not answer.
            if not found and (change.at_s in self.world.deaths_s or self._faulty & each.loads.keys()):
                continue
            if not found:
                raise Violation(f"a relay was switched, which was not told: {change}, {list(each.loads)}")
            row = left.pop(min(found, key=lambda row: RARE.get(row["cause"], 0))["id"])
            if change.lit and (row["watts"], row["origin"]) != each.loads[row["zone"]]:
                raise Violation(f"{row['zone']} drew {each.loads[row['zone']]}, not as told: {row}")
        for row in left.values():
            if row["cause"] not in OF_OTHERS and row["zone"] not in self._faulty:
                raise Violation(f"told, but no relay was switched: {row}")

    def _compare_overrides(self, rows: list[Row], known: int, in_force: dict[str, bool | None]) -> None:
        """Every override is told as it was placed, and its end once it was lifted or its time was over."""
        placed = [each for each in self._asked if each.lit is not None]
        # What goes on under another id is told once more.
        moments = {(row["boot"], row["boot_ms"], row["zone"]) for row in rows}
        new = [
            row
            for row in rows
            if row["id"] > known
            and (row["boot"], row["boot_ms"], self._renamed.get(row["zone"])) not in moments
        ]
        if len(placed) != len(new):
            raise Violation(f"{len(placed)} overrides were placed, {len(new)} are told")
        for each, row in zip(placed, new, strict=True):
            ends_ms = each.ends_at_utc and int(each.ends_at_utc.timestamp() * 1000)
            told = (row["zone"], bool(row["lit"]), row["lasts_s"])
            same_end = abs((row["ends_at_ms"] or 0) - (ends_ms or 0)) <= ROW_MS
            if told != (each.zone, each.lit, each.lasts_s) or not same_end or not _same_moment(each.at, row):
                raise Violation(f"an override was placed, {each}, and told otherwise: {row}")
        for each in (each for each in self._asked if each.lit is None):
            at_ms = round(each.at.boot_s * 1000)
            if not any(
                row["zone"] == each.zone
                and (row["ended_words"] or "").startswith("lifted")
                and abs(row["ended_boot_ms"] - at_ms) <= ROW_MS
                for row in rows
            ):
                raise Violation(f"an override was lifted, and that was not told: {each}")
        open_now = {row["zone"] for row in rows if row["ended_words"] is None}
        for zone in open_now - in_force.keys():
            raise Violation(f"the override of {zone} is over, but in force by the journal")
        for zone in (zone for zone, over in in_force.items() if over is False and zone not in open_now):
            raise Violation(f"the override of {zone} is in force, but not by the journal")

    # -- run hours -------------------------------------------------------------------------------------------

    def _add_runs(self, rows: list[Row]) -> None:
        """Add up every run by pairing the rows, without the program's own reader."""
        for row in rows:
            zone, begun = row["zone"], self._begun.pop(row["zone"], None)
            if bool(row["lit"]) is (begun is not None):
                raise Violation(f"{zone}: two switchings in a row are both {'lit' if row['lit'] else 'dark'}")
            if begun is None:
                self._begun[zone] = (row["at_ms"], row["boot_ms"], row["boot"])
                continue
            sure = row["cause"] != "relay fault" and row["lit_ms"] > 2 * ROW_MS
            if sure and not self._was_lit(zone, begun, row):
                raise Violation(f"{zone} was not lit from {begun} to {row}")
            same_boot = row["boot"] == begun[2]
            lasted_ms = row["boot_ms"] - begun[1] if same_boot else row["at_ms"] - begun[0]
            if lasted_ms != row["lit_ms"]:
                raise Violation(f"{zone}: a run of {lasted_ms} ms was written as {row['lit_ms']} ms")
            self._totals[zone] = self._totals.get(zone, 0.0) + lasted_ms / 1000

    def _was_lit(self, zone: str, begun: tuple[int, int, str], row: Row) -> bool:
        """Whether one of the zone's relays was closed from one row to another of the same boot."""
        if row["boot"] != begun[2]:
            return False
        boot, from_s, to_s = (
            int(begun[2].split("-")[1]),
            begun[1] / 1000 + 0.001,
            row["boot_ms"] / 1000 - 0.001,
        )
        began_s = self.world.boots_at_s[boot]
        faults_s = self._faults_s.get(zone, ())
        if any(
            since_s < began_s + to_s + TICK_S and began_s + from_s - TICK_S < til_s
            for since_s, til_s in faults_s
        ):
            return True  # nobody can say
        for number in self._pins[zone]:
            changes = self.world.pins[number].changes if number in self.world.pins else []
            place = len(changes)
            while place and (changes[place - 1].boot, changes[place - 1].boot_s) > (boot, from_s):
                place -= 1
            if not place or not changes[place - 1].lit or changes[place - 1].boot != boot:
                continue
            ends = changes[place] if place < len(changes) else None
            if ends is None or ends.boot != boot or ends.boot_s >= to_s:
                return True
        return False

    def _compare_run_hours(self, now: Reading) -> None:
        """Compare the journal's run hours with the pins'."""
        written = dict(self._totals)
        for name, (_, on_boot_ms, boot) in self._begun.items():
            if boot != now.boot_id:
                raise Violation(f"{name}: a run of an earlier boot was never ended")
            written[name] = written.get(name, 0.0) + now.boot_s - on_boot_ms / 1000
        truth = {zone.id: self.world.pin(zone.pin).total_s(self.world.now_s) for zone in self.site.zones}
        everything = sum(pin.total_s(self.world.now_s) for pin in self.world.pins.values())
        if self._written is not None:
            journal_s = sum(written.values()) - sum(self._written.values())
            budget_s = sum(self.budget_s.values()) + ROUNDING_S * 20
            _compare_sums("all zones", journal_s, everything - self._everything, budget_s)
            if not self.mapping_changed:
                for name, total_s in truth.items():
                    journal_s = written.get(name, 0.0) - self._written.get(name, 0.0)
                    budget_s = self.budget_s.get(name, 0.0) + ROUNDING_S * 8
                    _compare_sums(name, journal_s, total_s - self._truth.get(name, 0.0), budget_s)
        self._written, self._truth, self._everything = written, truth, everything
        self.budget_s = {}
        self.mapping_changed = False


def _optional_last(expected: Expected) -> bool:
    return not expected.must


def _compare_sums(name: str, journal_s: float, pins_s: float, budget_s: float) -> None:
    if abs(journal_s - pins_s) > budget_s:
        raise Violation(
            f"{name}: the journal says {journal_s:.1f} s lit, the pins {pins_s:.1f} s "
            f"(allowed difference {budget_s:.1f} s)"
        )


def _same_moment(at: Reading, row: Row) -> bool:
    return row["boot"] == at.boot_id and abs(row["boot_ms"] - at.boot_s * 1000) <= ROW_MS


def _known_time(journal: sqlite3.Connection) -> KnownTime:
    """Read what a start can know of the time: the last instant believed, and why it was."""
    last = journal.execute(
        f"SELECT at_ms FROM ({BELIEVED}) ORDER BY boot DESC, boot_ms DESC LIMIT 1"
    ).fetchone()
    sign = journal.execute(
        f"SELECT s.trusted, boot.boot_id FROM ({SIGNS}) s JOIN boot ON boot.id = s.boot "
        "ORDER BY s.boot DESC, boot_ms DESC, s.trusted DESC LIMIT 1"
    ).fetchone()
    word = journal.execute(
        "SELECT kind, at_ms, boot_ms, boot.boot_id FROM event e JOIN boot ON boot.id = e.boot "
        "WHERE kind IN ('clock confirmed', 'clock trusted', 'clock not trusted') "
        "AND boot = (SELECT max(id) FROM boot) ORDER BY e.id DESC LIMIT 1"
    ).fetchone()
    confirmed = None
    if word is not None and word[0] == "clock confirmed":
        confirmed = (word[3], word[1] / 1000, word[2] / 1000)
    return KnownTime(
        last_s=last[0] / 1000 if last else None,
        trusted_boot=sign[1] if sign and sign[0] and confirmed is None else "",
        confirmed=confirmed,
    )


def _how_it_ended(journal: sqlite3.Connection) -> Ended | None:
    """Read the last sign of life of the newest boot, and whether the last process says that it stopped."""
    row = journal.execute(
        f"SELECT min(at_ms), max(at_ms), boot_ms, s.trusted, boot.boot_id FROM ({SIGNS}) s "
        "JOIN boot ON boot.id = s.boot WHERE s.boot = (SELECT max(id) FROM boot) "
        "GROUP BY boot_ms, s.trusted ORDER BY boot_ms DESC, s.trusted DESC LIMIT 1"
    ).fetchone()
    last = journal.execute(
        "SELECT kind FROM event "
        "WHERE kind IN ('started', 'stopped', 'journal replaced', 'journal set aside') "
        "ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is None or last is None:
        return None
    first_ms, last_ms, boot_ms, trusted, boot = row
    return Ended(
        at_ms=(first_ms, last_ms),
        boot_ms=boot_ms,
        trusted=bool(trusted),
        boot=boot,
        well=last[0] == "stopped",
    )
