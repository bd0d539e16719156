"""What only the kernel knows: whether the clock is synchronised, when it is set, which boot this is.

Through ctypes, as Python offers none of it before 3.13. Where the machine or the sandbox lacks a call, the
answer is None; nothing raises.
"""

from __future__ import annotations

import ctypes
import errno
import functools
import os
import time
import uuid
from pathlib import Path

BOOT_ID = "proc/sys/kernel/random/boot_id"

_STA_UNSYNC = 0x40
_TIME_ERROR = 5
_UNKNOWN_ERROR_US = 16_000_000
"""Status bit, return value and largest error of adjtimex(2), Linux include/uapi/linux/timex.h: a clock that
nothing keeps right has the bit, the value, and this error in microseconds (NTP_PHASE_LIMIT)."""

_TFD_TIMER_ABSTIME = 1
_TFD_TIMER_CANCEL_ON_SET = 2
"""Flags of timerfd_settime(2), Linux include/uapi/linux/timerfd.h."""


class _Timex(ctypes.Structure):
    """The head of struct timex, adjtimex(2), with room for the rest.

    Every field of the head is an int or a long, so that one text is right for 32 and 64 bits; the whole is
    208 bytes on 64 bits and 128 on 32.
    """

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_long * 40),
    )


class _Timespec(ctypes.Structure):
    _fields_ = (("seconds", ctypes.c_long), ("nanoseconds", ctypes.c_long))


class _Itimerspec(ctypes.Structure):
    _fields_ = (("interval", _Timespec), ("value", _Timespec))


@functools.cache
def _libc() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


def kernel_synchronised() -> bool | None:
    """Ask the kernel whether something keeps the clock right; None where the call is missing or refused.

    The maximum error counts beside the flag, because a daemon may leave the flag set to keep the kernel off
    the hardware clock; the error starts at 16 s and is below it only while something sets it. Source:
    adjtimex(2).
    """
    timex = _Timex()
    try:
        state = _libc().adjtimex(ctypes.byref(timex))
    except (OSError, AttributeError):
        return None
    if state < 0:
        return None
    flagged = bool(timex.status & _STA_UNSYNC) or state == _TIME_ERROR
    return not flagged or bool(timex.maxerror < _UNKNOWN_ERROR_US)


@functools.cache
def read_boot_id(root: Path = Path("/")) -> str:
    """Give the id of this boot; where the kernel has none, one of this process that no other reading has."""
    return read_line(root / BOOT_ID) or f"process-{uuid.uuid4()}"


def read_line(path: Path) -> str:
    """Read one of the kernel's files; empty where it cannot be read."""
    try:
        return path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""


class ClockStepWatch:
    """A file descriptor that becomes readable when the clock is set, or when the machine resumes.

    It is a timer on the wall clock that is never due and is cancelled by a set, timerfd_create(2).
    """

    def __init__(self, fd: int) -> None:
        self._fd = fd

    @classmethod
    def open(cls) -> ClockStepWatch | None:
        """Open and arm a watch; None where there is no such timer, or time_t has 32 bits."""
        # A 32-bit time_t cannot name an instant after 2038: the timer would be due at once and for ever.
        if ctypes.sizeof(ctypes.c_long) < 8:  # noqa: PLR2004 - bytes of a 64-bit long
            return None
        try:
            fd = _libc().timerfd_create(time.CLOCK_REALTIME, os.O_NONBLOCK | os.O_CLOEXEC)
        except (OSError, AttributeError):
            return None
        if fd < 0:
            return None
        watch = cls(fd)
        if not watch._arm():
            watch.close()
            return None
        return watch

    def fileno(self) -> int:
        """The descriptor, for a loop's add_reader; -1 once closed."""
        return self._fd

    def rearm(self) -> bool:
        """Watch again; True where the clock was set since the watch was last armed."""
        was_set = False
        try:
            os.read(self._fd, 8)
        except OSError as error:  # EAGAIN where it was not
            was_set = error.errno == errno.ECANCELED
        self._arm()
        return was_set

    def close(self) -> None:
        """Close the descriptor; twice does no harm."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    def _arm(self) -> bool:
        never = _Itimerspec(value=_Timespec(seconds=2**62))
        flags = _TFD_TIMER_ABSTIME | _TFD_TIMER_CANCEL_ON_SET
        if _libc().timerfd_settime(self._fd, flags, ctypes.byref(never), None) == 0:
            return True
        # The clock was set between the last read and now; the timer is armed all the same.
        return ctypes.get_errno() == errno.ECANCELED
