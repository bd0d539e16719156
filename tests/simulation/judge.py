"""The judge: what must hold at every instant. What the journal must say stands in `told`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from config.models.site import Site, Zone
from controller.records.entries import Override
from controller.records.reading import Reading
from tests.simulation.belief import Belief
from tests.simulation.oracle import oracle_of
from tests.simulation.told import Told
from tests.simulation.violation import Violation
from tests.simulation.world import PinChange, World

# The longest that any light may be wrong: a tick and a moment.
TICK_S = 31.0
# An instant is kept to a millisecond.
ROUNDING_S = 0.002


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
    """Looks at the world whenever something happens or is due, and says what is wrong."""

    def __init__(self, world: World, state: Path, site: Site, text: str) -> None:
        """Begin to watch."""
        self.world = world
        self.told = Told(world, state)
        self.overrides: dict[str, PlacedOverride] = {}
        self.next_check_s = 0.0
        self.excused: dict[str, float] = {}
        self._wrong_since: dict[str, float] = {}
        self._seen_changes: dict[int, int] = {}
        self._last_lit_s = -1e9
        self.belief = Belief(world, site.clock.believe)
        self.site = site
        self.take_site(site, text)

    def take_site(self, site: Site, text: str) -> None:
        """Watch another site, or the same one anew."""
        self.oracle = oracle_of(text)
        self.belief.believe = {site.clock.believe}
        self.told.take_site(site, self.oracle)
        for old, new in self._renames(site):
            self.told.renamed(old, new)
            override = self.overrides.pop(old, None)
            if override is not None:
                self.overrides.setdefault(new, override)
        self.site = site
        known = {zone.id for zone in site.zones}
        self.overrides = {name: override for name, override in self.overrides.items() if name in known}
        for zone in site.zones:
            self.excuse(zone.id, TICK_S + site.relays.rest_s)

    def _renames(self, site: Site) -> list[tuple[str, str]]:
        """Give the zones that have another id in a site than they had, with both."""
        before = {zone.id for zone in self.site.zones}
        return [
            (old, zone.id)
            for zone in site.zones
            for old in zone.formerly
            if old in before and zone.id not in before
        ]

    def excuse(self, zone_id: str, for_s: float) -> None:
        """Look away from one zone for a while."""
        until_s = self.world.now_s + for_s
        self.excused[zone_id] = max(self.excused.get(zone_id, 0.0), until_s)

    # -- at every stop ---------------------------------------------------------------------------------------

    def expected(self, zone: Zone, now: Reading, program: bool | None) -> bool | None:
        """Say what one zone must be now, by its program where the clock is trusted; None: no opinion."""
        if zone.out_of_service is not None:
            return False
        override = self.overrides.get(zone.id)
        if override is not None and override.over(self.world, now) is False:
            return override.on
        return program if now.trusted else False

    def check_end(self, placed: Override, now: Reading) -> None:
        """An override without a time ends with the program's next change, at most a day from now."""
        now_s = now.utc.timestamp()
        if self.oracle.lit(placed.zone, now_s) is None:
            return
        at_most_s = now_s + 86_400
        early_s, late_s = self.oracle.next_change_s(placed.zone, now_s) or (at_most_s, at_most_s)
        ends_s = placed.ends_at_utc.timestamp() if placed.ends_at_utc else 0.0
        if not min(early_s, at_most_s) - ROUNDING_S <= ends_s <= min(late_s, at_most_s) + ROUNDING_S:
            raise Violation(
                f"an override of {placed.zone} ends at {placed.ends_at_utc}, not with the program"
            )

    def after_round(self, now: Reading) -> None:
        """Let go of overrides that a round has seen the end of."""
        self.belief.round(now)
        for name in [name for name, override in self.overrides.items() if override.over(self.world, now)]:
            del self.overrides[name]

    def inspect(self, now: Reading | None, *, late_s: float) -> None:
        """Compare every pin with what it must be.

        Args:
            now: the clock as it is read; None while no keeper is alive.
            late_s: how late a light may be, beside its relay's rest and its turn.
        """
        world, at_s, relays = self.world, self.world.now_s, self.site.relays
        self.next_check_s = at_s + 86_400.0
        slack_s = late_s + relays.rest_s + relays.stagger_s * len(self.site.zones)
        now_s = 0.0 if now is None else now.utc.timestamp()
        for zone in self.site.zones:
            lit, must = world.pin(zone.pin).lit, False
            if now is not None and now.trusted:
                program = self.oracle.look(zone.id, now_s)
                must = self.expected(zone, now, program.lit)
                # As it is it stays, until somebody does something: look again when that will be wrong.
                again_s = program.until_s
                if must is lit and zone.out_of_service is not None:
                    again_s = float("inf")
                elif must is lit and must is program.lit:
                    again_s = program.dark_from_s if lit else program.lit_from_s
                self.next_check_s = min(self.next_check_s, at_s + again_s - now_s + 0.5)
            elif now is not None:
                must = self.expected(zone, now, None)
            excused = at_s < self.excused.get(zone.id, 0.0) or zone.pin in world.pin_faults
            if must is None or must is lit or excused:
                self._wrong_since.pop(zone.id, None)
            else:
                since_s = self._wrong_since.setdefault(zone.id, at_s)
                if at_s - since_s > slack_s:
                    found = "lit" if lit else "dark"
                    raise Violation(f"{zone.id} has been {found} for {at_s - since_s:.0f} s and must not be")
                self.next_check_s = min(self.next_check_s, since_s + slack_s + 0.1)
        self.check_pins()

    def forget_lights(self) -> None:
        """The process is gone, and what it lit is dark: the first light of the next one waits for nothing."""
        self._last_lit_s = -1e9

    def check_pins(self) -> None:
        """No relay switched within its rest, no two lights of one process within the stagger."""
        world = self.world
        for number, truth in world.pins.items():
            seen = self._seen_changes.get(number, 0)
            if seen == len(truth.changes):
                continue
            for position in range(seen, len(truth.changes)):
                change = truth.changes[position]
                if change.by != "program":
                    self._last_lit_s = -1e9
                    continue
                self.told.switched(number, change)
                self._check_rest(number, truth.changes[:position], change)
                if change.lit:
                    gap_s = change.at_s - self._last_lit_s
                    if gap_s < self.site.relays.stagger_s - 1e-6:
                        raise Violation(f"pin {number} came on {gap_s:.3f} s after another one")
                    self._last_lit_s = change.at_s
            self._seen_changes[number] = len(truth.changes)

    def _check_rest(self, number: int, earlier: list[PinChange], change: PinChange) -> None:
        """Compare a switching with the one before it in the same boot, and with the boot's beginning."""
        rest_s = self.site.relays.rest_s - 1e-6
        if change.boot_s < rest_s:
            raise Violation(f"pin {number} was switched {change.boot_s:.4f} s after the board started")
        before = next((each for each in reversed(earlier) if each.by != "hand"), None)
        # What was switched in the moment of a death, or was never written, nobody knows.
        if before is None or before.boot != change.boot or before.at_s in self.world.deaths_s:
            return
        if change.at_s - before.at_s < rest_s:
            raise Violation(f"pin {number} was switched twice within {change.at_s - before.at_s:.4f} s")
