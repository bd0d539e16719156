"""The clock of this machine, with the evidence under the test's control."""

import asyncio
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time

from controller.clock import clock as clock_module
from controller.clock.clock import Clock, SteppedClock, SystemClock
from controller.clock.evidence import ClockEvidence
from controller.clock.kernel import read_boot_id

FLOOR_UTC = datetime(2027, 6, 21, 20, 0, tzinfo=UTC)


class Kernel:
    """A kernel that says what the test wants, and counts how often it is asked."""

    def __init__(self, *, synchronised: bool | None = False) -> None:
        self.synchronised = synchronised
        self.asked = 0

    def __call__(self) -> bool | None:
        self.asked += 1
        return self.synchronised


@pytest.fixture
def kernel() -> Kernel:
    return Kernel()


@pytest.fixture
def boot(monkeypatch):
    """The boot-time clock, to be set by the test."""
    times = {"now": 100.0}
    monkeypatch.setattr(clock_module.time, "clock_gettime", lambda _: times["now"])
    return times


@pytest.fixture
def elsewhere(monkeypatch):
    """A machine whose own time zone is 12:45 h ahead."""
    monkeypatch.setenv("TZ", "Pacific/Chatham")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def build(tmp_path: Path, kernel: Kernel, **others) -> SystemClock:
    return SystemClock(
        floor_utc=FLOOR_UTC, evidence=ClockEvidence(root=tmp_path, ask_kernel=kernel), **others
    )


def test_reads_the_wall_clock_in_utc(tmp_path, kernel):
    """The reading is the wall clock's instant in UTC."""
    with freeze_time("2027-06-21T20:30:00Z"):
        assert build(tmp_path, kernel).read().utc == datetime(2027, 6, 21, 20, 30, tzinfo=UTC)


def test_the_machines_own_zone_does_not_matter(tmp_path, kernel, elsewhere):
    """On a machine set to a far zone the reading still lies between two looks at the seconds since 1970."""
    system = build(tmp_path, kernel)
    before_s = time.time()
    utc = system.read().utc
    assert before_s - 1e-5 <= utc.timestamp() <= time.time()
    assert utc.utcoffset() == timedelta(0)


def test_reads_the_boot_time_clock_of_the_kernel(tmp_path, kernel):
    """The boot-time reading lies between two looks at CLOCK_BOOTTIME around it."""
    system = build(tmp_path, kernel)
    before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    boot_s = system.read().boot_s
    assert before_s <= boot_s <= time.clock_gettime(time.CLOCK_BOOTTIME)


def test_boot_id_is_the_kernels(tmp_path, kernel):
    """The boot id is the one that the kernel gives every program."""
    expected = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    assert build(tmp_path, kernel).read().boot_id == expected


def test_both_clocks_are_of_one_moment(tmp_path, kernel, monkeypatch):
    """A pause between the two looks is not taken for a step: the clock looks again."""
    times = iter([100.0, 130.0, 130.0, 130.002])
    monkeypatch.setattr(clock_module.time, "clock_gettime", lambda _: next(times))
    with freeze_time("2027-06-21T20:30:00Z"):
        assert build(tmp_path, kernel).read().boot_s == pytest.approx(130.001)


def test_trust_comes_with_the_network_and_stays(tmp_path, kernel, boot):
    """Untrusted until the kernel says that it is synchronised; then trusted though the network goes."""
    system = build(tmp_path, kernel)
    with freeze_time("2027-06-21T20:30:00Z") as wall:
        assert not system.read().trusted
        kernel.synchronised = True
        wall.tick(timedelta(seconds=30))
        boot["now"] += 30
        assert (system.read().trusted, system.read().trust) == (True, "set from the network")
        kernel.synchronised = False
        wall.tick(timedelta(days=9))
        boot["now"] += 9 * 86_400
        assert (system.read().trusted, system.read().trust) == (True, "set from the network")


def test_a_restart_in_the_same_boot_keeps_trust(tmp_path, kernel, boot):
    """The journal remembers the boot in which the clock was right; another boot starts anew."""
    with freeze_time("2027-06-21T20:30:00Z"):
        same = build(tmp_path, kernel, trusted_boot_id=read_boot_id()).read()
        other = build(tmp_path, kernel, trusted_boot_id="00000000-another-boot").read()
    assert (same.trusted, same.trust) == (True, "found right before, since the board started")
    assert not other.trusted


def test_a_step_behind_the_floor_ends_trust(tmp_path, kernel, boot):
    """A clock set back behind the journal is not believed; set right again, it is once found synchronised."""
    kernel.synchronised = True
    system = build(tmp_path, kernel)
    with freeze_time("2027-06-21T20:30:00Z"):
        assert system.read().trusted
    kernel.synchronised = False
    with freeze_time("1970-01-01T00:00:10Z"):
        boot["now"] += 0.1
        assert not system.read().trusted
    with freeze_time("2027-06-21T20:31:00Z"):
        boot["now"] += 0.1
        assert not system.read().trusted
        kernel.synchronised = True
        boot["now"] += 5
        assert system.read().trusted


def test_the_keeper_raises_the_floor(tmp_path, kernel, boot):
    """The floor follows what the keeper has journaled."""
    kernel.synchronised = True
    system = build(tmp_path, kernel)
    with freeze_time("2027-06-22T20:30:00Z"):
        assert system.read().trusted
        system.trust.raise_floor(datetime(2027, 6, 23, 0, 0, tzinfo=UTC))
        assert system.trust.floor_utc == datetime(2027, 6, 23, 0, 0, tzinfo=UTC)
        kernel.synchronised = False
        boot["now"] += 10.0
        assert not system.read().trusted
        kernel.synchronised = True
        boot["now"] += 10.0
        assert system.read().trusted
        assert system.trust.floor_utc == datetime(2027, 6, 22, 20, 30, tzinfo=UTC)


def test_believe_may_change_while_running(tmp_path, kernel, boot):
    """A site file that is read again may say “always”, and may take it back."""
    system = build(tmp_path, kernel)
    with freeze_time("2027-06-21T20:30:00Z"):
        assert not system.read().trusted
        system.trust.believe = "always"
        assert (system.read().trusted, system.read().trust) == (
            True,
            "believed because the site file says so",
        )
        system.trust.believe = "synchronised"
        assert not system.read().trusted


def test_evidence_is_not_looked_for_at_every_reading(tmp_path, kernel, boot):
    """A thousand readings in two seconds cost one look; a settled clock costs none."""
    system = build(tmp_path, kernel)
    with freeze_time("2027-06-21T20:30:00Z"):
        for _ in range(1000):
            boot["now"] += 0.001
            system.read()
        assert kernel.asked == 1
        kernel.synchronised = True
        boot["now"] += 2
        system.read()
        boot["now"] += 1000
        system.read()
        assert kernel.asked == 2


def test_both_clocks_fit_the_seam(tmp_path, kernel):
    """The clock of the machine and its stand-in are the same to whoever reads them."""
    clocks: list[Clock] = [build(tmp_path, kernel), SteppedClock(FLOOR_UTC)]
    assert [clock.read().utc.tzinfo for clock in clocks] == [UTC, UTC]


def test_this_machines_own_clock_can_be_read_without_privilege():
    """The real sources answer without raising, in a loop that runs."""

    async def read_twice() -> bool:
        system = SystemClock(floor_utc=FLOOR_UTC)
        first, second = system.read(), system.read()
        return first.boot_id == second.boot_id and first.boot_s <= second.boot_s

    assert asyncio.run(read_twice())
