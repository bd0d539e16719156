"""The question to systemd-timedated: against the real bus and the real service, and against bad ones.

The real ones are Debian's dbus-daemon and systemd-timedated on a bus of the test's own. For an answer "yes"
on a machine whose clock nobody keeps, the service is started with an adjtimex of the test's own before it.
"""

import socket
from contextlib import suppress

import pytest

from controller.clock.kernel import kernel_synchronised
from controller.clock.timedated import ASK_EVERY_S, BUS_SOCKET, GIVE_UP_S, TimeBus, _whole_question
from tests.systemd.private_bus import build_kept_right, needs_bus, needs_compiler, private_bus


@needs_bus
def test_the_real_service_says_what_the_kernel_says(tmp_path):
    """On a real bus the real service gives the answer that the kernel gives outside a sandbox."""
    with private_bus(tmp_path):
        assert TimeBus(tmp_path).synchronised(1.0, wait_s=20.0) is kernel_synchronised()


@needs_bus
@needs_compiler
def test_the_real_service_says_yes(tmp_path):
    """Where the kernel tells the real service that the clock is kept right, the answer is yes."""
    with private_bus(tmp_path, preload=build_kept_right(tmp_path)):
        assert TimeBus(tmp_path).synchronised(1.0, wait_s=20.0) is True


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
