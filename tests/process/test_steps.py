"""Steps of the wall clock under a daemon that is lit: an hour forward and back, half a year; and a pause.

The steps are made through libfaketime's timestamp file, so the kernel knows nothing of them and its timer on
the wall clock does not fire: what finds them is the comparison of the two clocks alone.
"""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import pytest

from controller.keeper.keeper import TICK_S
from controller.records.entries import Cause, Event, EventKind, Switching
from tests.process.comparison import adds_up, late_at_most_s, match_up, steps_in
from tests.process.daemon import Daemon, running, wait_for_end
from tests.process.faketime import FakeTime
from tests.process.gardens import Garden
from tests.process.oracle import Edge, Instant, NightOutside, Window, edges_of

pytestmark = pytest.mark.usefixtures("libfaketime")

RATE = 600
HOUR = timedelta(hours=1)
HALF_A_YEAR = timedelta(days=183)
SUMMER = NightOutside(41.4901, -71.3128, "America/New_York", date(2027, 6, 10))
WINTER = replace(SUMMER, date=SUMMER.date + HALF_A_YEAR)
PAUSE_REAL_S = 0.5
STARTS_AT_UTC = datetime(2027, 6, 11, 1, 5, tzinfo=UTC)

GARDEN = Garden(
    name="Sorrel Landing",
    night=SUMMER,
    starts_at_utc=STARTS_AT_UTC,
    ends_at_utc=STARTS_AT_UTC + 9 * HOUR,
    programs={
        "porch": (("17:00 to 11:00",), lambda n: [(n.clock("17:00"), n.clock("11:00"))]),
        "jetty": (("dusk to midnight",), lambda n: [(n.dusk, n.midnight)]),
        "oak": (("20:00 to 22:00",), lambda n: [(n.clock("20:00"), n.clock("22:00"))]),
    },
)


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A time over which the wall clock goes evenly.

    Attributes:
        begins_s, ends_s: by the boot-time clock.
        wall_utc: what the wall clock says at its beginning.
    """

    begins_s: float
    ends_s: float
    wall_utc: datetime


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was done to the clock, and what the journal holds."""

    steps: list[tuple[float, timedelta]]
    paused_s: float
    started_s: float
    started_utc: datetime
    stopped_s: float
    switchings: list[Switching]
    events: list[Event]
    lit_s: dict[str, float]


class Stepping:
    """A daemon whose clock is stepped."""

    def __init__(self, daemon: Daemon, fake: FakeTime) -> None:
        """Wait until it runs."""
        self.daemon, self.fake = daemon, fake
        daemon.wait_until("in the journal", lambda: bool(daemon.started))
        self.start_utc = STARTS_AT_UTC
        self.steps: list[tuple[float, timedelta]] = []

    def step(self, by: timedelta) -> None:
        """Step the clock, and wait until the journal has it."""
        self.start_utc += by
        self.steps.append((self.fake.boot_s(), by))
        self.fake.set_start(self.start_utc)
        by_s = by.total_seconds()
        self.wait_for(EventKind.CLOCK_STEPPED, lambda size_s: abs(size_s - by_s) <= 0.1 * abs(by_s))

    def wait_for(self, kind: EventKind, size: Callable[[float], bool]) -> None:
        """Wait for an event of some size after the last step."""

        def recorded() -> bool:
            return any(
                event.kind is kind and event.at.boot_s >= self.steps[-1][0] and size(event.size_s or 0.0)
                for event in self.daemon.events
            )

        self.daemon.wait_until(f"in the journal: {kind} after {self.steps[-1]}", recorded)

    def pause(self) -> float:
        """Stop the process for a while, as a suspended machine would; for how long, in faked seconds."""
        self.daemon.process.send_signal(signal.SIGSTOP)
        begins_s = self.fake.boot_s()
        assert not wait_for_end(self.daemon.process, PAUSE_REAL_S), "a stopped process ended"
        lasted_s = self.fake.boot_s() - begins_s
        self.daemon.process.send_signal(signal.SIGCONT)
        return lasted_s

    def let_pass(self, faked: timedelta) -> None:
        """Wait until faked time has passed."""
        ends_s = self.fake.boot_s() + faked.total_seconds()
        self.daemon.wait_until("so late", lambda: self.fake.boot_s() >= ends_s)


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    """Step the clock in every way, and read the journal."""
    folder = tmp_path_factory.mktemp("steps")
    fake = FakeTime(rate=RATE, file=folder / "timestamp")
    site = GARDEN.write_site(folder / "site.toml", clock_changes=False)
    environment = fake.environment(STARTS_AT_UTC)
    with running(site, folder / "state", environment=environment) as daemon:
        stepping = Stepping(daemon, fake)
        stepping.step(HOUR)
        stepping.step(-HOUR)
        stepping.let_pass(0.25 * HOUR)
        stepping.step(timedelta(minutes=-2))
        stepping.step(HALF_A_YEAR)
        stepping.let_pass(0.5 * HOUR)
        paused_s = stepping.pause()
        stepping.let_pass(0.5 * HOUR)
        stopped_s = fake.boot_s()
        daemon.stop()
        started = daemon.started[-1]
        return Outcome(
            steps=stepping.steps,
            paused_s=paused_s,
            started_s=started.boot_s,
            started_utc=started.utc,
            stopped_s=stopped_s,
            switchings=daemon.switchings,
            events=daemon.events,
            lit_s={each.zone: each.lit_s for each in daemon.journal.totals()},
        )


def test_the_lights_follow_the_clock_through_every_step(outcome: Outcome) -> None:
    """After each step every zone is as the new time asks: the site file says to follow it always."""
    switchings = [_by_boot(each) for each in outcome.switchings if each.cause is not Cause.STOPPED]
    switchings.sort(key=lambda each: each.at.boot_s)
    events = [_event_by_boot(each) for each in outcome.events]
    heard_utc = _instant(outcome.stopped_s) - 0.25 * HOUR
    matches = match_up(wanted_light(outcome), switchings, heard_utc=heard_utc)
    for match in matches:
        assert -match.edge.at.tolerance_s <= match.late_s <= late_at_most_s(match, switchings, events), match
    print(sorted(round(match.late_s, 1) for match in matches))
    causes = {(each.zone, each.on, each.cause) for each in switchings}
    assert ("oak", False, Cause.PROGRAM) in causes
    assert {cause for _, _, cause in causes} == {Cause.PROGRAM}


def test_every_step_is_in_the_journal_with_its_size(outcome: Outcome) -> None:
    """The sizes add up to what was done; what comes between two readings makes pairs that cancel out."""
    assert adds_up(steps_in(outcome.events), sum(by.total_seconds() for _, by in outcome.steps))


def test_a_process_that_was_stopped_says_for_how_long(outcome: Outcome) -> None:
    """Rounds that were not made are noted with the time that was lost, as after a suspend."""
    resumed_s = [each.size_s or 0.0 for each in outcome.events if each.kind is EventKind.RESUMED]
    assert any(outcome.paused_s - TICK_S <= size_s for size_s in resumed_s), resumed_s


def test_steps_add_no_run_hours_and_lose_none(outcome: Outcome) -> None:
    """Run hours are what the boot-time clock says between lit and put out, whatever the wall clock did."""
    lit_s = dict.fromkeys(GARDEN.programs, 0.0)
    for each in outcome.switchings:
        lit_s[each.zone] += -each.at.boot_s if each.on else each.at.boot_s
    ended = [zone_id for zone_id, sum_s in lit_s.items() if sum_s >= 0]
    assert ended
    for zone_id in ended:
        assert outcome.lit_s[zone_id] == pytest.approx(lit_s[zone_id], abs=0.01)


def wanted_light(outcome: Outcome) -> list[Edge]:
    """Work out when each zone must change, on the boot-time clock, from what was done to the wall clock."""
    wanted: dict[str, list[Window]] = {zone_id: [] for zone_id in GARDEN.programs}
    for stretch in _stretches(outcome):
        for zone_id, (_, resolve) in GARDEN.programs.items():
            for on, off in (*resolve(SUMMER), *resolve(WINTER)):
                begins_s, ends_s = _boot_s(on, stretch), min(_boot_s(off, stretch), stretch.ends_s)
                if max(begins_s, stretch.begins_s) < ends_s:
                    _add(wanted[zone_id], max(begins_s, stretch.begins_s), ends_s, on.tolerance_s)
    edges = [edge for zone_id, windows in wanted.items() for edge in edges_of(zone_id, windows)]
    return sorted((edge for edge in edges if edge.at.at_utc < _instant(outcome.stopped_s)), key=_order)


def _stretches(outcome: Outcome) -> list[Stretch]:
    """Give the times between steps."""
    found = []
    wall_utc, begins_s = outcome.started_utc, outcome.started_s
    for at_s, by in [*outcome.steps, (outcome.stopped_s, timedelta(0))]:
        found.append(Stretch(begins_s=begins_s, ends_s=at_s, wall_utc=wall_utc))
        wall_utc += timedelta(seconds=at_s - begins_s) + by
        begins_s = at_s
    return found


def _add(windows: list[Window], begins_s: float, ends_s: float, early_s: float) -> None:
    """Add a window; one that goes on from the last makes it longer: no relay is switched there."""
    begins = Instant(at_utc=_instant(begins_s), tolerance_s=early_s)
    if windows and windows[-1][1].at_utc == begins.at_utc:
        begins, _ = windows.pop()
    windows.append((begins, Instant(at_utc=_instant(ends_s))))


def _instant(boot_s: float) -> datetime:
    """Write a time of the boot-time clock as an instant, so that it can be compared like one."""
    return datetime(2000, 1, 1, tzinfo=UTC) + timedelta(seconds=boot_s)


def _boot_s(at: Instant, stretch: Stretch) -> float:
    return stretch.begins_s + (at.at_utc - stretch.wall_utc).total_seconds()


def _order(edge: Edge) -> datetime:
    return edge.at.at_utc


def _by_boot(switching: Switching) -> Switching:
    return replace(switching, at=replace(switching.at, utc=_instant(switching.at.boot_s)))


def _event_by_boot(event: Event) -> Event:
    return replace(event, at=replace(event.at, utc=_instant(event.at.boot_s)))
