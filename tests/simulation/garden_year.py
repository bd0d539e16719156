"""One garden's story from its seed: the daemon runs in the world, things happen, the judge looks on."""

from __future__ import annotations

import contextlib
import heapq
import logging
import random
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path
from unittest.mock import patch

from config.errors import SiteFileError
from config.file.loader import parse_site
from controller.journal.database import JOURNAL_NAME
from tests.simulation.daemon import SimulatedDaemon
from tests.simulation.gardens import Garden
from tests.simulation.judge import BEAT_S, TICK_S, Judge, PlacedOverride, Violation
from tests.simulation.story import DAY_S, Happening, draw_night
from tests.simulation.world import Killed, World, connect_through

BUSY_S = 150.0
# Eight zones that take turns, a client that toggles and a round after each happening make some tens.
MOST_ROUNDS_A_SECOND = 200


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
        if record.exc_info:
            raise Violation(f"raised: {record.exc_info[1]!r}") from record.exc_info[1]


class GardenYear:
    """Runs one garden through its nights."""

    def __init__(self, seed: int, state: Path, *, calm: float = 0.4) -> None:
        """Lay out the garden and start the program in it."""
        self.dice = random.Random(seed)
        self.calm = calm
        self.state = state
        self.garden = Garden(self.dice)
        self.site = parse_site(self.garden.text(), "garden.toml").site
        self.world = World(self.garden.start())
        self.world.hardware = self.dice.random() < 0.4
        self.judge = Judge(self.world, self.site, state)
        self.coming: list[Happening] = []
        self.happened: dict[str, int] = {}
        self.busy_until_s = 0.0
        self.night_ends_s = 0.0
        self.zone_nights = 0
        self.daemon: SimulatedDaemon | None = None
        self.rounds_in = (0, 0)
        self.slept_s = 0.0

    # -- the loop --------------------------------------------------------------------------------------------

    def run(self, nights: int) -> None:
        """Live through the nights."""
        with patch("sqlite3.connect", connect_through(self.world)), watching_the_log():
            self.guarded(self.start)
            for _ in range(nights):
                self.night_ends_s = self.world.now_s + DAY_S
                for happening in draw_night(self.dice, self.world, self.judge.oracle, calm=self.calm):
                    heapq.heappush(self.coming, happening)
                self.run_until(self.night_ends_s)
                self.zone_nights += len(self.site.zones)
                self.settle()
            self.world.fuse = None
            if self.daemon is not None:
                self.daemon.stop()

    def run_until(self, ends_s: float) -> None:
        """Let time pass from one moment of interest to the next."""
        world = self.world
        while world.now_s < ends_s:
            due_s = self.daemon.due_s if self.daemon else ends_s
            next_s = self.coming[0].at_s if self.coming else ends_s
            world.now_s = max(world.now_s, min(due_s, next_s, self.judge.next_check_s, ends_s))
            if self.coming and self.coming[0].at_s <= world.now_s:
                happening = heapq.heappop(self.coming)
                self.happened[happening.what] = self.happened.get(happening.what, 0) + 1
                self.busy_until_s = world.now_s + BUSY_S
                if self.daemon is not None and world.fuse is None:
                    self.guarded(self.daemon.write)
                self.guarded(partial(self.happen, happening))
                self.round()
            elif self.daemon is not None and self.daemon.due_s <= world.now_s:
                self.round()
            self.judge.inspect(self.daemon.clock.read() if self.daemon else None)

    def happen(self, happening: Happening) -> None:
        """Let one thing happen."""
        getattr(self, "on_" + happening.what.replace(" ", "_"))(**happening.details)

    def round(self) -> None:
        """Have the keeper make a round."""
        if self.daemon is None:
            return
        second = int(self.world.now_s)
        self.rounds_in = (second, self.rounds_in[1] + 1 if self.rounds_in[0] == second else 1)
        if self.rounds_in[1] > MOST_ROUNDS_A_SECOND:
            raise Violation("the keeper makes rounds without end")
        daemon, busy = self.daemon, self.world.now_s < self.busy_until_s
        calm_until_s = min(self.coming[0].at_s if self.coming else self.night_ends_s, self.night_ends_s)
        self.guarded(
            lambda: daemon.round(busy=busy or bool(self.world.pin_faults), calm_until_s=calm_until_s)
        )
        if self.daemon is not None:
            self.slept_s = 0.0
            self.judge.after_round(self.daemon.clock.read())

    def settle(self) -> None:
        """At the end of a night: compare the journal with the pins, if there is somebody to write it."""
        daemon = self.daemon
        if daemon is None or self.world.disk or self.coming:
            return
        self.guarded(daemon.write)
        if self.daemon is None:
            return
        if daemon.journal.fault or daemon.journal.waiting:
            raise Violation(f"the disk is well, but the journal is not: {daemon.journal.fault}")
        if daemon.journal.lost:
            raise Violation(f"the journal gave up {daemon.journal.lost} entries")
        self.judge.compare_run_hours(daemon.clock.read())
        if self.dice.random() < 0.3:
            night = self.judge.oracle.night_date(self.world.clock_utc)
            self.guarded(lambda: daemon.maintenance.back_up(night))

    # -- start and end ---------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the program."""
        self.daemon = None
        self.world.fuse = self.world.fuse
        self.daemon = SimulatedDaemon(self.world, self.site, self.state)

    def guarded(self, work: Callable[[], None]) -> None:
        """Do something with the program, which may be killed at any write."""
        try:
            work()
        except Killed:
            self.die(2.0)

    def die(self, off_s: float) -> None:
        """The process is gone; the service manager starts it again."""
        self.world.deaths_s.add(self.world.now_s)
        daemon, self.daemon = self.daemon, None
        self.world.fuse = None
        self.world.ending = False
        waiting = daemon.journal.waiting if daemon else 1
        if waiting:
            self.leave_unrecorded()
        for zone in self.site.zones:
            # Asleep it left no heartbeat, and it ended before it could record its sleep.
            lost_s = BEAT_S + self.slept_s
            self.judge.allow(zone.id, lost_s + (DAY_S if waiting > 8 or self.world.disk else 0))
        self.slept_s = 0.0
        if daemon is not None:
            with contextlib.suppress(sqlite3.Error):
                daemon.end()
        self.world.release_pins()
        self.judge.remember_only_what_is_written()
        self.after(off_s, "start again", sync=bool(waiting or self.world.disk), kind="ended without warning")

    def leave_unrecorded(self) -> None:
        """Excuse the next run from what it cannot know: the last switchings of this one."""
        for truth in self.world.pins.values():
            self.world.deaths_s.update(at_s for at_s, *_ in truth.changes[-5:])

    def on_start_again(self, *, sync: bool, kind: str) -> None:
        """Start after an end."""
        if self.daemon is not None:
            return
        world = self.world
        well = not world.disk and not sync
        self.start()
        assert self.daemon is not None
        now = self.daemon.clock.read()
        if sync and not world.disk:
            held = self.judge.overrides_written()
            for name in [name for name in self.judge.overrides if name not in held]:
                del self.judge.overrides[name]
        if world.disk or sync:
            self.doubt_overrides()
        if well and kind and now.trusted and not self.daemon.journal.fault:
            self.judge.expect_gap_recorded(kind, now)
        self.judge.last_start_s = world.now_s

    def doubt_overrides(self) -> None:
        """After an end that lost what was not written, take the keeper's word for what is in force."""
        assert self.daemon is not None
        held = self.daemon.keeper.overrides
        self.judge.overrides = {
            name: PlacedOverride(
                on=override.on,
                placed_s=self.world.now_s - (self.daemon.clock.read().boot_s - override.placed_at.boot_s),
                placed=override.placed_at,
                boots=int(override.placed_at.boot_id.split("-")[1]),
                ends_at_utc=override.ends_at_utc,
                lasts_s=override.lasts_s,
            )
            for name, override in held.items()
        }

    def after(self, in_s: float, what: str, **details: object) -> None:
        """Have something happen later."""
        heapq.heappush(self.coming, Happening(self.world.now_s + in_s, what, details))

    def on_kill(self, *, off_s: float) -> None:
        """SIGKILL."""
        if self.daemon is not None:
            self.die(off_s)

    def on_fuse(self, *, writes: int, off_s: float) -> None:
        """The process dies at one of its next writes."""
        self.world.fuse = writes

    def on_restart(self, *, off_s: float) -> None:
        """SIGTERM, and a start by the service manager."""
        if self.daemon is not None:
            daemon = self.daemon
            daemon.stop()
            unwritten = daemon.journal.waiting > 0
            if unwritten:
                self.leave_unrecorded()
            self.daemon = None
            for zone in self.site.zones:
                self.judge.allow(zone.id, DAY_S if unwritten else 0.0)
            self.after(off_s, "start again", sync=unwritten, kind="")

    def on_power_cut(self, *, off_s: float, clock: str, network_s: float | None, how: str) -> None:
        """The mains fail; the board starts again with whatever clock it has."""
        world = self.world
        if self.daemon is not None:
            self.die(off_s)
            self.coming = [each for each in self.coming if each.what != "start again"]
            heapq.heapify(self.coming)
            waiting = bool(world.disk)
            self.after(off_s, "boot", clock=clock, network_s=network_s, sync=waiting, was_utc=world.clock_utc)

    def on_boot(self, *, clock: str, network_s: float | None, sync: bool, was_utc: object) -> None:
        """The board starts."""
        world = self.world
        world.boots += 1
        world.boot_at_s = world.now_s
        world.synchronised = False
        world.hardware = clock == "hardware"
        errors = {
            "hardware": world.clock_error_s if abs(world.clock_error_s) < 1 else 0.4,
            "saved": (was_utc - world.true_utc).total_seconds() - 700,  # type: ignore[operator]
            "1970": -(world.true_utc.timestamp()),
            "behind": -120 * DAY_S,
            "ahead": 800 * DAY_S,
        }
        world.clock_error_s = errors[clock]
        if network_s is not None:
            self.after(network_s, "network found")
        self.on_start_again(sync=sync, kind="power lost")

    def on_damage(self, **details: object) -> None:
        """The power is cut and the journal is damaged by it."""
        if self.daemon is None:
            return
        how = str(details["how"])
        self.on_power_cut(**details)  # type: ignore[arg-type]
        self.coming = [each for each in self.coming if each.what != "boot"]
        heapq.heapify(self.coming)
        path = self.state / JOURNAL_NAME
        for suffix in ("-wal", "-shm"):
            path.with_name(path.name + suffix).unlink(missing_ok=True)
        if how == "remove":
            path.unlink(missing_ok=True)
        elif how == "empty" or not path.exists() or not path.stat().st_size:
            path.write_bytes(b"")
        else:
            content = bytearray(path.read_bytes())
            if how == "truncate":
                content = content[: len(content) // 3]
            else:
                for _ in range(40):
                    content[self.dice.randrange(len(content))] ^= 0xFF
            path.write_bytes(bytes(content))
        self.judge.forget_run_hours()
        self.leave_unrecorded()
        off_s, was_utc = float(str(details["off_s"])), self.world.clock_utc
        self.after(off_s, "boot damaged", clock=details["clock"], was_utc=was_utc)

    def on_boot_damaged(self, *, clock: str, was_utc: object) -> None:
        """The board starts and finds what is left of the journal."""
        self.on_boot(clock=clock, network_s=30.0, sync=True, was_utc=was_utc)

    # -- what else happens -----------------------------------------------------------------------------------

    def on_step(self, *, size_s: float, back_s: float) -> None:
        """Somebody sets the clock; the network sets it right again."""
        self.world.clock_error_s += size_s
        self.after(back_s, "step back")

    def on_step_back(self) -> None:
        """The network sets the clock right."""
        self.world.clock_error_s = 0.0
        self.world.synchronised = True

    def on_network_found(self) -> None:
        """A time server answers."""
        self.on_step_back()

    def on_network_lost(self) -> None:
        """No time server answers any more; the kernel says so after a while."""
        self.world.synchronised = False

    def on_suspend(self, *, for_s: float) -> None:
        """The board sleeps: no round is made, and the pins stay as they are."""
        self.world.now_s += for_s
        self.slept_s += for_s
        for zone in self.site.zones:
            self.judge.excuse(zone.id, TICK_S)

    def on_disk(self, *, mode: str, for_s: float) -> None:
        """The disk fails."""
        self.world.disk = mode
        self.after(for_s, "disk mended")

    def on_disk_mended(self) -> None:
        """The disk is well again."""
        self.world.disk = ""

    def on_pin_fault(self, *, mode: str, for_s: float) -> None:
        """One relay fails."""
        zone = self.dice.choice(self.site.zones)
        self.world.pin_faults[zone.pin] = mode
        self.judge.allow(zone.id, for_s + 2 * TICK_S)
        self.after(for_s, "pin mended", pin=zone.pin, zone_id=zone.id)

    def on_pin_mended(self, *, pin: int, zone_id: str) -> None:
        """The relay works again, and must be right within a tick."""
        self.world.pin_faults.pop(pin, None)
        self.judge.excuse(zone_id, TICK_S)

    def on_flip(self) -> None:
        """Somebody else switches a relay."""
        zone = self.dice.choice(self.site.zones)
        board = self.world.board
        if board is not None and board.pin(zone.pin).function == "output":
            board.pin(zone.pin).flip()
            self.judge.allow(zone.id, TICK_S + self.site.relays.rest_s)

    def on_rewrite(self) -> None:
        """The site file is changed well, and read again."""
        words = self.garden.rewrite()
        self.site = parse_site(self.garden.text(), "garden.toml").site
        old = self.judge.site
        self.judge.take_site(self.site)
        for zone in old.zones:
            self.judge.allow(zone.id, self.site.relays.rest_s + TICK_S)
        if self.daemon is not None:
            self.daemon.keeper.change_site(self.site, words=words)

    def on_spoil(self) -> None:
        """The site file is changed badly: refused, and the old one kept."""
        try:
            parse_site(self.garden.spoil(), "garden.toml")
        except SiteFileError as error:
            if self.daemon is not None:
                self.daemon.keeper.refuse_site(str(error))
        else:
            raise Violation("a spoilt site file was taken")

    def on_zone_data(self) -> None:
        """New time zone data: the same site, planned anew."""
        if self.daemon is not None:
            self.daemon.keeper.change_site(self.site, words="new time zone data")
            self.judge.take_site(self.site)

    def on_override(self, *, on: bool, kind: str, for_s: float) -> None:
        """Somebody wants light, or dark, for now."""
        if self.daemon is None:
            return
        zone = self.dice.choice(self.site.zones)
        now = self.daemon.clock.read()
        ends_at_utc = now.utc + timedelta(seconds=for_s) if kind == "until" and now.trusted else None
        lasts_s = for_s if kind == "for" else None
        expected_end = ends_at_utc or self.judge.end_of_plain_override(zone, now, lasts_s)
        if kind == "until" and not now.trusted:
            with contextlib.suppress(ValueError):
                self.daemon.keeper.override(zone.id, on=on, ends_at_utc=now.utc + timedelta(seconds=for_s))
                raise Violation("an end by an untrusted clock was taken")
            return
        placed = self.daemon.keeper.override(zone.id, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)
        if self.judge.near_an_edge(zone, now):
            expected_end = placed.ends_at_utc
        if lasts_s is None and expected_end is None:
            lasts_s = 4 * 3600.0
        self.judge.overrides[zone.id] = PlacedOverride(
            on=on,
            placed_s=self.world.now_s,
            placed=now,
            boots=self.world.boots,
            ends_at_utc=expected_end,
            lasts_s=lasts_s,
        )
        self.judge.excuse(zone.id, self.site.relays.rest_s + 4 * self.site.relays.stagger_s)

    def on_lift(self) -> None:
        """Somebody gives a zone back to its program."""
        if self.daemon is not None:
            zone = self.dice.choice(self.site.zones)
            self.daemon.keeper.lift_override(zone.id)
            self.judge.overrides.pop(zone.id, None)

    def on_toggle(self, *, times: int, every_s: float) -> None:
        """A client toggles as fast as it can."""
        if times > 0:
            self.on_override(on=times % 2 == 0, kind="for", for_s=600.0)
            self.after(every_s, "toggle", times=times - 1, every_s=every_s)


@contextlib.contextmanager
def watching_the_log() -> Iterator[None]:
    """Let nothing be raised and hidden in the log."""
    log, handler = logging.getLogger("controller"), Raised()
    quiet, log.propagate = log.propagate, False
    log.addHandler(handler)
    try:
        yield
    finally:
        log.removeHandler(handler)
        log.propagate = quiet


def run_garden(seed: int, nights: int, *, calm: float = 0.4) -> Result:
    """Run the garden of a seed through so many nights."""
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
        return Result(
            seed=seed,
            nights=nights,
            zone_nights=year.zone_nights,
            happened=year.happened,
            violation=violation,
        )
