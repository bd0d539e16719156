"""What a process under libfaketime needs besides, so that its clocks are those of a machine in a hurry.

Python imports this file by itself where its folder is in PYTHONPATH; it does nothing unless CLOCKS_RUN_TIMES
is set. libfaketime 0.9.10 gives every clock the same faked instant, and divides every wait. That makes some
things happen that happen on no machine:

- A new timestamp steps CLOCK_BOOTTIME and CLOCK_MONOTONIC together with the wall clock, so that no program
  could find a step. Here both go on from the kernel's own, times the rate, and never step; and because they
  count from the machine's boot, they go on from one process to the next.
- epoll_wait(2) takes whole milliseconds, which libfaketime divides: at x1000 every wait of less than a faked
  second becomes none at all, and the loop turns without rest. Here a wait is a real millisecond or more.
- A thread that wants to run asks for it after 5 ms; that pause is divided as well, down to less than a change
  of threads takes. Here it is half a real millisecond.
- A timer that is never due cannot be divided, and is refused. Here what the program asks the kernel itself
  reaches the kernel: its timer on the wall clock is there and never fires, as nobody sets its clock.
"""

from __future__ import annotations

import ctypes
import os
import selectors
import sys
import time
from typing import Any

RATE = float(os.environ.get("CLOCKS_RUN_TIMES", "0"))
LEAST_WAIT_S = 0.001
SWITCH_AFTER_S = 0.0005


def run_fast(rate: float) -> None:
    """Have the two clocks that nobody sets run ``rate`` times as fast as the kernel's."""
    # Looked up in the C library itself, these are not libfaketime's. PyDLL: no other thread comes between.
    clock_gettime = ctypes.PyDLL("libc.so.6").clock_gettime
    faked = time.clock_gettime
    timespec = ctypes.c_long * 2
    never_set = (time.CLOCK_BOOTTIME, time.CLOCK_MONOTONIC)

    def read_ns(clock: int) -> int:
        found = timespec()
        if clock_gettime(clock, found):
            raise OSError(f"the C library does not read clock {clock}")
        return round((found[0] * 1_000_000_000 + found[1]) * rate)

    def read_s(clock: int) -> float:
        return read_ns(clock) / 1e9 if clock in never_set else faked(clock)

    time.clock_gettime = read_s
    time.clock_gettime_ns = lambda clock: read_ns(clock) if clock in never_set else round(faked(clock) * 1e9)
    time.monotonic = lambda: read_s(time.CLOCK_MONOTONIC)
    time.monotonic_ns = lambda: read_ns(time.CLOCK_MONOTONIC)


def wait_in_whole_milliseconds(rate: float) -> None:
    """Have no wait become shorter than a real millisecond unless it is none."""
    select = selectors.EpollSelector.select
    least_s = LEAST_WAIT_S * rate + 0.0005

    def wait(selector: Any, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        return select(selector, max(timeout, least_s) if timeout is not None and timeout > 0 else timeout)

    selectors.EpollSelector.select = wait  # type: ignore[assignment,method-assign]  # the purpose of this file


def ask_the_kernel() -> None:
    """Have functions that are looked up in the program itself be the C library's, not libfaketime's."""

    class Library(ctypes.CDLL):
        def __init__(self, name: str | None, *args: Any, **named: Any) -> None:
            super().__init__("libc.so.6" if name is None else name, *args, **named)

    ctypes.CDLL = Library  # type: ignore[misc]  # the purpose of this file


if RATE:
    ask_the_kernel()
    run_fast(RATE)
    wait_in_whole_milliseconds(RATE)
    sys.setswitchinterval(SWITCH_AFTER_S * RATE)
