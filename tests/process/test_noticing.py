"""How soon a step is noticed of which the kernel's timer says nothing, at the speed of a real clock."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from controller.keeper.keeper import TICK_S
from controller.records.entries import Event, EventKind
from tests.process.daemon import running
from tests.process.faketime import FakeTime
from tests.process.gardens import SPRING

pytestmark = pytest.mark.usefixtures("libfaketime")

HOUR = timedelta(hours=1)


def test_a_step_is_noticed_within_seconds_even_where_the_kernel_is_silent(tmp_path: Path) -> None:
    """The timer on the wall clock is there and never fires; the clocks are compared all the same."""
    fake = FakeTime(rate=1, file=tmp_path / "timestamp")
    site = SPRING.write_site(tmp_path / "site.toml")
    starts_at_utc = SPRING.starts_at_utc
    environment = fake.environment(starts_at_utc)
    with running(site, tmp_path / "state", environment=environment) as daemon:
        daemon.wait_until("in the journal", lambda: bool(daemon.started))

        def steps() -> list[Event]:
            return [each for each in daemon.events if each.kind is EventKind.CLOCK_STEPPED]

        def has_stepped(times: int) -> bool:
            return len(steps()) == times

        for times, by in enumerate((HOUR, -HOUR), start=1):
            stepped_s = fake.boot_s()
            starts_at_utc += by
            fake.set_start(starts_at_utc)
            daemon.wait_until("noticed", partial(has_stepped, times))
            step = max(steps(), key=lambda event: event.at.boot_s)
            assert step.size_s is not None
            assert abs(step.size_s - by.total_seconds()) < 1
            # Two seconds are meant. By the tick alone it would be anything up to thirty; a machine that is
            # too busy to run a process for so long fails everything here.
            print(round(step.at.boot_s - stepped_s, 3))
            assert step.at.boot_s - stepped_s < TICK_S / 3
