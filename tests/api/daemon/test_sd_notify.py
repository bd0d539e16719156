"""What systemd hears: real datagrams on real sockets, read as sd_notify(3) describes them."""

import os
import shutil
import socket
import subprocess
import time

import pytest

from api.daemon.sd_notify import Notifier


def bind(address: str | bytes) -> socket.socket:
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(address)
    listener.settimeout(10)
    return listener


@pytest.fixture
def manager(tmp_path):
    """A socket in the place of the service manager's."""
    with bind(str(tmp_path / "notify")) as listener:
        yield listener


@pytest.fixture
def notifier(manager):
    return Notifier({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "90000000"})


def hear(manager: socket.socket) -> dict[str, str]:
    lines = manager.recv(4096).decode().split("\n")
    return dict(line.split("=", 1) for line in lines)


def heard_nothing(manager: socket.socket) -> bool:
    manager.settimeout(0.0)
    try:
        manager.recv(4096)
    except BlockingIOError:
        return True
    return False


def test_ready_with_a_status(manager, notifier):
    """The start ends with READY and a line for a person, in one datagram."""
    assert notifier.ready("jetty lit until 00:00")
    assert hear(manager) == {"READY": "1", "STATUS": "jetty lit until 00:00"}


def test_status_is_one_line(manager, notifier):
    """A text with line breaks cannot smuggle in another variable."""
    assert notifier.status("the clock is not set\nREADY=1\r\n  since noon — ½ h")
    assert hear(manager) == {"STATUS": "the clock is not set READY=1 since noon — ½ h"}


def test_the_same_status_is_sent_once(manager, notifier):
    """A keeper that says the same each round troubles nobody; a new text is sent."""
    assert notifier.status("all dark")
    assert not notifier.status("all dark")
    assert notifier.status("jetty lit")
    assert [hear(manager)["STATUS"], hear(manager)["STATUS"]] == ["all dark", "jetty lit"]
    assert heard_nothing(manager)


def test_the_sign_of_life(manager, notifier):
    """WATCHDOG is sent each time that it is called for."""
    assert notifier.watchdog()
    assert notifier.watchdog()
    assert [hear(manager), hear(manager)] == [{"WATCHDOG": "1"}] * 2


def test_no_sign_of_life_where_nobody_waits_for_it(manager):
    """Without a watchdog nothing is sent."""
    assert not Notifier({"NOTIFY_SOCKET": manager.getsockname()}).watchdog()
    assert heard_nothing(manager)


def test_reloading_says_when(manager, notifier):
    """RELOADING comes with the monotonic clock in microseconds, and READY ends it."""
    before_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    assert notifier.reloading()
    said = hear(manager)
    assert said["RELOADING"] == "1"
    assert before_us <= int(said["MONOTONIC_USEC"]) <= time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    assert notifier.ready()
    assert hear(manager) == {"READY": "1"}


def test_stopping(manager, notifier):
    """The end is announced."""
    assert notifier.stopping("putting out the lights")
    assert hear(manager) == {"STOPPING": "1", "STATUS": "putting out the lights"}


def test_abstract_socket():
    """An address that begins with @ names an abstract socket."""
    name = f"leerie-test-{os.getpid()}"
    with bind(b"\0" + name.encode()) as manager:
        assert Notifier({"NOTIFY_SOCKET": f"@{name}"}).ready()
        assert hear(manager) == {"READY": "1"}


@pytest.mark.parametrize(
    "address",
    ["", "vsock:2:1234", "relative/path", "/nowhere/at/all", "/" + "x" * 300, "@" + "x" * 300, "/a\0b"],
)
def test_nobody_there_raises_nothing(address):
    """Without a manager, or with an address that leads nowhere, every call says False and goes on."""
    notifier = Notifier({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "90000000"})
    assert [
        notifier.ready("x"),
        notifier.status("y"),
        notifier.watchdog(),
        notifier.reloading(),
        notifier.stopping("z"),
    ] == [False] * 5


def test_a_status_that_was_lost_is_sent_again(tmp_path):
    """A manager that was away hears the status when it is back."""
    notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify")})
    assert not notifier.status("all dark")
    with bind(str(tmp_path / "notify")) as manager:
        assert notifier.status("all dark")
        assert hear(manager) == {"STATUS": "all dark"}


def test_a_manager_that_does_not_listen_holds_nobody_up(manager, notifier, monkeypatch):
    """A full socket costs at most the bounded wait, and is no error."""
    monkeypatch.setattr("api.daemon.sd_notify._WAIT_S", 0.0)
    for _ in range(10_000):
        if not notifier.watchdog():
            break
    else:
        pytest.fail("the socket was never full")
    while not heard_nothing(manager):
        pass
    assert notifier.watchdog()


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"WATCHDOG_USEC": "90000000"}, True),
        ({"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": str(os.getpid())}, True),
        ({"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}, False),
        ({"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": ""}, True),
        ({"WATCHDOG_USEC": "0"}, False),
        ({"WATCHDOG_USEC": "-1"}, False),
        ({"WATCHDOG_USEC": "soon"}, False),
        ({}, False),
    ],
)
def test_the_watchdog_is_fed_where_it_is_meant_for_us(environment, expected):
    """As sd_watchdog_enabled(3) reads the environment."""
    assert Notifier(environment).has_watchdog is expected


def test_the_process_environment_is_the_default(manager, monkeypatch):
    """Without an argument the real environment is read."""
    monkeypatch.setenv("NOTIFY_SOCKET", manager.getsockname())
    monkeypatch.setenv("WATCHDOG_USEC", "3000000")
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    notifier = Notifier()
    assert notifier.has_watchdog
    assert notifier.ready()
    assert hear(manager) == {"READY": "1"}


@pytest.mark.skipif(shutil.which("systemd-notify") is None, reason="no systemd-notify here")
def test_says_the_same_as_systemds_own_tool(manager, notifier, monkeypatch):
    """The bytes for READY and STATUS are those that systemd-notify sends for the same."""
    monkeypatch.setenv("NOTIFY_SOCKET", manager.getsockname())
    subprocess.run(["systemd-notify", "--ready", "--status=jetty lit", "--no-block"], check=True, timeout=10)
    theirs = manager.recv(4096)
    notifier.ready("jetty lit")
    assert sorted(theirs.split(b"\n")) == sorted(manager.recv(4096).split(b"\n"))
