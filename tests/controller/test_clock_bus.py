"""The question to systemd-timedated: against the real bus and the real service, and against bad ones.

The real ones are Debian's dbus-daemon and systemd-timedated on a bus of the test's own. For an answer "yes"
on a machine whose clock nobody keeps, the service is started with an adjtimex of the test's own before it.
"""

import os
import shutil
import signal
import socket
import subprocess
from contextlib import suppress
from pathlib import Path

import pytest

from controller.kernel_clock import kernel_synchronised
from controller.time_bus import ASK_EVERY_S, BUS_SOCKET, GIVE_UP_S, TimeBus, _whole_question

TIMEDATED = Path("/lib/systemd/systemd-timedated")

needs_bus = pytest.mark.skipif(
    shutil.which("dbus-daemon") is None or not TIMEDATED.exists(), reason="no dbus-daemon or timedated here"
)

BUS_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
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

KEPT_RIGHT_C = r"""
#include <string.h>
#include <sys/timex.h>
int adjtimex(struct timex *t) { memset(t, 0, sizeof *t); t->maxerror = 17288; return TIME_OK; }
"""


@pytest.fixture
def start_bus(tmp_path):
    """Start a bus under the test's root that starts timedated when it is asked for."""
    running = []

    def start(*, before: str = "") -> Path:
        place = tmp_path / BUS_SOCKET
        place.parent.mkdir(parents=True)
        services = tmp_path / "services"
        services.mkdir()
        starter = tmp_path / "start"
        starter.write_text(
            f"echo $$ > {tmp_path}/pid\n"
            f"exec env DBUS_SYSTEM_BUS_ADDRESS=unix:path={place} {before} {TIMEDATED}\n",
            encoding="ascii",
        )
        (services / "org.freedesktop.timedate1.service").write_text(
            f"[D-BUS Service]\nName=org.freedesktop.timedate1\nExec=/bin/sh {starter}\n", encoding="ascii"
        )
        config = tmp_path / "bus.conf"
        config.write_text(BUS_CONFIG.format(socket=place, services=services), encoding="ascii")
        bus = subprocess.Popen(
            ["dbus-daemon", f"--config-file={config}", "--nofork", "--print-address"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        running.append(bus)
        assert bus.stdout is not None
        assert bus.stdout.readline()
        return tmp_path

    yield start
    for bus in running:
        bus.stdout.close()
        bus.terminate()
        bus.wait(timeout=10)
    with suppress(FileNotFoundError, ProcessLookupError):
        os.kill(int((tmp_path / "pid").read_text(encoding="ascii")), signal.SIGTERM)


@needs_bus
def test_the_real_service_says_what_the_kernel_says(start_bus):
    """On a real bus the real service gives the answer that the kernel gives outside a sandbox."""
    assert TimeBus(start_bus()).synchronised(1.0, wait_s=20.0) is kernel_synchronised()


@needs_bus
@pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler here")
def test_the_real_service_says_yes(start_bus, tmp_path):
    """Where the kernel tells the real service that the clock is kept right, the answer is yes."""
    source, library = tmp_path / "kept_right.c", tmp_path / "kept_right.so"
    source.write_text(KEPT_RIGHT_C, encoding="ascii")
    subprocess.run(["cc", "-shared", "-fPIC", "-o", str(library), str(source)], check=True)
    root = start_bus(before=f"LD_PRELOAD={library}")
    assert TimeBus(root).synchronised(1.0, wait_s=20.0) is True


# Recorded from dbus-daemon 1.14.10 with systemd-timedated 252: the answer to Hello, a signal, the property.
LET_IN = b"DATA\r\nOK 831b85974d78a468014d9eec6b06aa7a\r\n"
HELLO = (
    b"l\x02\x01\x01\t\0\0\0\x01\0\0\0=\0\0\0\x06\x01s\0\x04\0\0\0:1.2\0\0\0\0\x05\x01u\0\x01\0\0\0"
    b"\x08\x01g\0\x01s\0\0\x07\x01s\0\x14\0\0\0org.freedesktop.DBus\0\0\0\0\x04\0\0\0:1.2\0"
)
SIGNAL = (
    b"l\x04\x01\x01\t\0\0\0\x02\0\0\0\x8d\0\0\0\x01\x01o\0\x15\0\0\0/org/freedesktop/DBus\0\0\0"
    b"\x02\x01s\0\x14\0\0\0org.freedesktop.DBus\0\0\0\0\x03\x01s\0\x0c\0\0\0NameAcquired\0\0\0\0"
    b"\x06\x01s\0\x04\0\0\0:1.2\0\0\0\0\x08\x01g\0\x01s\0\0\x07\x01s\0\x14\0\0\0org.freedesktop.DBus\0\0\0\0"
    b"\x04\0\0\0:1.2\0"
)
PROPERTY = (
    b"l\x02\x01\x01\x08\0\0\0\x04\0\0\0-\0\0\0\x05\x01u\0\x02\0\0\0\x06\x01s\0\x04\0\0\0:1.2\0\0\0\0"
    b"\x08\x01g\0\x01v\0\0\x07\x01s\0\x04\0\0\0:1.0\0\0\0\0\x01b\0\0"
)
NO, YES = b"\0\0\0\0", b"\x01\0\0\0"
REFUSED = bytearray(PROPERTY + NO)
REFUSED[1] = 3  # the message type "error"
NO_BOOLEAN = PROPERTY.replace(b"\x01b\0\0", b"\x01u\0\0")


@pytest.fixture
def server(tmp_path):
    """A socket in the place of the bus, played by the test."""
    place = tmp_path / BUS_SOCKET
    place.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(place))
        listener.listen()
        listener.settimeout(10)
        yield listener


@pytest.fixture
def bus(tmp_path):
    asked = TimeBus(tmp_path)
    yield asked
    asked.close()


def play(bus, server, answer: bytes, *, pieces: int = 1) -> bool | None:
    """Let the bus ask, answer in pieces, and give what it made of them."""
    assert bus.synchronised(1.0) is None
    length = len(answer) // pieces + 1
    with server.accept()[0] as line, suppress(BrokenPipeError):
        for at in range(0, len(answer), length):
            line.sendall(answer[at : at + length])
            bus.synchronised(1.0)
    return bus.synchronised(1.0)


@pytest.mark.parametrize("pieces", [1, 2, 7, 500])
@pytest.mark.parametrize(("word", "answer"), [(NO, False), (YES, True)])
def test_an_answer_may_come_in_pieces(bus, server, pieces, word, answer):
    """However the bytes arrive, the answer is read once it is complete, and without waiting."""
    assert play(bus, server, LET_IN + HELLO + SIGNAL + PROPERTY + word, pieces=pieces) is answer


@pytest.mark.parametrize(
    "answer",
    [
        b"REJECTED EXTERNAL\r\n",
        LET_IN + bytes(REFUSED),
        LET_IN + HELLO + SIGNAL + bytes(REFUSED),
        LET_IN + HELLO + NO_BOOLEAN + YES,
        LET_IN + HELLO + SIGNAL + PROPERTY,
        LET_IN + b"\xff" * 200,
        b"\r\n" * 50,
        LET_IN + HELLO * 2000,
        b"x" * 70_000,
        b"",
    ],
    ids=lambda answer: f"{answer[:20]!r} and so on, {len(answer)} bytes",
)
def test_a_bad_answer_is_none(bus, server, answer):
    """A bus that refuses, talks nonsense, or hangs up in mid-word gives no answer, and nothing raises."""
    assert play(bus, server, answer, pieces=20) is None


def test_what_is_sent_is_complete_at_once(bus, server):
    """Greeting, Hello and question leave in one piece, so that nobody waits for an answer in between."""
    bus.synchronised(1.0)
    with server.accept()[0] as line:
        line.settimeout(10)
        heard = line.recv(4096)
    assert heard == _whole_question()
    assert heard.startswith(b"\0AUTH EXTERNAL\r\n")
    assert heard.count(b"org.freedesktop.timedate1\0") == 2
    assert heard.endswith(b"NTPSynchronized\0")


def test_a_silent_bus_is_given_up(bus, server):
    """A bus that lets nothing be heard is left after half a minute, and asked again."""
    bus.synchronised(1.0)
    with server.accept()[0]:
        assert bus.synchronised(1.0 + GIVE_UP_S) is None
        assert bus._link is not None
        assert bus.synchronised(1.1 + GIVE_UP_S) is None
        assert bus._link is None
    assert bus.synchronised(1.2 + GIVE_UP_S + ASK_EVERY_S) is None
    server.accept()[0].close()


def test_an_answer_is_kept_until_the_next_question(bus, server):
    """Between two questions the last answer is given and nobody is asked."""
    assert play(bus, server, LET_IN + HELLO + PROPERTY + YES) is True
    assert bus.synchronised(1.0 + ASK_EVERY_S / 2) is True
    server.settimeout(0.0)
    with pytest.raises(BlockingIOError):
        server.accept()
    bus.synchronised(1.0 + ASK_EVERY_S)
    server.accept()[0].close()


def test_nobody_to_ask(tmp_path):
    """A machine without a bus gives no answer."""
    assert TimeBus(tmp_path).synchronised(1.0, wait_s=1.0) is None
