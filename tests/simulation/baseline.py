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
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import dusk

from config.models.site import Site
from controller.records.reading import Reading
from controller.relays import Relays, Wire
from tests.simulation.daemon import in_this_world
from tests.simulation.garden_year import GardenYear, watching_the_log
from tests.simulation.gardens import Garden
from tests.simulation.judge import Judge
from tests.simulation.oracle import Oracle
from tests.simulation.story import DAY_S, HAPPENINGS, Happening, draw_details
from tests.simulation.world import SimulatedBoard, World

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
# What a script knows nothing of.
LEFT_OUT = (
    "confirm",
    "rewrite",
    "spoil",
    "override",
    "lift",
    "toggle",
    "damage",
    "folder",
    "zone data",
    "scheduler",
)


class NoonScript:
    """The hand-written script, with as much of a daemon's face as the story needs."""

    loop = None

    def __init__(self, world: World, site: Site) -> None:
        """Start: wait for noon."""
        self.world = world
        self.site = site
        self.wire = Wire(pin=site.zones[0].pin, active_high=site.zones[0].active_high)
        self.relays = Relays(lambda: SimulatedBoard(world))
        self.tz = ZoneInfo(site.time_zone)
        self.timers: list[tuple[float, str]] = []
        self.clock = SimpleNamespace(read=lambda: None)
        self.watch = SimpleNamespace(was_set=False)
        self.journal = SimpleNamespace(waiting=0)
        self.keeper = SimpleNamespace(overrides={})
        self._set(self._seconds_to(time(12)), "noon")

    def wait_s(self, _now: Reading | None, **_: object) -> float:
        """Give in how many seconds the next timer fires."""
        return max(self.timers[0][0] - self.world.now_s, 0.0)

    def advance(self, *, busy: bool) -> None:
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

    def stop(self) -> list[int]:
        """End, which leaves nothing lit."""
        self.end()
        return []

    def end(self) -> None:
        """End without a word."""
        self.world.release_pins()


@dataclass
class Tally:
    """Nights simulated, and for how many seconds of each the light was wrong."""

    wrong_s: list[float] = field(default_factory=list)

    def gone_wrong(self) -> str:
        """Say how many nights went wrong, and for how long on average."""
        bad = [wrong for wrong in self.wrong_s if wrong > WRONG_S]
        mean_min = sum(bad) / len(bad) / 60 if bad else 0.0
        return f"{len(bad):4} of {len(self.wrong_s)} ({mean_min:5.0f} min)"


class Onlooker(Judge):
    """Raises nothing: adds up for how long the one light was not what it must be by the true time."""

    is_powered = False
    wrong_s = seen_s = 0.0
    _was_wrong = False

    def inspect(self, now: Reading | None, *, late_s: float) -> None:
        """Look at the light now, and again when the program changes it next."""
        world, zone = self.world, self.site.zones[0]
        if self._was_wrong:
            self.wrong_s += world.now_s - self.seen_s
        program = self.oracle.look(zone.id, world.true_utc.timestamp())
        is_wrong = program.lit is not None and world.pin(zone.pin).lit is not program.lit
        self.seen_s, self._was_wrong = world.now_s, self.is_powered and is_wrong
        self.next_check_s = world.now_s + program.until_s - world.true_utc.timestamp()


class OneKind(GardenYear):
    """A garden in which only one kind of thing happens, watched by the true time instead of the judge."""

    def __init__(self, seed: int, folder: Path, *, script: bool) -> None:
        """Lay out one zone, lit from dusk to midnight; its nights begin at the noon of its own clock."""
        garden = Garden(random.Random(seed))
        garden.time_zone, garden.latitude, garden.longitude = random.Random(seed).choice(PLACES)
        garden.zones = [dict(garden.zones[0], program=("dusk to midnight",), special=(), out="")]
        garden.dusk_angle, garden.believe = 6, "synchronised"
        noon_s = Oracle(garden.text()).noon_s(garden.start_utc.date())
        garden.start_utc = datetime.fromtimestamp(noon_s - 1, UTC)
        super().__init__(seed, folder, garden=garden)
        self.judge = Onlooker(self.world, self.state, self.site, self.text)
        self.world.on_read, self.world.on_confirmed = lambda _reading: None, lambda: None
        self.told = self.judge.told
        self.script = script

    def start(self, kind: str = "") -> None:
        """Start one or the other."""
        if self.script:
            self.daemon = NoonScript(self.world, self.site)  # type: ignore[assignment]
        else:
            super().start(kind)

    def doubt_overrides(self) -> None:
        """Nobody overrides here."""

    def guarded(self, work: Callable[[], None]) -> None:
        """Do something; an error that comes out of the script ends it, as it would."""
        try:
            super().guarded(work)
        except OSError:
            self.die(2.0)
        self.judge.is_powered = self.daemon is not None  # type: ignore[attr-defined]

    def live(self, kind: str) -> float:
        """Live one night with one happening of a kind; the seconds for which the light was wrong."""
        if kind != QUIET:
            at_s = self.world.now_s + self.dice.uniform(4, 13) * 3600
            heapq.heappush(self.coming, Happening(at_s, kind, draw_details(self.dice, kind)))
        self.judge.wrong_s = 0.0  # type: ignore[attr-defined]
        self.run_until(self.world.now_s + DAY_S)
        return self.judge.wrong_s  # type: ignore[attr-defined,no-any-return]


def compare(kind: str, *, gardens: int, nights: int) -> tuple[Tally, Tally]:
    """Run the script and Leerie through the same nights of one kind."""
    tallies = (Tally(), Tally())
    for tally, script in zip(tallies, (True, False), strict=True):
        for seed in range(gardens):
            with tempfile.TemporaryDirectory() as folder:
                garden = OneKind(seed, Path(folder), script=script)
                with in_this_world(garden.world), watching_the_log():
                    garden.guarded(garden.start)
                    garden.live(QUIET)
                    tally.wrong_s += [garden.live(kind) for _ in range(nights)]
                    garden.world.fuse = None
                    if garden.daemon is not None:
                        garden.daemon.stop()
    return tallies


def main(arguments: list[str] | None = None, *, gardens: int = 8, nights: int = 8) -> int:
    """Print the table, for all kinds of happening or those that are named."""
    kinds = arguments or [QUIET, *(kind for kind in HAPPENINGS if kind not in LEFT_OUT)]
    print(f"nights with the light wrong for over {WRONG_S:.0f} s, and for how long, by what happened")
    print(f"{'':14} {'script':>22} {'Leerie':>22}")
    for kind in kinds:
        script, leerie = compare(kind, gardens=gardens, nights=nights)
        print(f"{kind:14} {script.gone_wrong():>22} {leerie.gone_wrong():>22}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
