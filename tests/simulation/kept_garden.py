"""A garden that is kept: its program, started, ended and started again, with the judge beside it."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from datetime import date
from pathlib import Path

from api.daemon.last_good import LAST_GOOD
from config.errors import SiteFileError
from controller.records.reading import Reading
from tests.simulation.daemon import COMPARE_S, SimulatedDaemon, parse_once
from tests.simulation.gardens import Garden
from tests.simulation.happened import DIED
from tests.simulation.judge import TICK_S, Judge, PlacedOverride
from tests.simulation.story import DAY_S, Happening
from tests.simulation.told import BEAT_S
from tests.simulation.violation import Violation
from tests.simulation.world import Killed, World

# After something has happened, and before the next, every tick counts.
BUSY_S = 95.0
BUSY_BEFORE_S = 35.0
# What the journal says of new time zone data.
NEW_DATA = "new time zone data"
# Where nothing has happened for a while, every change comes at its instant.
PUNCTUAL_S = 1.0
# A clock that is set is noticed within a second.
NOTICED_S = 1.0
# Share of the lives in which nothing goes wrong.
QUIET = 0.12
# Share of the runs that the program's own control loop drives.
DRIVEN = 0.25
# Eight zones that take turns, a client that toggles and a round after each happening make some tens.
MOST_ROUNDS_A_SECOND = 200


class KeptGarden:
    """A garden and the program that keeps it; what happens to either is told by those who inherit from it."""

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
        # When new data were to be used last.
        self.new_data_s = -DAY_S

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
                tell("site changed", words=NEW_DATA)
                self.zone_data, self.new_data_s = self.world.zone_data, self.world.now_s
        self.night = night

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

    # -- start and end ---------------------------------------------------------------------------------------

    def start(self, kind: str = "") -> None:
        """Start the program, after an end of some kind that it must tell."""
        self.daemon = None
        self.judge.forget_lights()
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
        if world.now_s - self.new_data_s < 1:
            self.told.need_not("site changed", NEW_DATA)
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


def problem_of(text: str, path: Path) -> str:
    """Give the first problem of a site file; empty where it is good."""
    try:
        parse_once(text, str(path))
    except SiteFileError as error:
        return str(error).splitlines()[0]
    return ""
