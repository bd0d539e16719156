"""``python -m tests.simulation.baseline``: the script that people begin with, beside Leerie.

The script is twenty lines: at noon it asks astral for today's dusk, sets a timer for it and one for midnight,
and believes its clock. For each kind of happening both run through the same nights. What is counted is
for how long, while there was power, the light was not what a person expects by the true time.
"""

from __future__ import annotations

import heapq
import random
import sys
import tempfile
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import dusk

from config.file.loader import parse_site
from config.models.site import Site
from controller.relays import Relays, Wire
from tests.simulation.garden_year import GardenYear
from tests.simulation.oracle import Oracle
from tests.simulation.story import DAY_S, HAPPENINGS, Happening, _details
from tests.simulation.world import SimulatedBoard, World, connect_through

# Wrong for longer than this counts as a night gone wrong.
WRONG_S = 60.0
PLACES = (
    ("Europe/London", 51.5, 0.0),
    ("America/New_York", 41.5, -71.3),
    ("Pacific/Auckland", -36.8, 174.8),
    ("Europe/Oslo", 59.9, 10.8),
    ("Australia/Lord_Howe", -31.55, 159.08),
)
QUIET = "nothing"


class NoonScript:
    """The hand-written script, with as much of a keeper's face as the world needs."""

    def __init__(self, world: World, site: Site) -> None:
        """Start: wait for noon."""
        self.world = world
        self.site = site
        self.wire = Wire(pin=site.zones[0].pin, active_high=site.zones[0].active_high)
        self.relays = Relays(lambda: SimulatedBoard(world))
        self.tz = ZoneInfo(site.time_zone)
        self.timers: list[tuple[float, str]] = []
        self.journal = SimpleNamespace(waiting=0, fault=None, lost=0, close=lambda: None)
        self.maintenance = self.keeper = SimpleNamespace(
            change_site=lambda *_, **__: None,
            refuse_site=lambda *_: None,
            lift_override=lambda *_: None,
            overrides={},
        )
        self._set(self._seconds_to(time(12)), "noon")

    @property
    def due_s(self) -> float:
        """When the next timer fires."""
        return self.timers[0][0]

    def round(self, *, busy: bool = True) -> None:
        """Do what the timers that have fired ask for."""
        while self.timers[0][0] <= self.world.now_s:
            what = heapq.heappop(self.timers)[1]
            if what == "noon":
                self._noon()
            else:
                self.relays.set(self.wire, on=what == "on")

    def _noon(self) -> None:
        now = self.world.clock_utc.astimezone(self.tz)
        place = Observer(self.site.latitude_deg, self.site.longitude_deg)
        self._set((dusk(place, now.date(), tzinfo=self.tz) - now).total_seconds(), "on")
        self._set(self._seconds_to(time(0)), "off")
        self._set(self._seconds_to(time(12)), "noon")

    def _seconds_to(self, clock: time) -> float:
        now = self.world.clock_utc.astimezone(self.tz)
        then = datetime.combine(now.date(), clock, self.tz)
        return ((then if then > now else then + timedelta(days=1)) - now).total_seconds()

    def _set(self, in_s: float, what: str) -> None:
        heapq.heappush(self.timers, (self.world.now_s + max(in_s, 0.0), what))

    def write(self) -> None:
        """It writes nothing."""

    def stop(self) -> None:
        """End."""
        self.world.release_pins()

    end = stop


@dataclass
class Tally:
    """Nights simulated, and for how many seconds of each the light was wrong."""

    wrong_s: list[float] = field(default_factory=list)

    def gone_wrong(self) -> str:
        """Say how many nights went wrong, and for how long on average."""
        bad = [wrong for wrong in self.wrong_s if wrong > WRONG_S]
        mean_min = sum(bad) / len(bad) / 60 if bad else 0.0
        return f"{len(bad):4} of {len(self.wrong_s)} ({mean_min:5.0f} min)"


class OneKind(GardenYear):
    """A garden in which only one kind of thing happens, watched by the true time instead of the judge."""

    def __init__(self, seed: int, state: Path, *, script: bool) -> None:
        """Lay out one zone, lit from dusk to midnight."""
        super().__init__(seed, state)
        self.script = script
        zone, latitude, longitude = random.Random(seed).choice(PLACES)
        self.garden.time_zone, self.garden.latitude, self.garden.longitude = zone, latitude, longitude
        self.garden.zones = [dict(self.garden.zones[0], program=("dusk to midnight",), special=(), out="")]
        self.garden.dusk_angle = 6
        self.site = parse_site(self.garden.text(), "garden.toml").site
        self.truth = Oracle(self.site)
        # The noon of the garden's own clock, so that a night is a night.
        day = self.garden.start().date()
        self.world = World(self.truth.noon(day) - timedelta(seconds=1))
        self.judge = SimpleNamespace(  # type: ignore[assignment]
            allow=lambda *_: None,
            excuse=lambda *_: None,
            doubt=lambda *_: None,
            overrides={},
            overrides_written=set,
            forget_run_hours=lambda: None,
            remember_only_what_is_written=lambda: None,
            expect_gap_recorded=lambda *_: None,
            last_start_s=0.0,
        )

    def start(self) -> None:
        """Start one or the other."""
        if self.script:
            self.daemon = NoonScript(self.world, self.site)  # type: ignore[assignment]
        else:
            super().start()

    def on_start_again(self, *, sync: bool, kind: str) -> None:
        """Start after an end; the script has no journal that could be asked."""
        if not self.script:
            super().on_start_again(sync=sync, kind=kind)
        elif self.daemon is None:
            self.start()

    def doubt_overrides(self) -> None:
        """Nobody overrides here."""

    def night(self, kind: str) -> float:
        """Live one night with one happening of a kind; the seconds for which the light was wrong."""
        world = self.world
        ends_s = world.now_s + DAY_S
        if kind != QUIET:
            at_s = world.now_s + self.dice.uniform(4, 13) * 3600
            heapq.heappush(self.coming, Happening(at_s, kind, _details(self.dice, kind)))
        wrong_s, zone = 0.0, self.site.zones[0]
        while world.now_s < ends_s:
            edge = self.truth.next_edge(zone, world.true_utc)
            edge_s = world.now_s + (edge - world.true_utc).total_seconds() if edge else ends_s
            due_s = self.daemon.due_s if self.daemon else ends_s
            next_s = self.coming[0].at_s if self.coming else ends_s
            then_s = max(min(due_s, next_s, edge_s, ends_s), world.now_s)
            powered = self.daemon is not None
            if powered and world.pin(zone.pin).lit is not self.truth.lit(zone, world.true_utc):
                wrong_s += then_s - world.now_s
            world.now_s = then_s
            if self.coming and self.coming[0].at_s <= world.now_s:
                self.guarded(partial(self.happen, heapq.heappop(self.coming)))
                self.tend()
            elif self.daemon is not None and self.daemon.due_s <= world.now_s:
                self.tend()
        return wrong_s

    def tend(self) -> None:
        """Have a round made; an error that comes out of the script ends it, as it would."""
        if self.daemon is None:
            return
        daemon = self.daemon
        try:
            self.guarded(lambda: daemon.round(busy=True))
        except OSError:
            self.die(2.0)


def compare(kind: str, *, gardens: int, nights: int) -> tuple[Tally, Tally]:
    """Run the script and Leerie through the same nights of one kind."""
    tallies = (Tally(), Tally())
    for tally, script in zip(tallies, (True, False), strict=True):
        for seed in range(gardens):
            with tempfile.TemporaryDirectory() as state:
                garden = OneKind(seed, Path(state), script=script)
                with patch("sqlite3.connect", connect_through(garden.world)):
                    garden.guarded(garden.start)
                    garden.night(QUIET)
                    tally.wrong_s += [garden.night(kind) for _ in range(nights)]
                    garden.world.fuse = None
                    if garden.daemon is not None:
                        garden.daemon.stop()
    return tallies


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    left_out = {"override", "lift", "toggle", "rewrite", "spoil", "damage"}
    kinds = arguments or [QUIET, *sorted(set(HAPPENINGS) - left_out)]
    print(f"nights with the light wrong for over {WRONG_S:.0f} s, and for how long, by what happened")
    print(f"{'':14} {'script':>22} {'Leerie':>22}")
    for kind in kinds:
        script, leerie = compare(kind, gardens=8, nights=8)
        print(f"{kind:14} {script.gone_wrong():>22} {leerie.gone_wrong():>22}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
