"""Entries that wait in memory: their order, their bound, and two threads."""

from __future__ import annotations

import threading

import pytest

from controller.journal.queue import CloseOpenRuns, CurrentState, WriteQueue
from controller.records.entries import Event, Heartbeat, Override, Switching
from tests.controller.journal_samples import dark, event, heartbeat, lit, overridden, reading


def filled(bound: int, *works: object) -> WriteQueue:
    queue = WriteQueue(bound)
    for work in works:
        queue.put(work)
    return queue


class TestOrder:
    def test_entries_come_out_in_the_order_in_which_they_went_in(self):
        """First in, first out."""
        works = [lit("jetty", reading(second)) for second in range(5)]
        assert filled(10, *works).all() == tuple(works)

    def test_what_could_not_be_written_comes_first_the_next_time(self):
        """What a write has failed to write goes on waiting, before what came meanwhile."""
        queue = filled(10, event(reading(0)), event(reading(1)))
        queue.all()
        queue.put(event(reading(2)))
        assert len(queue) == 3
        assert [work.at.boot_s for work in queue.all()] == [1000, 1001, 1002]

    def test_what_is_written_is_removed(self):
        """After that, only what came meanwhile waits."""
        queue = filled(10, event(reading(0)))
        written = queue.all()
        queue.put(event(reading(1)))
        queue.remove(written)
        assert [work.at.boot_s for work in queue.all()] == [1001]


class TestBound:
    def test_heartbeats_are_dropped_first_then_events_and_switchings_last(self):
        """Too many, and the oldest of the lowest rank is dropped; each is counted."""
        start = CloseOpenRuns(now=reading())
        queue = filled(
            6,
            start,
            lit("jetty", reading(1)),
            event(reading(2)),
            heartbeat(reading(3)),
            overridden("a", reading(4)),
        )
        queue.put(heartbeat(reading(5)))
        assert (len(queue), queue.lost) == (6, 0)
        kinds = []
        for second in range(6, 12):
            queue.put(dark("jetty", reading(second)))
            kinds.append([type(work) for work in queue.all()][1:])
        assert kinds == [
            [Switching, Event, Override, Heartbeat, Switching],
            [Switching, Event, Override, Switching, Switching],
            [Switching, Override, Switching, Switching, Switching],
            [Switching, Switching, Switching, Switching, Switching],
            [Switching, Switching, Switching, Switching, Switching],
            [Switching, Switching, Switching, Switching, Switching],
        ]
        assert (len(queue), queue.lost) == (6, 6)
        assert queue.all()[0] == start
        assert [work.at.boot_s - 1000 for work in queue.all()[1:]] == [7, 8, 9, 10, 11]

    @pytest.mark.parametrize("succeeds", [False, True])
    def test_the_bound_holds_during_a_write(self, succeeds):
        """What is dropped while it is being written is lost only if that write fails."""
        queue = filled(4, *(event(reading(second)) for second in range(4)))
        being_written = queue.all()
        for second in range(4, 8):
            queue.put(lit("jetty", reading(second)) if second == 4 else heartbeat(reading(second)))
        assert ([work.at.boot_s - 1000 for work in queue.all()], queue.lost) == ([1, 2, 3, 4], 4)
        if succeeds:
            queue.remove(being_written)
            assert ([work.at.boot_s - 1000 for work in queue.all()], queue.lost) == ([4], 3)

    def test_a_queue_that_holds_nothing_is_refused(self):
        """A bound below one makes no sense."""
        with pytest.raises(ValueError, match="got a bound of 0"):
            WriteQueue(0)


class TestThreads:
    def test_nothing_is_lost_or_doubled_between_two_threads(self):
        """One thread puts in while another writes, and sometimes fails: all come out once, in order."""
        queue, taken, many = WriteQueue(100_000), [], 20_000
        finished = threading.Event()

        def put_in() -> None:
            for number in range(many):
                queue.put(number)
            finished.set()

        thread = threading.Thread(target=put_in)
        thread.start()
        turn = 0
        while not (finished.is_set() and len(queue) == 0):
            batch = queue.all()
            turn += 1
            if turn % 3:
                taken.extend(batch)
                queue.remove(batch)
        thread.join()
        assert taken == list(range(many))
        assert queue.lost == 0


class TestCurrentState:
    def test_it_follows_what_is_lit_and_what_is_overridden(self):
        """What was lit and not put out, and overrides not ended, are in force."""
        earlier = lit("steps", reading())
        state = CurrentState([earlier, overridden("a", reading())])
        jetty, override = lit("jetty", reading(1)), overridden("a", reading(2))
        state.update(
            [jetty, lit("path", reading(1)), dark("path", reading(2)), override, heartbeat(reading(3))]
        )
        assert (state.lit, state.overrides) == ({"steps": earlier, "jetty": jetty}, {"a": override})
        state.update([CloseOpenRuns(now=reading(4))])
        assert state.lit == {}
