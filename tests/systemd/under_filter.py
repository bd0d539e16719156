"""Run as a program: put on a system call filter, then do what the service does, and report in JSON.

Arguments: the names of the allowed calls (a file, one a line), the root of the test's bus, a socket to
notify, a folder to write in. The filter is built with libseccomp, as systemd builds it: allowed calls pass,
all others fail with EPERM, and memory is never writable and executable at once (MemoryDenyWriteExecute=).
"""

import asyncio
import ctypes
import json
import os
import sqlite3
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path

from api.daemon.sd_notify import Notifier
from controller.clock import evidence as clock_evidence
from controller.clock.clock import SystemClock
from controller.clock.kernel import ClockStepWatch, kernel_synchronised

ALLOW = 0x7FFF0000
EPERM = 0x00050001
MASKED_EQUAL = 7
WRITE, EXECUTE = 2, 4
"""Actions and comparison of seccomp_rule_add(3); PROT_WRITE and PROT_EXEC of mmap(2)."""


class Comparison(ctypes.Structure):
    _fields_ = (
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("mask", ctypes.c_uint64),
        ("value", ctypes.c_uint64),
    )


def put_on_filter(allowed: list[str]) -> None:
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


def main() -> None:
    names, root, notify, folder = sys.argv[1:]
    clock_evidence.FIRST_WAIT_S = 20.0  # a busy machine may take its time; the answer is what counts here
    put_on_filter(Path(names).read_text(encoding="ascii").split())
    witness = clock_evidence.ClockEvidence(root=Path(root))
    clock = SystemClock(floor_utc=datetime(2026, 11, 1, tzinfo=UTC), witness=witness)
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
    # Nothing can be set through a null pointer: with the filter it is EPERM, without it EFAULT.
    number = ctypes.CDLL("libseccomp.so.2").seccomp_syscall_resolve_name(b"clock_settime")
    ctypes.CDLL(None, use_errno=True).syscall(number, 0, None)
    refused = ctypes.get_errno()
    report = {
        "kernel": kernel_synchronised(),
        "trusted": reading.trusted,
        "trust": reading.trust,
        "watch": watch.rearm(),
        "heard": heard[0].decode(),
        "rows": read_back(Path(folder)),
        "notified": Notifier(notify).ready("all dark"),
        "set_clock_errno": refused,
    }
    print(json.dumps(report))


if __name__ == "__main__":
    main()
