"""The clock, the journal and the loop, under the very filter of system calls that the unit asks for.

The filter is built from the unit's own lines: systemd says which calls each set holds, libseccomp makes the
program for the kernel. What needs more than a filter (mounts, device lists, address lists) is not shown here.
"""

import ctypes.util
import errno
import json
import os
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from controller.clock.evidence import TIMESYNC_FLAG
from controller.clock.kernel import kernel_synchronised
from controller.clock.trust import FROM_NETWORK, NOT_SET, REMEDY
from tests.systemd.unit_file import read_unit

pytestmark = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None or ctypes.util.find_library("seccomp") is None,
    reason="no systemd-analyze or libseccomp here",
)

PROJECT = Path(__file__).parents[2]
PROGRAM = "tests.systemd.under_filter"

# Sets that other lines of the unit take away as well, systemd.exec(5).
TAKEN_AWAY = {"ProtectClock": "@clock", "ProtectKernelModules": "@module", "ProtectKernelLogs": "syslog"}


def calls_of(name: str) -> set[str]:
    """Give the system calls of a set, and of the sets in it, as systemd lists them."""
    if not name.startswith("@"):
        return {name}
    listed = subprocess.run(
        ["systemd-analyze", "syscall-filter", "--no-pager", name], check=True, capture_output=True, text=True
    ).stdout
    words = re.findall(r"^\s+(@?[a-z0-9_-]+)$", listed, re.MULTILINE)
    return set().union(*(calls_of(word) for word in words))


@pytest.fixture(scope="module")
def allowed() -> set[str]:
    """The calls that the unit leaves."""
    unit = read_unit()
    calls = calls_of("@default")
    for line in unit["SystemCallFilter"]:
        sets = set().union(*(calls_of(word) for word in line.removeprefix("~").split()))
        calls = calls - sets if line.startswith("~") else calls | sets
    for key, taken in TAKEN_AWAY.items():
        if unit.get(key) == ["yes"]:
            calls -= calls_of(taken)
    return calls


def run_under(allowed: set[str], folder: Path, root: Path) -> dict:
    """Run the program under the filter, and give its report."""
    names = folder / "allowed"
    names.write_text("\n".join(sorted(allowed)), encoding="ascii")
    (folder / "state").mkdir()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(folder / "notify"))
        manager.settimeout(10)
        done = subprocess.run(
            [sys.executable, "-m", PROGRAM, names, root, folder / "notify", folder / "state"],
            cwd=PROJECT,
            env={**os.environ, "PYTHONPATH": str(PROJECT)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr[-1000:]
        assert manager.recv(4096) == b"READY=1\nSTATUS=all dark"
    return json.loads(done.stdout)


def test_the_clock_may_be_read_and_not_set(allowed):
    """The two calls that read the clock's state are allowed, those that set the clock are not."""
    assert {"adjtimex", "clock_adjtime"} <= allowed
    assert not allowed & {"clock_settime", "clock_settime64", "settimeofday"}
    assert {"clock_gettime", "timerfd_create", "timerfd_settime"} <= allowed
    assert read_unit()["CapabilityBoundingSet"] == []


def test_everything_works_under_the_filter(allowed, tmp_path):
    """Clock, loop, thread, multicast DNS, journal, lock, site file and notification work, no clock is set."""
    report = run_under(allowed, tmp_path, tmp_path / "no-evidence")
    synchronised = kernel_synchronised()
    assert report == {
        "kernel": synchronised,
        "trusted": synchronised,
        "trust": FROM_NETWORK if synchronised else f"{NOT_SET}. {REMEDY}",
        "watch": False,
        "heard": "lit",
        "announced": True,
        "knows_its_addresses": True,
        "netlink_errno": errno.EAFNOSUPPORT,
        "rows": 1,
        "locked": True,
        "notified": True,
        "set_clock_errno": errno.EPERM,
        "set_frequency_errno": errno.EPERM,
    }


def test_the_daemons_flag_counts_under_a_stricter_filter(allowed, tmp_path):
    """Where the sandbox refuses the kernel's word, the flag of the time daemon makes the clock trusted."""
    flag = tmp_path / "root" / TIMESYNC_FLAG
    flag.parent.mkdir(parents=True)
    flag.touch()
    report = run_under(allowed - calls_of("@clock"), tmp_path, tmp_path / "root")
    assert (report["kernel"], report["trusted"], report["trust"]) == (None, True, FROM_NETWORK)
