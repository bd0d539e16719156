"""A message bus of the test's own that starts the real systemd-timedated when it is asked for."""

import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from controller.clock.timedated import BUS_SOCKET

TIMEDATED = Path("/lib/systemd/systemd-timedated")

needs_bus = pytest.mark.skipif(
    shutil.which("dbus-daemon") is None or not TIMEDATED.exists(), reason="no dbus-daemon or timedated here"
)
needs_compiler = pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler here")

CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <servicedir>{services}</servicedir>
  <policy context="default">
    <allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/><allow user="*"/>
  </policy>
</busconfig>
"""

# For a machine whose clock nobody keeps: stands before the C library's adjtimex and says that all is well.
KEPT_RIGHT_C = r"""
#include <string.h>
#include <sys/timex.h>
int adjtimex(struct timex *t) { memset(t, 0, sizeof *t); t->maxerror = 17288; return TIME_OK; }
"""


@contextmanager
def private_bus(root: Path, *, preload: Path | None = None) -> Iterator[Path]:
    """Have a bus under ``root``, where the program looks for it; ``preload`` goes before the service."""
    place, services, pid = root / BUS_SOCKET, root / "services", root / "pid"
    place.parent.mkdir(parents=True)
    services.mkdir()
    before = f"LD_PRELOAD={preload}" if preload else ""
    starter = root / "start"
    starter.write_text(
        f"echo $$ > {pid}\nexec env DBUS_SYSTEM_BUS_ADDRESS=unix:path={place} {before} {TIMEDATED}\n",
        encoding="ascii",
    )
    (services / "org.freedesktop.timedate1.service").write_text(
        f"[D-BUS Service]\nName=org.freedesktop.timedate1\nExec=/bin/sh {starter}\n", encoding="ascii"
    )
    config = root / "bus.conf"
    config.write_text(CONFIG.format(socket=place, services=services), encoding="ascii")
    bus = subprocess.Popen(
        ["dbus-daemon", f"--config-file={config}", "--nofork", "--print-address"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert bus.stdout is not None
    try:
        assert bus.stdout.readline()
        yield root
    finally:
        bus.stdout.close()
        bus.terminate()
        bus.wait(timeout=10)
        with suppress(FileNotFoundError, ProcessLookupError):
            os.kill(int(pid.read_text(encoding="ascii")), signal.SIGTERM)


def build_kept_right(folder: Path) -> Path:
    """Build the library that tells the service that the clock is kept right."""
    source, library = folder / "kept_right.c", folder / "kept_right.so"
    source.write_text(KEPT_RIGHT_C, encoding="ascii")
    subprocess.run(["cc", "-shared", "-fPIC", "-o", str(library), str(source)], check=True)
    return library
