"""The judge: what must hold at every instant, and whether the journal agrees with what the pins did."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from config.models.site import Site, Zone
from controller.journal.database import JOURNAL_NAME
from controller.records.reading import Reading
from tests.simulation.oracle import Oracle
from tests.simulation.world import World

# The longest that any light may be wrong: a tick and a moment.
TICK_S = 31.0
# What a power cut may lose of a run: a heartbeat every five minutes, by the promise of the journal.
BEAT_S = 301.0
# The oracle and the program find the sun to a second each; a switching is kept to a millisecond.
EDGE_S = 3.0
ROUNDING_S = 0.05


class Violation(AssertionError):  # noqa: N818 - named for what it is
    """Something that must never be."""


@dataclass(frozen=True, kw_only=True)
class PlacedOverride:
    """An override as the world saw it placed."""

    on: bool
    placed_s: float
    placed: Reading
    boots: int
    ends_at_utc: datetime | None
    lasts_s: float | None

    def over(self, world: World, now: Reading) -> bool | None:
        """Say whether its time is over; None where a board that lost the time cannot know."""
        elapsed_s = world.now_s - self.placed_s
        same_boot = self.boots == world.boots
        if self.lasts_s is not None and same_boot:
            return elapsed_s >= self.lasts_s
        end = self.ends_at_utc
        if end is None and self.placed.trusted:
            end = self.placed.utc + timedelta(seconds=self.lasts_s or 0)
        if now.trusted:
            return end is None or now.utc >= end
        if same_boot and end is not None:
            return elapsed_s >= (end - self.placed.utc).total_seconds()
        return None


class Judge:
    """Looks at the world between rounds and says what is wrong."""

    def __init__(self, world: World, site: Site, state: Path) -> None:
        """Begin to watch."""
        self.world = world
        self.path = state / JOURNAL_NAME
        self.overrides: dict[str, PlacedOverride] = {}
        self.next_check_s = 0.0
        self.budget_s: dict[str, float] = {}
        self.excused: dict[str, float] = {}
        self._wrong_since: dict[str, float] = {}
        self._seen_changes: dict[int, int] = {}
        self._last_lit_s = -1e9
        self.last_start_s = 0.0
        self._everything = 0.0
        self._believed_utc: datetime | None = None
        self.mapping_changed = True
        self.take_site(site)
        self._truth: dict[str, float] = {}
        self._written: dict[str, float] = {}

    def take_site(self, site: Site) -> None:
        """Watch another site, or the same one anew."""
        self.site = site
        self.oracle = Oracle(site)
        self.mapping_changed = True
        known = {zone.id for zone in site.zones}
        self.overrides = {name: override for name, override in self.overrides.items() if name in known}
        for zone in site.zones:
            self.excuse(zone.id, TICK_S + site.relays.rest_s)

    def excuse(self, zone_id: str, for_s: float) -> None:
        """Look away from one zone for a while."""
        until_s = self.world.now_s + for_s
        self.excused[zone_id] = max(self.excused.get(zone_id, 0.0), until_s)

    def allow(self, zone_id: str, seconds: float) -> None:
        """Let the run hours of one zone be wrong by so much more."""
        self.budget_s[zone_id] = self.budget_s.get(zone_id, 0.0) + seconds

    # -- at every stop ---------------------------------------------------------------------------------------

    def expected(self, zone: Zone, now: Reading) -> bool | None:
        """Say what one zone must be now; None without an opinion."""
        if zone.out_of_service is not None:
            return False
        override = self.overrides.get(zone.id)
        if override is not None and override.over(self.world, now) is False:
            return override.on
        if not now.trusted:
            return False
        return self.oracle.lit(zone, now.utc)

    def end_of_plain_override(self, zone: Zone, now: Reading, lasts_s: float | None) -> datetime | None:
        """Say when a override without a time ends: with the program's next change, at most a day from now."""
        if lasts_s is not None or not now.trusted:
            return None
        at_most = now.utc + timedelta(days=1)
        lit, edge = self.oracle.lit(zone, now.utc), self.oracle.next_edge(zone, now.utc)
        while edge is not None and edge < at_most and self.oracle.lit(zone, edge) == lit:
            edge = self.oracle.next_edge(zone, edge)
        return at_most if edge is None else min(edge, at_most)

    def near_an_edge(self, zone: Zone, now: Reading) -> bool:
        """Whether a second of sun decides what the program asks for, or the oracle has no opinion on it."""
        night = self.oracle.night_date(now.utc)
        if any(self.oracle.windows(zone, night + timedelta(days=days)) is None for days in (0, 1)):
            return True
        before, after = (now.utc + timedelta(seconds=side * EDGE_S) for side in (-1, 1))
        return self.oracle.next_edge(zone, before) != self.oracle.next_edge(zone, after)

    def after_round(self, now: Reading) -> None:
        """Let go of overrides that a round has seen the end of."""
        for name in [name for name, override in self.overrides.items() if override.over(self.world, now)]:
            del self.overrides[name]

    def inspect(self, now: Reading | None) -> None:
        """Compare every pin with what it must be; ``now`` is None while no keeper is alive."""
        world, at_s = self.world, self.world.now_s
        self.next_check_s = at_s + 86_400.0
        self._check_trust(now)
        slack_s = TICK_S + self.site.relays.rest_s + self.site.relays.stagger_s * len(self.site.zones)
        for zone in self.site.zones:
            lit = world.pin(zone.pin).lit
            must = False if now is None else self.expected(zone, now)
            excused = at_s < self.excused.get(zone.id, 0.0) or zone.pin in world.pin_faults
            if must is None or must is lit or excused:
                self._wrong_since.pop(zone.id, None)
            else:
                since_s = self._wrong_since.setdefault(zone.id, at_s)
                if at_s - since_s > slack_s:
                    found = "lit" if lit else "dark"
                    raise Violation(f"{zone.id} has been {found} for {at_s - since_s:.0f} s and must not be")
                self.next_check_s = min(self.next_check_s, since_s + slack_s + 1)
            if now is not None and now.trusted:
                edge = self.oracle.next_edge(zone, now.utc)
                if edge is not None:
                    wait_s = (edge - now.utc).total_seconds() + EDGE_S + self.site.relays.stagger_s * 8
                    self.next_check_s = min(self.next_check_s, at_s + max(wait_s, 1.0))
        self._check_pins()

    def _check_trust(self, now: Reading | None) -> None:
        """Without the network, no clock is believed that is behind what was once believed."""
        if now is None or not now.trusted:
            return
        if self.world.synchronised:
            self._believed_utc = now.utc
            return
        if self._believed_utc is not None and now.utc < self._believed_utc - timedelta(minutes=6):
            raise Violation(f"a clock {self._believed_utc - now.utc} behind the journal is believed")
        self._believed_utc = max(now.utc, self._believed_utc or now.utc)

    def remember_only_what_is_written(self) -> None:
        """After a death the next run knows of the time what the journal says, and no more."""
        newest = " UNION ALL ".join(
            f"SELECT * FROM (SELECT at_ms FROM {table} WHERE trusted ORDER BY {order} DESC LIMIT 1)"
            for table, order in (("event", "id"), ("switching", "id"), ("override", "id"), ("beat", "at_ms"))
        )
        try:
            with contextlib.closing(sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
                ((at_ms,),) = connection.execute(f"SELECT max(at_ms) FROM ({newest})").fetchall()
        except (sqlite3.Error, ValueError):  # a journal that was damaged says anything
            at_ms = None
        if at_ms is None or self._believed_utc is None:
            self._believed_utc = None
        else:
            self._believed_utc = min(self._believed_utc, datetime.fromtimestamp(at_ms / 1000, UTC))

    def _check_pins(self) -> None:
        """No relay switched within its rest, no two lights within the stagger."""
        for number, truth in self.world.pins.items():
            seen = self._seen_changes.get(number, 0)
            for position in range(seen, len(truth.changes)):
                at_s, lit, by_hand = truth.changes[position]
                if by_hand:
                    self._last_lit_s = -1e9
                    continue
                if position and not truth.changes[position - 1][2]:
                    gap_s = at_s - truth.changes[position - 1][0]
                    # What was switched in the moment of a death, or was never written, nobody knows.
                    unrecorded = truth.changes[position - 1][0] in self.world.deaths_s
                    if not unrecorded and gap_s < self.site.relays.rest_s - 1e-6:
                        raise Violation(f"pin {number} was switched twice within {gap_s:.3f} s")
                if lit:
                    gap_s = at_s - self._last_lit_s
                    if gap_s < self.site.relays.stagger_s - 1e-6:
                        raise Violation(f"pin {number} came on {gap_s:.3f} s after another one")
                    self._last_lit_s = at_s
            self._seen_changes[number] = len(truth.changes)

    # -- the journal -----------------------------------------------------------------------------------------

    def forget_run_hours(self) -> None:
        """Begin the comparison of journal and pins anew, as after a damaged journal."""
        self._written = {}
        self.budget_s = {}
        self._believed_utc = None

    def compare_run_hours(self, now: Reading) -> None:
        """Compare the journal's run hours with the pins', and its switchings with each other."""
        written = self._read_run_hours(now)
        truth = {zone.id: self.world.pin(zone.pin).total_s(self.world.now_s) for zone in self.site.zones}
        everything = sum(pin.total_s(self.world.now_s) for pin in self.world.pins.values())
        if self._written:
            journal_s = sum(written.values()) - sum(self._written.values())
            budget_s = sum(self.budget_s.values()) + ROUNDING_S * 20
            self._compare("all zones", journal_s, everything - self._everything, budget_s)
            if not self.mapping_changed:
                for name, total_s in truth.items():
                    journal_s = written.get(name, 0.0) - self._written.get(name, 0.0)
                    budget_s = self.budget_s.get(name, 0.0) + ROUNDING_S * 8
                    self._compare(name, journal_s, total_s - self._truth.get(name, 0.0), budget_s)
        self._written, self._truth, self._everything = written or {"": 0.0}, truth, everything
        self.budget_s = {}
        self.mapping_changed = False

    def _compare(self, name: str, journal_s: float, pins_s: float, budget_s: float) -> None:
        if abs(journal_s - pins_s) > budget_s:
            raise Violation(
                f"{name}: the journal says {journal_s:.1f} s lit, the pins {pins_s:.1f} s "
                f"(allowed difference {budget_s:.1f} s)"
            )

    def _read_run_hours(self, now: Reading) -> dict[str, float]:
        """Add up every run by pairing the rows of the journal, without the program's own reader."""
        with contextlib.closing(sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
            rows = connection.execute(
                "SELECT zone.name, lit, at_ms, boot_ms, boot.boot_id, lit_ms FROM switching "
                "JOIN zone ON zone.id = switching.zone JOIN boot ON boot.id = switching.boot "
                "ORDER BY switching.id"
            ).fetchall()
        totals: dict[str, float] = {}
        begun: dict[str, tuple[int, int, str]] = {}
        for name, lit, at_ms, boot_ms, boot, lit_ms in rows:
            if bool(lit) is (name in begun):
                raise Violation(f"{name}: two switchings in a row are both {'lit' if lit else 'dark'}")
            if lit:
                begun[name] = (at_ms, boot_ms, boot)
                continue
            on_at_ms, on_boot_ms, on_boot = begun.pop(name)
            lasted_ms = boot_ms - on_boot_ms if boot == on_boot else at_ms - on_at_ms
            if lasted_ms != lit_ms:
                raise Violation(f"{name}: a run of {lasted_ms} ms was written as {lit_ms} ms")
            totals[name] = totals.get(name, 0.0) + lasted_ms / 1000
        for name, (_, on_boot_ms, on_boot) in begun.items():
            if on_boot != now.boot_id:
                raise Violation(f"{name}: a run of an earlier boot was never ended")
            totals[name] = totals.get(name, 0.0) + now.boot_s - on_boot_ms / 1000
        return totals

    def overrides_written(self) -> set[str]:
        """Give the zones whose override is in force by the journal."""
        with contextlib.closing(sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
            rows = connection.execute(
                "SELECT zone.name FROM override JOIN zone ON zone.id = override.zone "
                "WHERE ended_at_ms IS NULL"
            )
            return {name for (name,) in rows}

    def expect_gap_recorded(self, kind: str, since: Reading) -> None:
        """The journal must have recorded that nobody kept the lights for a while."""
        with contextlib.closing(sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)) as connection:
            found = connection.execute(
                "SELECT count(*) FROM event JOIN boot ON boot.id = event.boot "
                "WHERE kind = ? AND boot_ms >= ? AND boot.boot_id = ?",
                (kind, int(since.boot_s * 1000) - 1, since.boot_id),
            ).fetchone()[0]
        if found != 1:
            raise Violation(f"the journal has “{kind}” {found} times after a start, not once")
