"""One garden's story from its seed: nights pass, things happen, the judge looks on."""

from __future__ import annotations

import contextlib
import gc
import heapq
import logging
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from api.daemon.last_good import LAST_GOOD
from tests.simulation.account import check_account, check_runs
from tests.simulation.daemon import in_this_world
from tests.simulation.happenings import EventfulGarden
from tests.simulation.judge import TICK_S
from tests.simulation.kept_garden import BUSY_BEFORE_S, BUSY_S
from tests.simulation.story import DAY_S, HAPPENINGS, QUIET_HAPPENINGS, Happening, draw_night
from tests.simulation.violation import Violation
from tests.simulation.world import Killed


@dataclass(kw_only=True)
class Result:
    """What came of one garden's story."""

    seed: int
    nights: int
    zone_nights: int
    happened: dict[str, int]
    violation: str | None = None


class Raised(logging.Handler):
    """Finds what the program caught and logged, but which should never have been raised."""

    def emit(self, record: logging.LogRecord) -> None:
        """Turn a logged exception into a violation."""
        if record.exc_info and not isinstance(record.exc_info[1], Killed):
            raise Violation(f"raised: {record.exc_info[1]!r}") from record.exc_info[1]


class GardenYear(EventfulGarden):
    """Runs one garden through its nights."""

    def run(self, nights: int) -> None:
        """Live through the nights."""
        with in_this_world(self.world), watching_the_log(), contextlib.ExitStack() as at_the_end:
            at_the_end.callback(lambda: self.daemon and self.daemon.end())
            self.guarded(self.start)
            for _ in range(nights):
                self.night_ends_s = self.world.now_s + DAY_S
                kinds = QUIET_HAPPENINGS if self.is_quiet else HAPPENINGS
                for happening in draw_night(self.dice, self.world, self.judge.oracle, kinds, calm=self.calm):
                    heapq.heappush(self.coming, happening)
                self.run_until(self.night_ends_s)
                self.zone_nights += len(self.site.zones)
                self.settle()
            self.world.fuse = None
            if self.daemon is not None:
                journal = self.daemon.journal
                self.stop()
                self.daemon = None
                if not self.world.disk and not journal.waiting:
                    check_runs(self.world, self.told, self.state)
                    if self.is_quiet:
                        check_account(self.world, self.told, self.state, self.site)

    def run_until(self, ends_s: float) -> None:
        """Let time pass from one moment of interest to the next."""
        world, now = self.world, None
        while world.now_s < ends_s:
            next_s = self.coming[0].at_s if self.coming else ends_s
            # The last ticks before something happens count, too.
            wakes_s = min(next_s, ends_s) - BUSY_BEFORE_S
            due_s = ends_s
            if self.daemon is not None:
                due_s = world.now_s + self.daemon.wait_s(
                    now, busy=self.busy, calm_until_s=min(next_s, ends_s)
                )
                if not self.busy and wakes_s > world.now_s:
                    due_s = min(due_s, wakes_s)
            look_s = min(self.judge.next_check_s, self.must_be_noticed_s + 0.1)
            world.now_s = max(world.now_s, min(due_s, next_s, look_s, ends_s))
            if self.coming and self.coming[0].at_s <= world.now_s:
                happening = heapq.heappop(self.coming)
                self.happened[happening.what] = self.happened.get(happening.what, 0) + 1
                self.busy_until_s = world.now_s + BUSY_S
                self.guarded(self.advance)
                self.guarded(partial(self.happen, happening))
                self.guarded(self.advance)
            elif due_s <= world.now_s:
                self.guarded(self.advance)
            self.notice_file()
            now = self.daemon.clock.read() if self.daemon else None
            self.notice_trust(now)
            self.judge.inspect(now, late_s=self.late_s)

    def happen(self, happening: Happening) -> None:
        """Let one thing happen."""
        getattr(self, "on_" + happening.what.replace(" ", "_"))(**happening.details)

    def settle(self) -> None:
        """At the end of a night: compare the journal with the pins, if there is somebody to write it."""
        if self.world.disk or self.coming or self.daemon is None:
            return
        self.guarded(self.daemon.write)
        daemon = self.daemon
        if daemon is None:
            return
        if self.world.now_s < self.well_since_s + TICK_S:
            return
        if daemon.journal.fault or daemon.journal.waiting:
            raise Violation(f"the disk is well, but the journal is not: {daemon.journal.fault}")
        if daemon.journal.lost:
            raise Violation(f"the journal gave up {daemon.journal.lost} entries")
        for at_s, night, _ in self.noons:
            if night not in daemon.maintenance.nights and at_s < self.world.now_s - 1:
                raise Violation(f"at the noon of {night} nothing was backed up")
        self.judge.check_pins()
        now = daemon.clock.read()
        self.told.compare(
            now, {name: each.over(self.world, now) for name, each in self.judge.overrides.items()}
        )
        if self.flipped is not None and self.flipped[0] > self.world.now_s - TICK_S:
            # Perhaps not found yet: then it is the next night's, too.
            self.told.allow(self.flipped[1], TICK_S + self.site.relays.rest_s)
        if self.is_punctual:
            self.told.no_fault_is_left()
        copy = self.state / LAST_GOOD
        if self.away is None and self.told.path.exists() and copy.read_text() != self.text:
            raise Violation("the last good copy of the site file is not the one in force")


@contextlib.contextmanager
def watching_the_log() -> Iterator[None]:
    """Let nothing be raised and hidden in the log."""
    handler = Raised()
    logs = [logging.getLogger(name) for name in ("controller", "leerie", "apscheduler", "asyncio")]
    quiet = [log.propagate for log in logs]
    for log in logs:
        log.propagate = False
        log.addHandler(handler)
    try:
        yield
    finally:
        for log, propagate in zip(logs, quiet, strict=True):
            log.removeHandler(handler)
            log.propagate = propagate


def run_garden(seed: int, nights: int, *, calm: float = 0.4) -> Result:
    """Run the garden of a seed through so many nights."""
    gc.disable()  # what goes round in circles is little, and is swept up between two gardens
    shared_memory = Path("/dev/shm")
    folder = shared_memory if shared_memory.is_dir() else None
    with tempfile.TemporaryDirectory(dir=folder, prefix="garden-") as state:
        year = GardenYear(seed, Path(state), calm=calm)
        violation = None
        try:
            year.run(nights)
        except Exception as error:
            at = f"{year.world.true_utc:%Y-%m-%dT%H:%M:%SZ}"
            violation = f"{type(error).__name__} at {at}: {error}"
            if not isinstance(error, Violation):
                logging.getLogger("simulation").debug("seed %s", seed, exc_info=True)
        finally:
            gc.enable()
        return Result(
            seed=seed,
            nights=nights,
            zone_nights=year.zone_nights,
            happened=year.happened,
            violation=violation,
        )
