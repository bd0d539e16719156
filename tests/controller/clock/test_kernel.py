"""What only the kernel knows of the clock, checked against programs in C and against the kernel's own word.

The clock of the machine is not set here: that a set wakes the watch is the kernel's promise in
timerfd_create(2). What is checked is that the watch is the very timer which that page describes, as the
kernel itself shows it in /proc, and that each answer of the kernel is read as it is meant.
"""

import asyncio
import ctypes
import errno
import json
import os
import select
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

from controller.clock import kernel as kernel_clock
from controller.clock.kernel import ClockStepWatch, kernel_synchronised, read_boot_id

needs_compiler = pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler here")

LAYOUT_C = r"""
#include <stddef.h>
#include <stdio.h>
#include <sys/timex.h>
#include <sys/timerfd.h>
int main(void) {
    struct timex t = {0};
    int state = adjtimex(&t);
    printf("{\"size\": %zu, \"maxerror\": %zu, \"status\": %zu, \"unsync\": %d, \"time_error\": %d,"
           " \"abstime\": %d, \"cancel_on_set\": %d, \"itimerspec\": %zu, \"value\": %zu,"
           " \"state\": %d, \"is_unsync\": %d, \"maxerror_us\": %ld}",
           sizeof t, offsetof(struct timex, maxerror), offsetof(struct timex, status), STA_UNSYNC, TIME_ERROR,
           TFD_TIMER_ABSTIME, TFD_TIMER_CANCEL_ON_SET, sizeof(struct itimerspec),
           offsetof(struct itimerspec, it_value), state, (t.status & STA_UNSYNC) != 0, t.maxerror);
    return 0;
}
"""


@pytest.fixture(scope="module")
def in_c(tmp_path_factory):
    """What a C program built with this machine's own headers says."""
    folder = tmp_path_factory.mktemp("layout")
    source, program = folder / "layout.c", folder / "layout"
    source.write_text(LAYOUT_C, encoding="ascii")
    subprocess.run(["cc", "-o", str(program), str(source)], check=True)
    return json.loads(subprocess.run([str(program)], check=True, capture_output=True).stdout)


@needs_compiler
def test_struct_timex_is_laid_out_as_in_c(in_c):
    """The fields that are read lie where the C compiler puts them, and the whole has room."""
    ours = kernel_clock._Timex
    assert (ours.maxerror.offset, ours.status.offset) == (in_c["maxerror"], in_c["status"])
    assert ctypes.sizeof(ours) >= in_c["size"]


@needs_compiler
def test_struct_itimerspec_is_laid_out_as_in_c(in_c):
    """The timer's value lies where the C compiler puts it."""
    ours = kernel_clock._Itimerspec
    assert (ctypes.sizeof(ours), ours.value.offset) == (in_c["itimerspec"], in_c["value"])


@needs_compiler
def test_constants_are_those_of_the_headers(in_c):
    """Flags and return value are the ones in the kernel's headers."""
    ours = (
        kernel_clock._STA_UNSYNC,
        kernel_clock._TIME_ERROR,
        kernel_clock._TFD_TIMER_ABSTIME,
        kernel_clock._TFD_TIMER_CANCEL_ON_SET,
    )
    assert ours == (in_c["unsync"], in_c["time_error"], in_c["abstime"], in_c["cancel_on_set"])


@needs_compiler
def test_the_answer_is_the_one_that_c_gets(in_c):
    """On this machine, as it is, the answer follows from what a C program read from the same kernel."""
    kept_right = in_c["state"] != 5 and not in_c["is_unsync"]
    assert kernel_synchronised() is (kept_right or in_c["maxerror_us"] < 16_000_000)


def test_head_of_struct_timex_on_32_bits():
    """With a long of four bytes the same fields put status at byte 20, as the 32-bit header does."""
    as_32 = tuple(
        (name, ctypes.c_int32 if kind is ctypes.c_long else kind)
        for name, kind in kernel_clock._Timex._fields_[:-1]
    )
    head = type("Head", (ctypes.Structure,), {"_fields_": as_32})
    assert (head.maxerror.offset, head.status.offset, ctypes.sizeof(head)) == (12, 20, 24)


@pytest.mark.parametrize(
    ("state", "status", "maxerror_us", "synchronised"),
    [
        (5, 0x40, 16_000_000, False),  # as it starts: nothing has set it
        (0, 0x2001, 120_000, True),  # kept by a daemon in phase-locked loop
        (5, 0x40, 17_288, True),  # chrony without rtcsync leaves the flag set
        (1, 0x2011, 90_000, True),  # a leap second will be inserted tonight
        (3, 0x2011, 90_000, True),  # the leap second itself
        (5, 0x2041, 16_000_000, False),  # the daemon has been gone for nine hours
        (-1, 0, 0, None),  # not allowed
    ],
)
def test_each_answer_of_adjtimex(monkeypatch, state, status, maxerror_us, synchronised):
    """The states of adjtimex(2) are read as its manual page and the daemons mean them."""

    def adjtimex(reference):
        reference._obj.status = status
        reference._obj.maxerror = maxerror_us
        return state

    monkeypatch.setattr(kernel_clock, "_libc", lambda: SimpleNamespace(adjtimex=adjtimex))
    assert kernel_synchronised() is synchronised


def test_a_system_without_the_calls(monkeypatch):
    """Where the C library has neither call, there is no answer and no watch, and nothing raises."""
    monkeypatch.setattr(kernel_clock, "_libc", SimpleNamespace)
    assert kernel_synchronised() is None
    assert ClockStepWatch.open() is None


@pytest.fixture
def watch():
    found = ClockStepWatch.open()
    assert found is not None, "this kernel has timerfd since Linux 3.0"
    yield found
    found.close()


def test_the_watch_is_the_timer_that_a_set_cancels(watch):
    """The kernel itself shows the timer: on CLOCK_REALTIME, absolute, cancelled on set, due far ahead."""
    info = Path(f"/proc/self/fdinfo/{watch.fileno()}").read_text(encoding="ascii")
    shown = dict(line.split(":", 1) for line in info.splitlines() if ":" in line)
    assert shown["clockid"].strip() == "0"
    assert int(shown["settime flags"], 8) == 0b11
    seconds = int(shown["it_value"].strip(" ()").split(",")[0])
    assert seconds > 100 * 365 * 86_400


def test_the_watch_is_quiet_while_nobody_sets_the_clock(watch):
    """No set, no wake-up; and rearming says so."""
    poll = select.poll()
    poll.register(watch.fileno(), select.POLLIN)
    assert poll.poll(0) == []
    assert watch.rearm() is False
    assert poll.poll(0) == []


def test_a_set_clock_is_told_by_rearm(watch, monkeypatch):
    """ECANCELED from the read means that the clock was set, timerfd_create(2); the watch goes on."""

    def read(fd, size):
        raise OSError(errno.ECANCELED, os.strerror(errno.ECANCELED))

    monkeypatch.setattr(kernel_clock.os, "read", read)
    assert watch.rearm() is True
    monkeypatch.undo()
    assert watch.rearm() is False


def test_the_watch_fits_a_loop(watch):
    """A loop takes the watch as a reader and gives it back."""

    async def add_and_remove() -> bool:
        loop = asyncio.get_running_loop()
        loop.add_reader(watch, lambda: None)
        return loop.remove_reader(watch)

    assert asyncio.run(add_and_remove())


def test_closing_twice_does_no_harm(watch):
    """A closed watch gives its descriptor back once, and rearming it raises nothing."""
    fd = watch.fileno()
    watch.close()
    watch.close()
    assert watch.rearm() is False
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(fd)


def test_no_watch_with_a_short_time(monkeypatch):
    """With a 32-bit time_t no instant is far enough after 2038; the tick compares the clocks instead."""
    monkeypatch.setattr(kernel_clock.ctypes, "sizeof", lambda _: 4)
    assert ClockStepWatch.open() is None


def test_boot_id_comes_from_the_file(tmp_path):
    """The file that the kernel fills is read, without its newline."""
    place = tmp_path / kernel_clock.BOOT_ID
    place.parent.mkdir(parents=True)
    place.write_text("7c2f1a52-0000-4000-8000-00000000abcd\n", encoding="ascii")
    assert read_boot_id(tmp_path) == "7c2f1a52-0000-4000-8000-00000000abcd"


def test_boot_id_without_the_file_is_this_process_own(tmp_path):
    """Where there is no id, one is made that stays for the process and is never met again."""
    first = read_boot_id(tmp_path)
    assert first == read_boot_id(tmp_path)
    assert first.startswith("process-")
    assert first != read_boot_id(tmp_path / "another")
