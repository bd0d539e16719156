"""Run as a program: drop every capability, load a filter of system calls, do what the service does, report.

Arguments: the names of the allowed calls (a file, one a line), where run/ and sys/ are for the evidence, a
socket to notify, a folder to write in. The filter is built with libseccomp, as systemd builds it: allowed
calls pass, all others fail with EPERM, memory is never writable and executable at once
(MemoryDenyWriteExecute=), and there is no netlink (RestrictAddressFamilies=).
"""

import asyncio
import ctypes
import json
import os
import secrets
import socket
import sqlite3
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

from api.daemon.sd_notify import Notifier
from api.network.addresses import is_this_machine
from api.network.discovery import Announcement, Discovery
from config.errors import AlreadyRunningError
from controller.clock.clock import SystemClock
from controller.clock.evidence import ClockEvidence
from controller.clock.kernel import ClockStepWatch, kernel_synchronised
from controller.clock.kernel import _Timex as Timex
from controller.journal.lock import LOCK_NAME, StateLock

ALLOW = 0x7FFF0000
EPERM, EAFNOSUPPORT = 0x00050001, 0x00050061
MASKED_EQUAL = 7
WRITE, EXECUTE = 2, 4
"""Actions and comparison of seccomp_rule_add(3); PROT_WRITE and PROT_EXEC of mmap(2)."""
CAPABILITY_VERSION_3 = 0x20080522
PR_CAPBSET_DROP = 24
CAPABILITIES = 64
ADJ_FREQUENCY = 2
"""Of capset(2), prctl(2) and adjtimex(2); dropping a capability that does not exist only fails."""


class Comparison(ctypes.Structure):
    _fields_ = (
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("mask", ctypes.c_uint64),
        ("value", ctypes.c_uint64),
    )


def drop_capabilities() -> None:
    """Do what CapabilityBoundingSet= does with an empty list; a user other than root then has none."""
    libc = ctypes.CDLL(None, use_errno=True)
    for capability in range(CAPABILITIES):
        libc.prctl(PR_CAPBSET_DROP, capability, 0, 0, 0)
    header = (ctypes.c_uint32 * 2)(CAPABILITY_VERSION_3, 0)
    assert libc.capset(header, (ctypes.c_uint32 * 6)()) == 0


def set_frequency_errno() -> int:
    """Set the clock's frequency to what it is, which changes nothing even where it is allowed."""
    libc, timex = ctypes.CDLL(None, use_errno=True), Timex()
    assert libc.adjtimex(ctypes.byref(timex)) >= 0
    timex.modes = ADJ_FREQUENCY
    return 0 if libc.adjtimex(ctypes.byref(timex)) >= 0 else ctypes.get_errno()


def load_filter(allowed: list[str]) -> None:
    seccomp = ctypes.CDLL("libseccomp.so.2")
    seccomp.seccomp_init.restype = ctypes.c_void_p

    def build(otherwise: int) -> ctypes.c_void_p:
        return ctypes.c_void_p(seccomp.seccomp_init(ctypes.c_uint32(otherwise)))

    def add(context: ctypes.c_void_p, action: int, call: str, *comparisons: Comparison) -> None:
        number = seccomp.seccomp_syscall_resolve_name(call.encode())
        array = (Comparison * len(comparisons))(*comparisons)
        if number >= 0:
            done = seccomp.seccomp_rule_add_array(
                context, ctypes.c_uint32(action), number, len(comparisons), array
            )
            assert done == 0, (call, done)

    no_new_code = build(ALLOW)
    both = WRITE | EXECUTE
    add(no_new_code, EPERM, "mmap", Comparison(2, MASKED_EQUAL, both, both))
    add(no_new_code, EPERM, "mprotect", Comparison(2, MASKED_EQUAL, EXECUTE, EXECUTE))
    add(no_new_code, EAFNOSUPPORT, "socket", Comparison(0, MASKED_EQUAL, 0xFFFFFFFF, socket.AF_NETLINK))
    assert seccomp.seccomp_load(no_new_code) == 0
    listed = build(EPERM)
    for call in allowed:
        add(listed, ALLOW, call)
    assert seccomp.seccomp_load(listed) == 0


def read_back(folder: Path) -> int:
    """Write as the journal does, and count."""
    connection = sqlite3.connect(folder / "journal.db")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE seen (at TEXT)")
    connection.execute("INSERT INTO seen VALUES ('2027-06-21')")
    connection.commit()
    connection.execute("VACUUM INTO ?", (str(folder / "backup.db"),))
    (count,) = connection.execute("SELECT count(*) FROM seen").fetchone()
    connection.close()
    return int(count)


def is_locked_for_others(folder: Path) -> bool:
    """Lock the state folder, remove the lock file, and see whether a second keeper is refused."""
    with StateLock(folder) as lock:
        (folder / LOCK_NAME).unlink()
        try:
            StateLock(folder).keep()
        except AlreadyRunningError:
            lock.keep()
            return True
    return False


async def serve_once(watch: ClockStepWatch) -> bytes:
    """Watch for steps, listen on this machine, and be spoken to."""
    asyncio.get_running_loop().add_reader(watch, watch.rearm)

    async def greet(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"lit")
        writer.close()
        await writer.wait_closed()

    async with await asyncio.start_server(greet, "127.0.0.1", 0) as server:
        reader, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
        heard = await reader.read()
        writer.close()
        await writer.wait_closed()
        return heard


async def announce() -> bool:
    """Be announced by a name of this run, on the loopback interface; whether it is free and got through."""
    board, name = Discovery(), f"leerie{secrets.token_hex(4)}.local"
    board.announce(Announcement(wish=name, addresses=("127.9.3.1",), port=8010, encrypted=False))
    while board.name is None and board.fault is None:
        await asyncio.sleep(0.02)
    found = board.name == name
    task = board.close()
    assert task is not None
    await asyncio.wait([task])
    return found


def netlink_errno() -> int | None:
    try:
        socket.socket(socket.AF_NETLINK, socket.SOCK_RAW).close()
    except OSError as error:
        return error.errno
    return None


def main() -> None:
    names, root, notify, folder = sys.argv[1:]
    drop_capabilities()
    load_filter(Path(names).read_text(encoding="ascii").split())
    clock = SystemClock(floor_utc=datetime(2026, 11, 1, tzinfo=UTC), evidence=ClockEvidence(root=Path(root)))
    reading = clock.read()
    watch = ClockStepWatch.open()
    assert watch is not None
    heard: list[bytes] = []
    thread = threading.Thread(target=lambda: heard.append(asyncio.run(serve_once(watch))))
    thread.start()
    thread.join()
    fresh = Path(folder, "site.toml.new")
    fresh.write_text("[site]\n", encoding="ascii")
    with fresh.open("rb") as file:
        os.fsync(file.fileno())
    fresh.replace(Path(folder, "site.toml"))
    os.mkfifo(Path(folder, "pipe"))
    kernel = kernel_synchronised()
    # Nothing can be set through a null pointer: with the filter it is EPERM, without it EFAULT.
    number = ctypes.CDLL("libseccomp.so.2").seccomp_syscall_resolve_name(b"clock_settime")
    ctypes.CDLL(None, use_errno=True).syscall(number, 0, None)
    refused = ctypes.get_errno()
    report = {
        "kernel": kernel,
        "trusted": reading.trusted,
        "trust": reading.trust,
        "watch": watch.rearm(),
        "heard": heard[0].decode(),
        "announced": asyncio.run(announce()),
        "knows_its_addresses": is_this_machine("127.0.0.1"),
        "netlink_errno": netlink_errno(),
        "rows": read_back(Path(folder)),
        "locked": is_locked_for_others(Path(folder)),
        "notified": Notifier({"NOTIFY_SOCKET": notify}).ready("all dark"),
        "set_clock_errno": refused,
        "set_frequency_errno": None if kernel is None else set_frequency_errno(),
    }
    print(json.dumps(report))


if __name__ == "__main__":
    main()
