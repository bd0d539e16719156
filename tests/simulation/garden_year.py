"""One garden's story from its seed: the daemon runs in the world, things happen, the judge looks on."""

from __future__ import annotations

import contextlib
import gc
import heapq
import logging
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path

from api.daemon.last_good import LAST_GOOD
from api.daemon.site_file import LOOK_EVERY_S
from config.errors import SiteFileError
from controller.clock.trust import RELEASED_UTC
from controller.journal.database import JOURNAL_NAME
from controller.keeper.keeper import Keeper
from controller.records.entries import Override
from controller.records.reading import Reading
from tests.simulation.account import check_account, check_runs
from tests.simulation.daemon import COMPARE_S, SimulatedDaemon, in_this_world, parse_once
from tests.simulation.gardens import Garden
from tests.simulation.judge import TICK_S, Judge, PlacedOverride
from tests.simulation.story import DAY_S, HAPPENINGS, QUIET_HAPPENINGS, Happening, draw_night
from tests.simulation.told import BEAT_S, DIED, POWER_LOST, Asked
from tests.simulation.violation import Violation
from tests.simulation.world import Killed, World

# After something has happened, and before the next, every tick counts.
BUSY_S = 95.0
BUSY_BEFORE_S = 35.0
# Where nothing has happened for a while, every change comes at its instant.
PUNCTUAL_S = 1.0
# A clock that is set is noticed within a second.
NOTICED_S = 1.0
# A clock that is so little off is not set but made to run a little faster or slower.
SLEWED_S = 0.5
# Share of the lives in which nothing goes wrong.
QUIET = 0.12
# Share of the runs that the program's own control loop drives.
DRIVEN = 0.25
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
        if record.exc_info and not isinstance(record.exc_info[1], Killed):
            raise Violation(f"raised: {record.exc_info[1]!r}") from record.exc_info[1]


class GardenYear:
    """Runs one garden through its nights."""

    def __init__(self, seed: int, folder: Path, *, calm: float = 0.4, garden: Garden | None = None) -> None:
        """Lay out the garden, where none is given, and write its site file."""
        self.dice = random.Random(seed)
        self.calm = calm
        self.state = folder / "state"
        self.site_path = folder / "garden.toml"
        self.garden = garden or Garden(self.dice)
        self.text = self.garden.text()
        self.site_path.write_text(self.text)
        self.site = parse_once(self.text, str(self.site_path)).site
        self.world = World(self.garden.start_utc)
        self.world.hardware = self.dice.random() < 0.4
        # Where the state folder is while it is away; and whose journal it was.
        self.away: Path | None = None
        self.folder_changed_in: SimulatedDaemon | None = None
        self.sight_lost_s = -TICK_S
        # In some lives nothing goes wrong, so that every figure of the account can be checked.
        self.is_quiet = self.dice.random() < QUIET
        self.judge = Judge(self.world, self.state, self.site, self.text)
        self.world.on_read, self.world.on_confirmed = self.judge.belief.read, self.judge.belief.confirm
        self.told = self.judge.told
        self.coming: list[Happening] = []
        self.happened: dict[str, int] = {}
        self.busy_until_s = 0.0
        self.night_ends_s = 0.0
        self.zone_nights = 0
        self.daemon: SimulatedDaemon | None = None
        self.rounds_in = (0, 0)
        # For how long the board slept since the journal was written, and whether no round has followed yet.
        self.slept_s, self.asleep = 0.0, False
        self.written_s = 0.0
        # When somebody else switched a relay last, and whose.
        self.flipped: tuple[float, str] | None = None
        # When the clock was set last; since when nobody has noticed that it became right or wrong.
        self.clock_set_s = 0.0
        self.unnoticed_s: float | None = None
        self.scheduler_hangs = False
        # Since when the program runs with a disk that is well; whether the journal could not be read at its
        # start.
        self.well_since_s = 0.0
        self.blind = False
        # The night of the last round, and those whose noon has passed and whose work must be done, each with
        # the one before it.
        self.night: date | None = None
        self.noons: list[tuple[float, date, date]] = []
        self.noons_from_s = 0.0
        # What the site file said when it was read last, and by when a change of it must be noticed.
        self.read_text: str | None = None
        self.file_due_s: float | None = None
        self.zone_data = 0

    # -- the loop --------------------------------------------------------------------------------------------

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

    @property
    def busy(self) -> bool:
        """Whether something has just happened, or happens soon, so that every tick counts."""
        now_s = self.world.now_s
        soon = bool(self.coming) and self.coming[0].at_s - BUSY_BEFORE_S <= now_s
        return now_s < self.busy_until_s or soon or self.scheduler_hangs

    @property
    def is_punctual(self) -> bool:
        """Whether nothing has happened for so long that every light must come at its instant."""
        return not (self.world.now_s < self.busy_until_s or self.world.pin_faults or self.scheduler_hangs)

    @property
    def late_s(self) -> float:
        """How late a light may be: every change comes at its instant, or with a tick, zone by zone."""
        if self.scheduler_hangs:
            return TICK_S * (len(self.site.zones) + 1)
        return PUNCTUAL_S if self.is_punctual else TICK_S

    def happen(self, happening: Happening) -> None:
        """Let one thing happen."""
        getattr(self, "on_" + happening.what.replace(" ", "_"))(**happening.details)

    def advance(self) -> None:
        """Have the daemon do what is due."""
        if self.daemon is not None:
            self.daemon.advance(busy=self.busy)
            if not self.daemon.journal.waiting:
                if self.blind:  # what was in force before is known only now
                    self.blind = False
                    self.doubt_overrides()
                self.written_s = self.world.now_s
                self.slept_s = self.slept_s if self.asleep else 0.0

    def on_round(self, daemon: SimulatedDaemon) -> None:
        """The keeper has made a round."""
        second = int(self.world.now_s)
        self.rounds_in = (second, self.rounds_in[1] + 1 if self.rounds_in[0] == second else 1)
        if self.rounds_in[1] > MOST_ROUNDS_A_SECOND:
            raise Violation("the keeper makes rounds without end")
        self.asleep = False
        if daemon is self.daemon:
            now = daemon.control.status.at
            late_s = self.world.now_s - self.clock_set_s
            if self.told.clock_was_set and late_s > NOTICED_S and not self.slept_s:
                raise Violation(f"the clock was set {late_s:.1f} s ago, which is noticed only now")
            self.told.round(now, by_person=self.judge.belief.by_person)
            self.judge.after_round(now)
            self.notice_noon(now)

    @property
    def must_be_noticed_s(self) -> float:
        """Until when somebody must have noticed that the clock is right, or wrong."""
        return float("inf") if self.unnoticed_s is None else self.unnoticed_s + COMPARE_S + 1

    def notice_trust(self, now: Reading | None) -> None:
        """A clock that has become right, or wrong, must be noticed as soon as the clocks are compared."""
        daemon, now_s = self.daemon, self.world.now_s
        if (
            daemon is None
            or now is None
            or daemon.loop is None
            or not self.busy
            or daemon.control.status.at.trusted is now.trusted
        ):
            self.unnoticed_s = None
        elif self.unnoticed_s is None:
            self.unnoticed_s = now_s
        elif now_s > self.must_be_noticed_s:
            raise Violation(f"nobody noticed for {now_s - self.unnoticed_s:.0f} s what the clock is worth")

    def notice_noon(self, now: Reading) -> None:
        """At noon the work of a night is due, if the clock is trusted: a backup, and new time zone data."""
        night = self.judge.oracle.night_date(now.utc.timestamp())
        known = self.world.now_s > self.noons_from_s and not (self.world.disk or self.scheduler_hangs)
        if night != self.night and self.night is not None:
            before = self.night
            if self.noons and self.noons[-1][0] > self.world.now_s - 1:
                before = self.noons.pop()[2]  # a clock that was wrong for a moment only
            if now.trusted and known and night != before:
                self.noons.append((self.world.now_s, night, before))
            if self.zone_data != self.world.zone_data:
                tell = self.told.expect if now.trusted and known else self.told.allow_event
                tell("site changed", words="new time zone data")
                self.zone_data = self.world.zone_data
        self.night = night

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
        if self.is_punctual:
            self.told.no_fault_is_left()
        copy = self.state / LAST_GOOD
        if self.away is None and self.told.path.exists() and copy.read_text() != self.text:
            raise Violation("the last good copy of the site file is not the one in force")

    # -- start and end ---------------------------------------------------------------------------------------

    def start(self, kind: str = "") -> None:
        """Start the program, after an end of some kind that it must tell."""
        self.daemon = None
        self.world.killed = self.scheduler_hangs = False
        self.never("scheduler goes on")
        self.blind = self.world.disk == "broken"
        if self.blind:
            self.leave_unrecorded()  # it cannot read either
        self.read_text, self.file_due_s = self.site_path.read_text(), None
        error = problem_of(self.read_text, self.site_path)
        if error and not (self.state / LAST_GOOD).exists():
            # It cannot start; the service manager tries again until somebody writes the file anew.
            self.never("rest of it")
            self.after(30.0, "rest of it")
            self.after(60.0, "start again", sync=True, kind="")
            return
        text = (self.state / LAST_GOOD).read_text() if error else self.read_text
        self.judge.belief.believe = {parse_once(text, str(self.site_path)).site.clock.believe}
        self.judge.belief.start(None if self.blind else self.told.known)
        driven = self.dice.random() < DRIVEN
        try:
            self.daemon = SimulatedDaemon(
                self.world, self.site_path, self.state, driven=driven, on_round=self.on_round
            )
        except SiteFileError as refusal:
            raise Violation(f"the program does not start, though it could: {refusal}") from refusal
        self.take_text(text)
        if error:
            self.told.expect("site refused", words=error)
        if self.daemon.keeper.site != self.site:
            raise Violation("the site in force is neither the file's nor the last good one")
        self.told.started(self.daemon.control.status.started_at, kind=kind)
        self.told.round(self.daemon.control.status.at, by_person=self.judge.belief.by_person)
        self.well_since_s = self.world.now_s
        self.zone_data = self.world.zone_data
        self.night = self.judge.oracle.night_date(self.daemon.control.status.at.utc.timestamp())
        self.noons = []
        self.judge.after_round(self.daemon.control.status.at)

    def take_text(self, text: str) -> None:
        """The site file says something else from now on."""
        if text != self.text:
            old, self.text = self.site, text
            self.site = parse_once(text, str(self.site_path)).site
            if self.site.time_zone != old.time_zone:
                # The night that has begun ends at its own noon, and the new zone's data are read now.
                self.noons_from_s = self.world.now_s + 1.5 * DAY_S
                self.zone_data = self.world.zone_data
            for zone in old.zones:
                self.told.allow(zone.id, self.site.relays.rest_s + TICK_S)
        self.judge.take_site(self.site, self.text)

    def guarded(self, work: Callable[[], None]) -> None:
        """Do something with the program, which may be killed at any write."""
        try:
            work()
        except Killed:
            self.die(2.0)

    def die(self, off_s: float, *, kind: str = DIED) -> None:
        """The process is gone; the service manager starts it again."""
        world = self.world
        world.deaths_s.add(world.now_s)
        daemon, self.daemon = self.daemon, None
        world.fuse, world.killed, world.ending = None, False, False
        waiting = daemon.journal.waiting if daemon else 1
        if world.now_s - self.sight_lost_s < TICK_S:
            waiting = waiting or 1  # a journal that is gone is missed within a tick
        if waiting:
            self.leave_unrecorded()
            self.told.doubt = True
        for zone in self.site.zones:
            # Asleep it left no heartbeat, and it ended before it could record its sleep.
            unwritten_s = world.now_s - self.written_s if waiting else 0.0
            lost_s = BEAT_S + self.slept_s + unwritten_s
            self.told.allow(zone.id, lost_s + (DAY_S if unwritten_s > BUSY_S or world.disk else 0))
        self.slept_s = 0.0
        if daemon is not None:
            daemon.end()
        world.release_pins()
        self.told.ended()
        self.after(off_s, "start again", sync=bool(waiting or world.disk), kind=kind)

    def leave_unrecorded(self) -> None:
        """Excuse the next run from what it cannot know: the last switchings of this one."""
        for truth in self.world.pins.values():
            self.world.deaths_s.update(change.at_s for change in truth.changes[-5:])

    def on_start_again(self, *, sync: bool, kind: str) -> None:
        """Start after an end."""
        if self.daemon is not None:
            return
        world = self.world
        well = not world.disk and not sync
        self.start(kind if well else "")
        if self.daemon is None:
            return
        if sync and not world.disk and self.told.path.exists():
            held = self.told.in_force()
            for name in [name for name in self.judge.overrides if name not in held]:
                del self.judge.overrides[name]
        if world.disk or sync:
            self.told.doubt = True
            self.doubt_overrides()

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

    def never(self, what: str) -> None:
        """Have something that was to come not happen."""
        self.coming = [each for each in self.coming if each.what != what]
        heapq.heapify(self.coming)

    def on_kill(self, *, off_s: float) -> None:
        """SIGKILL."""
        if self.daemon is not None:
            self.die(off_s)

    def on_fuse(self, *, writes: int, off_s: float) -> None:
        """The process dies at one of its next writes."""
        self.world.fuse = writes

    def stop(self) -> None:
        """SIGTERM: every light goes out, and all is written."""
        assert self.daemon is not None
        lit = self.daemon.stop()
        if lit and not self.world.pin_faults:
            raise Violation(f"pins {lit} were left lit by an orderly stop")

    def on_restart(self, *, off_s: float) -> None:
        """SIGTERM, and a start by the service manager."""
        if self.daemon is not None:
            daemon = self.daemon
            self.stop()
            unwritten = daemon.journal.waiting > 0
            if unwritten:
                self.leave_unrecorded()
                self.told.doubt = True
            self.daemon = None
            self.told.ended()
            for zone in self.site.zones:
                self.told.allow(zone.id, DAY_S if unwritten else 0.0)
            self.after(off_s, "start again", sync=unwritten, kind="")

    def on_power_cut(self, *, off_s: float, clock: str, network_s: float | None, how: str) -> None:
        """The mains fail; the board starts again with whatever clock it has."""
        world = self.world
        if self.daemon is not None:
            self.die(off_s)
            again = next(each for each in self.coming if each.what == "start again")
            self.never("start again")
            sync, was_utc = again.details["sync"], world.clock_utc
            self.after(off_s, "boot", clock=clock, network_s=network_s, sync=sync, was_utc=was_utc)

    def on_boot(self, *, clock: str, network_s: float | None, sync: bool, was_utc: object) -> None:
        """The board starts."""
        world = self.world
        world.boot()
        world.synchronised = False
        world.hardware = clock == "hardware"
        errors = {
            "unknown": 0.4,
            "hardware": world.clock_error_s if abs(world.clock_error_s) < 1 else 0.4,
            "saved": (was_utc - world.true_utc).total_seconds() - 700,  # type: ignore[operator]
            "1970": -(world.true_utc.timestamp()),
            "behind": -120 * DAY_S,
            "ahead": 800 * DAY_S,
        }
        world.clock_error_s = errors[clock]
        if network_s is not None:
            self.after(network_s, "network found")
        self.on_start_again(sync=sync, kind=POWER_LOST)

    def on_damage(self, **details: object) -> None:
        """The power is cut and the journal is damaged by it."""
        if self.daemon is None or not self.state.exists():
            return
        how = str(details["how"])
        self.on_power_cut(**details)  # type: ignore[arg-type]
        self.never("boot")
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
        self.told.forget()
        self.told.known = None
        self.leave_unrecorded()
        off_s, was_utc = float(str(details["off_s"])), self.world.clock_utc
        self.after(off_s, "boot damaged", clock=details["clock"], was_utc=was_utc)

    def on_boot_damaged(self, *, clock: str, was_utc: object) -> None:
        """The board starts and finds what is left of the journal."""
        self.told.forget()
        self.on_boot(clock=clock, network_s=30.0, sync=True, was_utc=was_utc)

    # -- what else happens -----------------------------------------------------------------------------------

    def on_step(self, *, size_s: float, back_s: float, by: str) -> None:
        """Somebody sets the clock; the network, or the same person, sets it right again."""
        self.set_clock(self.world.clock_error_s + size_s)
        self.after(back_s, "step back" if by == "network" else "set right")

    def on_set_right(self) -> None:
        """Somebody sets the clock right."""
        self.set_clock(0.0)

    def on_confirm(self, *, off_s: float) -> None:
        """A person vouches for the clock, or sees by their own that it is wrong."""
        if self.daemon is None:
            return
        now = self.daemon.clock.read()
        sees_utc = now.utc + timedelta(seconds=off_s)
        good = not off_s and now.utc > RELEASED_UTC - timedelta(minutes=5)
        try:
            if good:
                self.told.confirmed(now)
            self.daemon.control.call(lambda keeper: keeper.confirm_clock(sees_utc))
        except ValueError:
            if good:
                raise
        else:
            if not good:
                raise Violation(
                    f"a person's word was taken for a clock at {now.utc} that they see at {sees_utc}"
                )

    def set_clock(self, error_s: float) -> None:
        """Set the board's clock, of which the kernel gives notice; what is less than that is slewed."""
        if abs(error_s - self.world.clock_error_s) > SLEWED_S and self.daemon is not None:
            self.daemon.watch.was_set = True
            self.clock_set_s = self.world.now_s
        self.world.clock_error_s = error_s

    def on_step_back(self) -> None:
        """The network sets the clock right."""
        self.set_clock(0.0)
        self.world.synchronised = True

    def on_network_found(self) -> None:
        """A time server answers."""
        self.on_step_back()

    def on_network_lost(self) -> None:
        """No time server answers any more; the kernel says so after a while."""
        self.world.synchronised = False

    def on_scheduler(self, *, for_s: float) -> None:
        """The scheduler hangs: nothing of its timetable happens."""
        if self.daemon is not None and self.daemon.loop is not None:
            self.daemon.control._scheduler.pause()  # type: ignore[union-attr]
            self.scheduler_hangs = True
            self.after(for_s, "scheduler goes on")

    def on_scheduler_goes_on(self) -> None:
        """It goes on."""
        if self.scheduler_hangs and self.daemon is not None:
            self.daemon.control._scheduler.resume()  # type: ignore[union-attr]
        self.scheduler_hangs = False

    def on_suspend(self, *, for_s: float) -> None:
        """The board sleeps: no round is made, and the pins stay as they are."""
        self.world.suspend(for_s)
        self.slept_s += for_s
        self.asleep = True
        self.told.slept(for_s)
        if self.file_due_s is not None:
            self.file_due_s += for_s
        for each in self.coming:
            if each.what == "folder looked at":
                each.at_s += for_s
        heapq.heapify(self.coming)
        for zone in self.site.zones:
            self.judge.excuse(zone.id, TICK_S)
        if self.flipped is not None and self.flipped[0] > self.world.now_s - for_s - TICK_S:
            self.told.allow(self.flipped[1], for_s)  # found only now
            self.told.flipped(self.flipped[1])

    # -- the state folder ------------------------------------------------------------------------------------

    def on_folder(self, *, how: str, back_s: float) -> None:
        """Somebody moves the state folder away, empties it, or deletes the journal in it."""
        if self.daemon is None or self.world.disk or self.away is not None:
            return
        if how == "moved away":
            self.away = self.state.with_name("away")
            self.state.rename(self.away)
            self.after(back_s, "folder back")
        elif how == "emptied":
            for each in self.state.iterdir():
                shutil.rmtree(each) if each.is_dir() else each.unlink()
        else:
            for each in self.state.glob(JOURNAL_NAME + "*"):
                each.unlink()
        self.lose_sight(is_fresh=bool(self.kept_lit() or self.judge.overrides))

    def on_folder_back(self) -> None:
        """The folder that was moved away comes back; what has been written meanwhile is moved away."""
        assert self.away is not None
        is_fresh = self.told.path.exists() and bool(self.kept_lit() or self.judge.overrides)
        if self.state.exists():
            self.state.rename(self.state.with_name(f"meanwhile-{self.world.now_s:.0f}"))
        self.away.rename(self.state)
        self.away = None
        self.lose_sight(is_fresh=is_fresh)
        self.told.lose_gap()

    def lose_sight(self, *, is_fresh: bool) -> None:
        """Another journal than before is there, or none: what it says is compared from now on."""
        self.never("folder looked at")
        self.after(TICK_S + 1, "folder looked at", is_fresh=is_fresh)
        self.told.forget()
        self.leave_unrecorded()
        self.noons = []
        self.folder_changed_in, self.sight_lost_s = self.daemon, self.world.now_s

    def on_folder_looked_at(self, *, is_fresh: bool) -> None:
        """A tick after the folder was moved, its journal must know what is lit and who asked for it."""
        daemon = self.daemon
        world, flipped_s = self.world, self.flipped[0] if self.flipped else 0.0
        if daemon is None or world.disk or world.pin_faults or world.fuse is not None:
            return
        self.doubt_overrides()
        seen = daemon is self.folder_changed_in and flipped_s < world.now_s - TICK_S
        if seen and is_fresh:
            self.told.check_fresh(self.kept_lit(), set(self.judge.overrides))

    def kept_lit(self) -> set[str]:
        """Give the zones whose relays are closed."""
        return {zone.id for zone in self.site.zones if self.world.pin(zone.pin).lit}

    def on_disk(self, *, mode: str, for_s: float) -> None:
        """The disk fails."""
        self.world.disk = mode
        self.noons = []
        self.after(for_s, "disk mended")

    def on_disk_mended(self) -> None:
        """The disk is well again."""
        self.world.disk = ""
        self.well_since_s = self.world.now_s

    def on_pin_fault(self, *, mode: str, for_s: float) -> None:
        """One relay fails."""
        zone = self.dice.choice(self.site.zones)
        self.world.pin_faults[zone.pin] = mode
        self.told.allow(zone.id, for_s + 2 * TICK_S)
        self.told.faulty(zone.id)
        self.after(for_s, "pin mended", pin=zone.pin, zone_id=zone.id)

    def on_pin_mended(self, *, pin: int, zone_id: str) -> None:
        """The relay works again, and must be right within a tick."""
        self.world.pin_faults.pop(pin, None)
        self.told.faulty(zone_id, mended=True)
        self.judge.excuse(zone_id, TICK_S)

    def on_flip(self) -> None:
        """Somebody else switches a relay."""
        zone = self.dice.choice(self.site.zones)
        board = self.world.board
        if board is not None and board.pin(zone.pin).function == "output":
            board.pin(zone.pin).flip()
            self.told.allow(zone.id, TICK_S + self.site.relays.rest_s)
            self.told.flipped(zone.id)
            self.flipped = self.world.now_s, zone.id

    def on_rewrite(self, *, how: str, half_s: float) -> None:
        """The site file is changed well: by hand, perhaps in two goes, or with a signal to read it."""
        self.garden.rewrite()
        if how == "in two goes":
            text = self.garden.text()
            self.write(text[: self.dice.randrange(len(text))], half=True)
            self.after(half_s, "rest of it")
        else:
            self.write(self.garden.text(), signal=how == "signal")

    def on_rest_of_it(self) -> None:
        """The rest of the site file is written; somebody else may have written all of it meanwhile."""
        self.write(self.garden.text())

    def on_spoil(self, *, how: str, again_s: float | None) -> None:
        """The site file is changed badly: refused, and the old one kept; somebody may write it anew."""
        self.write(self.garden.spoil(), signal=how == "signal")
        if again_s is not None:
            self.after(again_s, "rest of it")

    def write(self, text: str, *, half: bool = False, signal: bool = False) -> None:
        """Write the site file; what it says must be in force, or refused, within a tick."""
        fresh = self.site_path.with_suffix(".new")
        fresh.write_text(text)
        fresh.replace(self.site_path)
        if self.daemon is None:
            return
        self.file_due_s = float("inf") if half else self.world.now_s + TICK_S
        self.judge.belief.believe |= {"always", "synchronised"} & set(text.split('"'))
        if signal:
            self.read_text = None
            self.daemon.look_at_s = float("inf")
            self.daemon.hooks.on_reload()
            self.daemon.run_threads()
        else:
            first_look_s = self.world.now_s + self.dice.random() * LOOK_EVERY_S
            self.daemon.look_at_s = min(self.daemon.look_at_s, first_look_s)

    def notice_file(self) -> None:
        """See whether a change of the site file has been read, and what came of it."""
        daemon, due_s = self.daemon, self.file_due_s
        if daemon is None or due_s is None:
            return
        if daemon.look_at_s < float("inf"):
            if self.world.now_s > due_s:
                raise Violation("a change of the site file was not noticed")
            return
        if due_s == float("inf"):
            raise Violation("half a site file was taken for the whole")
        text, self.file_due_s = self.site_path.read_text(), None
        if text != self.read_text:
            self.read_text = text
            if error := problem_of(text, self.site_path):
                self.told.expect("site refused", words=error)
            else:
                self.told.expect("site changed", words="the site file was read again")
                self.take_text(text)
        if daemon.keeper.site != self.site:
            raise Violation("the site in force is not the one of the file")
        self.judge.belief.believe = {self.site.clock.believe}

    def on_zone_data(self) -> None:
        """New time zone data are installed: used from the next noon on."""
        self.world.zone_data += 1
        if self.world.now_s <= self.noons_from_s or self.world.disk:
            self.zone_data = self.world.zone_data
            self.told.allow_event("site changed", words="new time zone data")

    def on_override(self, *, on: bool, kind: str, for_s: float) -> None:
        """Somebody wants light, or dark, for now."""
        if self.daemon is None:
            return
        zone = self.dice.choice(self.site.zones)
        now = self.daemon.clock.read()
        ends_at_utc = now.utc + timedelta(seconds=for_s) if kind == "until" else None
        lasts_s = for_s if kind == "for" else None
        call = self.daemon.control.call
        place = partial(_place, zone=zone.id, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)
        if kind == "until" and not now.trusted:
            with contextlib.suppress(ValueError):
                call(place)
                raise Violation("an end by an untrusted clock was taken")
            return
        self.judge.overrides.pop(zone.id, None)
        self.judge.excuse(zone.id, self.site.relays.rest_s + 4 * self.site.relays.stagger_s)
        placed = call(place)
        if kind == "plain" and now.trusted:
            self.judge.check_end(placed, now)
            ends_at_utc = placed.ends_at_utc
        elif kind == "plain":
            lasts_s = 4 * 3600.0
        self.judge.overrides[zone.id] = PlacedOverride(
            on=on,
            placed_s=self.world.now_s,
            placed=now,
            boots=self.world.boots,
            ends_at_utc=ends_at_utc,
            lasts_s=lasts_s,
        )
        self.told.asked(Asked(zone=zone.id, at=now, lit=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s))

    def on_lift(self) -> None:
        """Somebody gives a zone back to its program."""
        if self.daemon is not None:
            zone = self.dice.choice(self.site.zones)
            if self.judge.overrides.pop(zone.id, None) is not None:
                self.told.asked(Asked(zone=zone.id, at=self.daemon.clock.read()))
            self.daemon.control.call(lambda keeper: keeper.lift_override(zone.id))

    def on_toggle(self, *, times: int, every_s: float) -> None:
        """A client toggles as fast as it can."""
        if times > 0:
            self.on_override(on=times % 2 == 0, kind="for", for_s=600.0)
            self.after(every_s, "toggle", times=times - 1, every_s=every_s)


def problem_of(text: str, path: Path) -> str:
    """Give the first problem of a site file; empty where it is good."""
    try:
        parse_once(text, str(path))
    except SiteFileError as error:
        return str(error).splitlines()[0]
    return ""


def _place(
    keeper: Keeper, *, zone: str, on: bool, ends_at_utc: datetime | None, lasts_s: float | None
) -> Override:
    return keeper.override(zone, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)


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
