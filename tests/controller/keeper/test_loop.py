"""The rounds: what leads to one, that nothing holds one up, and how they end.

The loop is asyncio's own. Whatever is waited for is an event, bounded by ``PATIENCE_S``; ticks and pauses are
made short, or so long that only what is under test can lead to the round.
"""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import Awaitable, Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from api.demo.fast_clock import FastClock
from config.errors import JournalError
from controller.clock.clock import SteppedClock
from controller.clock.kernel import ClockStepWatch
from controller.keeper import loop as loop_module
from controller.keeper.keeper import Keeper
from controller.keeper.loop import After, ControlLoop, in_background
from controller.keeper.state import KeeperStatus
from controller.relays import Relays
from tests.controller.kept import DAY, Board, Ledger, at
from tests.sites import site, zone

PATIENCE_S = 30.0
NEVER_S = 86_400.0
Scenario = Callable[[], Awaitable[None]]


class House:
    """Rounds with a real keeper on mock pins; tells of every round, and waits for them."""

    def __init__(
        self, *programs: str, clock: Any = None, write: Callable[[], None] | None = None, **more: Any
    ) -> None:
        self.clock = clock or SteppedClock(DAY)
        self.board = Board()
        self.ledger = Ledger()
        zones = [zone(f"zone-{number}", program, pin=17 + number) for number, program in enumerate(programs)]
        self.keeper = Keeper(
            site(*zones, relays={"rest_s": 0.0, "stagger_s": 0.0}),
            clock=self.clock,
            relays=Relays(lambda: self.board),
            journal=self.ledger,
        )
        self.seen: list[KeeperStatus] = []
        self._news = asyncio.Event()
        self.loop = ControlLoop(
            self.keeper,
            clock=self.clock,
            flush=write or self.write,
            on_round=more.pop("on_round", self.on_round),
            **more,
        )

    def write(self) -> None:
        self.ledger.waiting = 0

    def on_round(self, status: KeeperStatus) -> None:
        self.seen.append(status)
        self._news.set()

    def is_lit(self, number: int = 17) -> bool:
        return self.board.is_output(number) and not self.board.pin(number)._state

    async def until(self, condition: Callable[[], bool]) -> None:
        """Wait for rounds until something holds."""
        while not condition():
            self._news.clear()
            await self._news.wait()

    async def more_checks(self, count: int = 1) -> None:
        """Wait for so many more rounds."""
        wanted = len(self.seen) + count
        await self.until(lambda: len(self.seen) >= wanted)

    async def ask(self, work: Callable[[Keeper], Any], **more: Any) -> Any:
        """Ask as another thread does."""
        return await asyncio.to_thread(lambda: self.loop.call(work, **more))

    def live(self, scenario: Scenario) -> None:
        """Run the rounds, let the scenario happen, and stop them."""

        async def main() -> None:
            started = asyncio.Event()
            running = asyncio.create_task(self.loop.run(on_started=started.set))
            try:
                async with asyncio.timeout(PATIENCE_S):
                    await started.wait()
                    await scenario()
            finally:
                self.loop.stop()
                async with asyncio.timeout(PATIENCE_S):
                    await running

        asyncio.run(main())


class NoScheduler:
    """Stands for a scheduler that never fires."""

    def __init__(self, **_more: Any) -> None:
        self.jobs: list[dict[str, Any]] = []

    def start(self) -> None:
        pass

    def shutdown(self, **_more: Any) -> None:
        pass

    def add_job(self, _work: Any, **job: Any) -> None:
        self.jobs.append(job)


class Watch:
    """Stands for the kernel's word that the clock was set; a ClockStepWatch by its contract."""

    def __init__(self) -> None:
        self._fd = os.eventfd(0, os.EFD_NONBLOCK)
        self.closed = False

    def fileno(self) -> int:
        return self._fd

    def the_clock_was_set(self) -> None:
        os.eventfd_write(self._fd, 1)

    def rearm(self) -> bool:
        return bool(os.eventfd_read(self._fd))

    def close(self) -> None:
        os.close(self._fd)
        self.closed = True


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let only one thing lead to rounds: all else is silent, or a day away."""

    def silence(*, but: str, watch: Watch | None = None) -> None:
        pauses = {"tick": ("TICK_S", 0.005), "compare": ("COMPARE_S", 0.005)}
        for name, (constant, pause_s) in pauses.items():
            monkeypatch.setattr(loop_module, constant, pause_s if name == but else NEVER_S)
        if but != "scheduler":
            monkeypatch.setattr(loop_module, "AsyncIOScheduler", NoScheduler)
        monkeypatch.setattr(ClockStepWatch, "open", classmethod(lambda _class: watch))

    return silence


# -- what leads to a round -----------------------------------------------------------------------------------


@pytest.mark.parametrize("previous", [None, DAY - timedelta(days=200), DAY + timedelta(days=200)])
def test_the_next_boundary_is_counted_from_now_alone(previous: datetime | None) -> None:
    """By APScheduler's contract a trigger is asked with its last firing; this one does not look at it."""
    assert After(12.5).get_next_fire_time(previous, DAY) == DAY + timedelta(seconds=12.5)


def test_a_boundary_always_lies_ahead() -> None:
    """Asked again and again for what is due by now, as the scheduler does, it comes to an end."""
    for due_in_s in (0.0, 1e-9, 0.001):
        assert After(due_in_s).get_next_fire_time(DAY, DAY) > DAY


def test_a_clock_that_jumps_by_months_makes_one_round_due() -> None:
    """The scheduler itself enumerates what is due after a jump of 180 days: one firing."""
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        for job in house.loop._scheduler.get_jobs():
            assert len(job._get_run_times(job.next_run_time + timedelta(days=180))) == 1
            assert job.misfire_grace_time is None  # however late, it is done
            assert job.coalesce is True
        assert {each.id for each in house.loop._scheduler.get_jobs()} == {"boundary", "noon"}

    house.live(scenario)


def test_the_scheduler_leads_to_the_round_at_a_boundary(alone: Callable[..., None]) -> None:
    """Nothing else does: lit at nine and dark at two past, by the keeper's own clock."""
    alone(but="scheduler")
    clock = FastClock(at("20:59"), pace=600)
    house = House("21:00 to 21:02", clock=clock, pace=600)

    async def scenario() -> None:
        clock.start()
        house.loop.run_once()
        await house.until(lambda: len(house.ledger.switchings("zone-0")) == 2)

    house.live(scenario)
    lit, dark = house.ledger.switchings("zone-0")
    assert (lit[0][:5], dark[0][:5], lit[1], dark[1]) == ("21:00", "21:02", True, False)


def test_the_tick_comes_although_the_scheduler_never_fires(alone: Callable[..., None]) -> None:
    """The next boundary may be lost with the scheduler; a tick later the relay is right."""
    alone(but="tick")
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        house.clock.advance(6 * 3600)
        await house.until(house.is_lit)
        await house.more_checks(3)

    house.live(scenario)
    assert house.ledger.switchings("zone-0")[0] == ("21:00:00", True)


def test_the_tick_comes_although_the_scheduler_raises(
    alone: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of the timer's own costs the timer, and no round."""
    alone(but="tick")

    def fail(*_args: Any, **_more: Any) -> None:
        raise OverflowError("no such time")

    monkeypatch.setattr(NoScheduler, "add_job", fail)
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        await house.more_checks(3)

    house.live(scenario)


def test_the_kernels_word_that_the_clock_was_set_leads_to_a_round(alone: Callable[..., None]) -> None:
    """At once, each time; and the watch is closed at the end."""
    watch = Watch()
    alone(but="watch", watch=watch)
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        for step_s in (6.5 * 3600, 6 * 3600):
            house.clock.step(step_s)
            watch.the_clock_was_set()
            await house.more_checks()

    house.live(scenario)
    assert [on for _, on in house.ledger.switchings("zone-0")] == [True, False]
    assert watch.closed


def test_a_step_is_found_by_comparing_where_the_kernel_says_nothing(alone: Callable[..., None]) -> None:
    """Without a watch at all: a step either way, and trust that came or went, lead to a round."""
    alone(but="compare")
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        for step_s in (6.5 * 3600, -3600):
            house.clock.step(step_s)
            await house.more_checks()
        house.clock.trusted = False
        await house.more_checks()
        house.clock.trusted = True
        await house.more_checks()

    house.live(scenario)
    assert [on for _, on in house.ledger.switchings("zone-0")] == [True, False]


def test_comparing_two_clocks_that_agree_makes_no_round(alone: Callable[..., None]) -> None:
    """Time that passes is no step."""
    alone(but="compare")
    house = House("21:00 to 22:00")
    looked = asyncio.Event()
    looks = [0]

    class Passing(SteppedClock):
        def read(self) -> Any:
            looks[0] += 1
            if looks[0] > 20:
                looked.set()
            self.advance(0.5)
            return super().read()

    house.loop._clock = Passing(DAY)

    async def scenario() -> None:
        rounds_before = len(house.seen)
        await looked.wait()
        assert len(house.seen) == rounds_before

    house.live(scenario)


# -- what does not hold one up -------------------------------------------------------------------------------


def test_a_round_that_raises_is_made_again(
    alone: Callable[..., None], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Which none should; the timer and the tick go on, and the log says where it was."""
    alone(but="tick")
    house = House("21:00 to 22:00")
    raises, real = [2], house.keeper.reconcile

    def round_or_raise() -> float:
        if raises[0]:
            raises[0] -= 1
            raise RuntimeError("a slip of ours")
        return real()

    async def scenario() -> None:
        monkeypatch.setattr(house.keeper, "reconcile", round_or_raise)
        await house.more_checks()
        await house.more_checks()

    house.live(scenario)
    assert raises == [0]
    assert "a slip of ours" in caplog.text


def test_whoever_is_told_of_a_round_cannot_end_the_rounds(
    alone: Callable[..., None], caplog: pytest.LogCaptureFixture
) -> None:
    """A fault in what follows a round, such as feeding a watchdog, is a line in the log."""
    alone(but="tick")
    told: list[KeeperStatus] = []

    def fail(status: KeeperStatus) -> None:
        told.append(status)
        if len(told) == 5:
            enough.set()
        raise ZeroDivisionError("a slip of ours")

    house = House("21:00 to 22:00", on_round=fail)
    enough = asyncio.Event()

    async def scenario() -> None:
        await enough.wait()

    house.live(scenario)
    assert "a slip of ours" in caplog.text


@pytest.fixture
def hanging() -> Iterator[tuple[Callable[[], None], list[str], threading.Event]]:
    """Give a write that hangs until it is let go, who is in it, and what lets it go."""
    inside: list[str] = []
    let_go = threading.Event()

    def write() -> None:
        inside.append(threading.current_thread().name)
        let_go.wait(PATIENCE_S)
        inside.remove(threading.current_thread().name)

    yield write, inside, let_go
    let_go.set()


Hanging = tuple[Callable[[], None], list[str], threading.Event]


def test_the_journal_is_looked_after_though_nothing_waits(alone: Callable[..., None]) -> None:
    """With every tick the journal's file is looked for, in a thread beside the loop: it may be gone."""
    alone(but="tick")
    wrote = []
    house = House("21:00 to 22:00", write=lambda: wrote.append(threading.current_thread().name))

    async def scenario() -> None:
        await house.until(lambda: len(wrote) >= 3)

    house.live(scenario)
    assert house.ledger.waiting == 0
    assert set(wrote[:3]) == {"journal"}


def test_a_write_that_hangs_delays_no_round(alone: Callable[..., None], hanging: Hanging) -> None:
    """The disk takes its time: rounds and switchings go on, and no second write is begun meanwhile."""
    alone(but="tick")
    write, inside, let_go = hanging
    house = House("21:00 to 22:00", write=write)
    house.ledger.waiting = 3

    async def scenario() -> None:
        await house.until(lambda: bool(inside))
        house.clock.advance(6 * 3600)
        await house.until(house.is_lit)
        await house.more_checks(20)
        assert inside == ["journal"]
        assert house.loop.status.waiting == 3
        let_go.set()

    house.live(scenario)


def test_a_write_that_fails_is_tried_again_after_the_next_round(
    alone: Callable[..., None], caplog: pytest.LogCaptureFixture
) -> None:
    """An error of the disk, and one that none should raise, are lines in the log; then it works."""
    alone(but="tick")
    errors: list[Exception] = [JournalError("the disk is full"), RuntimeError("a slip of ours")]

    def fail_or_write() -> None:
        if errors:
            house.ledger.fault = "the disk is full"
            raise errors.pop(0)
        house.ledger.fault, house.ledger.waiting = None, 0

    house = House("21:00 to 22:00", write=fail_or_write)
    house.ledger.waiting = 1

    async def scenario() -> None:
        await house.until(lambda: house.loop.status.waiting == 0)

    house.live(scenario)
    assert "the disk is full" in caplog.text
    assert "a slip of ours" in caplog.text


def test_what_came_during_a_write_is_written_next(alone: Callable[..., None]) -> None:
    """Without waiting for another round."""
    alone(but="nothing")
    written: list[int] = []
    done = threading.Event()

    def write() -> None:
        written.append(house.ledger.waiting)
        house.ledger.waiting = 2 if len(written) == 1 else 0
        if len(written) == 2:
            done.set()

    house = House("21:00 to 22:00", write=write)
    house.ledger.waiting = 5

    async def scenario() -> None:
        assert await asyncio.to_thread(done.wait, PATIENCE_S)

    house.live(scenario)
    assert written[:2] == [5, 2]


# -- asking --------------------------------------------------------------------------------------------------


def test_what_is_asked_is_done_and_followed_by_a_round(alone: Callable[..., None]) -> None:
    """By the time the answer is there, the relay is right and the status says so."""
    alone(but="nothing")
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        override = await house.ask(lambda keeper: keeper.override("zone-0", on=True, lasts_s=600))
        assert override.zone == "zone-0"
        assert house.is_lit()
        assert house.loop.status.zones[0].lit

    house.live(scenario)


def test_what_is_asked_and_refused_raises_where_it_was_asked(alone: Callable[..., None]) -> None:
    """In the thread that asked; the rounds go on."""
    alone(but="nothing")
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        with pytest.raises(ValueError, match="more than 0 s"):
            await house.ask(lambda keeper: keeper.override("zone-0", on=True, lasts_s=0))
        assert await house.ask(lambda keeper: keeper.site.name) == "Tern Cottage"

    house.live(scenario)


def test_asking_before_and_after_is_refused_at_once() -> None:
    """Not yet running, or over: told so, and nothing is done."""
    house = House("21:00 to 22:00")
    with pytest.raises(TimeoutError, match="not yet running"):
        house.loop.call(lambda _keeper: pytest.fail("it was done"))

    async def scenario() -> None:
        pass

    house.live(scenario)
    with pytest.raises(TimeoutError, match="stopping"):
        house.loop.call(lambda _keeper: pytest.fail("it was done"))


def test_a_keeper_that_is_stuck_lets_go_of_who_asks_and_does_not_do_it_later(
    alone: Callable[..., None],
) -> None:
    """Whoever was told "no answer" must not find it done a minute later."""
    alone(but="nothing")
    house = House("21:00 to 22:00")
    stuck, go_on = threading.Event(), threading.Event()
    refused: list[BaseException] = []

    def be_stuck(_keeper: Keeper) -> None:
        stuck.set()
        go_on.wait(PATIENCE_S)

    def ask_meanwhile() -> None:
        stuck.wait(PATIENCE_S)
        try:
            house.loop.call(lambda keeper: keeper.override("zone-0", on=True, lasts_s=600), wait_s=0.01)
        except TimeoutError as error:
            refused.append(error)
        go_on.set()

    async def scenario() -> None:
        asking = asyncio.create_task(asyncio.to_thread(ask_meanwhile))
        await house.ask(be_stuck, wait_s=PATIENCE_S)
        await asking
        await house.ask(lambda _keeper: None)
        assert len(refused) == 1
        assert not house.is_lit()
        assert house.keeper.overrides == {}

    house.live(scenario)


# -- nights --------------------------------------------------------------------------------------------------


def test_a_new_night_is_told_once_and_not_by_a_clock_that_is_not_trusted(alone: Callable[..., None]) -> None:
    """At noon by the clock of the site, in a thread of its own, by the timetable."""
    alone(but="scheduler")
    told: list[str] = []
    house = House("21:00 to 22:00", on_noon=lambda: told.append(threading.current_thread().name))

    async def scenario() -> None:
        for hours, trusted in ((20, True), (2, True), (1, True), (24, False), (1, False), (24, True)):
            house.clock.advance(hours * 3600)
            house.clock.trusted = trusted
            await house.ask(lambda _keeper: None)
            await house.until(lambda: house.loop._night.holds(house.clock.utc))

    house.live(scenario)
    for thread in threading.enumerate():
        if thread.name == "noon":
            thread.join(PATIENCE_S)
    # Three noons went by, the second of them while the clock was not trusted.
    assert told == ["noon", "noon"]


@pytest.mark.parametrize("step", [timedelta(days=-180), timedelta(days=180)])
def test_the_timetable_follows_a_clock_that_is_set(alone: Callable[..., None], step: timedelta) -> None:
    """Half a year either way: the next noon is still less than a day ahead, and one noon is told, not 180."""
    alone(but="scheduler")
    told: list[None] = []
    house = House("21:00 to 22:00", on_noon=lambda: told.append(None))

    async def scenario() -> None:
        house.clock.step(step.total_seconds())
        await house.ask(lambda _keeper: None)
        await house.until(lambda: house.loop._night.holds(house.clock.utc))
        ahead = house.loop._scheduler.get_job("noon").next_run_time - datetime.now(UTC)
        assert timedelta(0) < ahead <= timedelta(days=1)

    house.live(scenario)
    for thread in threading.enumerate():
        if thread.name == "noon":
            thread.join(PATIENCE_S)
    assert len(told) == 1


# -- the end -------------------------------------------------------------------------------------------------


def test_stopping_puts_out_the_lights_and_has_the_last_entries_written() -> None:
    """What the keeper told at its end is written before the loop ends."""
    written: list[int] = []
    house = House("12:00 to 22:00", write=lambda: written.append(len(house.ledger.entries)))
    pin = house.board.pin(17)

    async def scenario() -> None:
        assert house.is_lit()

    house.live(scenario)
    assert [level for _, level in pin.levels] == [0, 1]
    assert pin.function == "input"
    assert written[-1] == len(house.ledger.entries)


def test_stopping_does_not_wait_for_a_disk_that_hangs(
    monkeypatch: pytest.MonkeyPatch, hanging: Hanging, caplog: pytest.LogCaptureFixture
) -> None:
    """The lights are out before anything is written; the end comes though no write ever returns."""
    monkeypatch.setattr(loop_module, "LAST_FLUSH_S", 0.02)
    write, inside, let_go = hanging
    house = House("12:00 to 22:00", write=write)
    house.ledger.waiting = 3
    pin = house.board.pin(17)

    async def scenario() -> None:
        await house.until(lambda: bool(inside))

    house.live(scenario)
    assert not let_go.is_set()
    assert inside
    assert [level for _, level in pin.levels] == [0, 1]
    assert "3 entries could not be written in time" in caplog.text


def test_nothing_is_lit_again_by_who_asks_while_the_last_entries_are_written(
    monkeypatch: pytest.MonkeyPatch, hanging: Hanging
) -> None:
    """A request that comes in between the lights' end and the program's end is refused."""
    monkeypatch.setattr(loop_module, "LAST_FLUSH_S", PATIENCE_S)
    write, inside, let_go = hanging

    def write_last() -> None:
        if threading.current_thread().name == "last entries":
            write()

    house = House("12:00 to 22:00", write=write_last)
    pin = house.board.pin(17)
    refused: list[TimeoutError] = []

    async def scenario() -> None:
        house.loop.stop()

    def ask_at_the_end() -> None:
        while not inside:  # until the last entries are being written
            asked_at.wait(0.001)
        try:
            house.loop.call(lambda keeper: keeper.override("zone-0", on=True, lasts_s=600))
        except TimeoutError as error:
            refused.append(error)
        let_go.set()

    asked_at = threading.Event()
    asking = threading.Thread(target=ask_at_the_end)
    asking.start()
    house.live(scenario)
    asking.join(PATIENCE_S)
    assert len(refused) == 1
    assert [level for _, level in pin.levels] == [0, 1]
    assert house.board.pin(17).function == "input"


def test_stopping_twice_or_before_the_beginning_does_no_harm() -> None:
    """A signal may come at any moment, and again."""
    house = House("21:00 to 22:00")
    house.loop.stop()

    async def scenario() -> None:
        house.loop.stop()
        house.loop.stop()

    house.live(scenario)
    house.loop.stop()


def test_what_fails_in_the_background_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    """With the name of its thread; nobody waits for it."""
    done = threading.Event()

    def fail() -> None:
        try:
            raise ZeroDivisionError("a slip of ours")
        finally:
            done.set()

    in_background(fail, name="some work")
    assert done.wait(PATIENCE_S)
    for thread in threading.enumerate():
        if thread.name == "some work":
            thread.join(PATIENCE_S)
    assert "some work" in caplog.text
    assert "a slip of ours" in caplog.text


def test_the_scheduler_is_the_one_that_is_shut_down() -> None:
    """No timer of APScheduler is left behind in the loop."""
    house = House("21:00 to 22:00")

    async def scenario() -> None:
        assert isinstance(house.loop._scheduler, AsyncIOScheduler)
        assert house.loop._scheduler.running

    house.live(scenario)
    assert not house.loop._scheduler.running
