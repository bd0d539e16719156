"""The installed daemon through whole nights, a thousand times as fast: dusk, midnight, a change of the clock.

What the journal holds afterwards is compared with DE421, RFC 5545 and the package tzdata.
"""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from statistics import median

import pytest

from controller.records.entries import Cause, Event, Switching
from tests.process.comparison import adds_up, edges_in, late_at_most_s, match_up, steps_in
from tests.process.daemon import PATIENCE_S, Daemon, running
from tests.process.faketime import FakeTime
from tests.process.gardens import AUTUMN, FAR_NORTH, SPRING, Garden

pytestmark = pytest.mark.usefixtures("libfaketime")

RATE = 1000
# The tick alone would bring every second switching fifteen seconds late, or more.
USUALLY_LATE_S = 10.0
GARDENS = {"spring": SPRING, "autumn": AUTUMN, "far north": FAR_NORTH}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the journal holds of one night, and how the daemon ended."""

    garden: Garden
    started_utc: datetime
    switchings: list[Switching]
    events: list[Event]
    exit_code: int
    log: str

    @property
    def by_program(self) -> list[Switching]:
        """All switchings but those at the end of the daemon."""
        return [each for each in self.switchings if each.cause is not Cause.STOPPED]


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Outcome]:
    """Run every garden through its night, all at the same time."""
    fake = FakeTime(rate=RATE)
    with ExitStack() as stack:
        daemons = {}
        for name, garden in GARDENS.items():
            folder = tmp_path_factory.mktemp(name.replace(" ", "-"))
            site = garden.write_site(folder / "site.toml")
            environment = fake.environment(garden.starts_at_utc)
            daemons[name] = stack.enter_context(running(site, folder / "state", environment=environment))
        return {name: _run_night(daemon, GARDENS[name], fake) for name, daemon in daemons.items()}


def _run_night(daemon: Daemon, garden: Garden, fake: FakeTime) -> Outcome:
    """Wait until a garden's night is over, end the daemon, and read its journal."""
    daemon.wait_until("in the journal", lambda: bool(daemon.started))
    start = daemon.started[-1]
    lasts_s = (garden.ends_at_utc - start.utc).total_seconds()
    daemon.wait_until(
        "through the night",
        lambda: fake.boot_s() >= start.boot_s + lasts_s,
        within_s=fake.real_s(lasts_s) + PATIENCE_S,
    )
    exit_code = daemon.stop()
    return Outcome(
        garden=garden,
        started_utc=start.utc,
        switchings=daemon.switchings,
        events=daemon.events,
        exit_code=exit_code,
        log=daemon.log,
    )


@pytest.fixture(params=sorted(GARDENS))
def night(request: pytest.FixtureRequest, nights: dict[str, Outcome]) -> Outcome:
    """One night after the other."""
    return nights[request.param]


def test_every_switching_of_the_night_is_there_and_none_is_false(night: Outcome) -> None:
    """The journal holds what DE421 and the clock ask for, in time for the speed, and nothing else."""
    garden = night.garden
    edges, unclear = edges_in(
        garden.windows,
        night.started_utc,
        garden.ends_at_utc,
        switchings=night.by_program,
        events=night.events,
    )
    assert not unclear
    matches = match_up(edges, night.by_program, heard_utc=garden.ends_at_utc)
    for match in matches:
        at_most_s = late_at_most_s(match, night.switchings, night.events)
        assert -match.edge.at.tolerance_s <= match.late_s <= at_most_s, match
    assert median(match.late_s for match in matches) <= USUALLY_LATE_S
    print(garden.name, sorted(round(match.late_s, 1) for match in matches))


def test_every_switching_of_the_night_says_why(night: Outcome) -> None:
    """Each names a span of its zone's program, and puts out what another lit."""
    for switching in night.by_program:
        spans, _ = night.garden.programs[switching.zone]
        assert any(span in switching.words for span in spans), switching
        assert switching.cause is Cause.PROGRAM
        assert switching.load_w == 20
    assert all(each.at.trusted for each in night.switchings)


def test_nobody_stepped_the_clock_of_the_night(night: Outcome) -> None:
    """No change of local time is taken for a step: what the journal holds is noise that cancels out."""
    assert adds_up(steps_in(night.events), 0.0)


def test_the_daemon_ended_as_asked(night: Outcome) -> None:
    """Its exit code is 0, and it complained of nothing but of how late a machine so fast makes it."""
    assert night.exit_code == 0
    assert "Traceback" not in night.log
