"""What the journal must say: its raw rows compared with what happened, without the program's own reader."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from itertools import pairwise

from controller.records.reading import Reading
from tests.simulation.happened import DIED, POWER_LOST, TICK_S, Expected, Happened
from tests.simulation.journal_rows import Row
from tests.simulation.violation import Violation

# What a power cut may lose of a run: a heartbeat every five minutes, by the promise of the journal.
BEAT_S = 301.0
# A switching is kept to a millisecond.
ROUNDING_S = 0.05
ROW_MS = 1
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


class Told(Happened):
    """Compares the journal with what happened."""

    def in_force(self) -> set[str]:
        """Give the zones whose override is in force by the journal."""
        with self.reading() as journal:
            rows = journal.execute(
                "SELECT zone.name FROM override JOIN zone ON zone.id = zone WHERE ended_at_ms IS NULL"
            )
            return {name for (name,) in rows}

    def check_fresh(self, lit: set[str], overridden: set[str]) -> None:
        """A journal that took the place of another must begin with what was found, and what is in force."""
        with self.reading() as journal:
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
        with self.reading() as journal:
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
