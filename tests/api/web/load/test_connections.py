"""How many connections may be open, and whether a client is still there."""

from __future__ import annotations

import socket

import pytest

from api.network.addresses import counted_as
from api.web.connections import ConnectionLimits

BOARD: dict[str, int] = {}


@pytest.fixture
def limits():
    """Limits that are soon reached."""
    return ConnectionLimits(most_of_board=2, most_of_home=4, most_of_address=2)


def admit(limits, address, now_s=0.0, *, busy=False):
    counted = counted_as(address) if address else BOARD
    connection = limits.admit(counted, is_board=not address, now_s=now_s)
    if connection is not None and busy:
        connection.is_waiting = lambda: False
    return connection


def test_one_address_gets_no_more_than_its_share(limits):
    """An address at its limit gets no further connection, another one does; one that ended makes room."""
    first = admit(limits, "10.0.0.1")
    assert admit(limits, "10.0.0.1") is not None
    assert admit(limits, "10.0.0.1") is None
    assert admit(limits, "10.0.0.2") is not None
    first.end()
    assert admit(limits, "10.0.0.1") is not None
    first.end()
    assert admit(limits, "10.0.0.1") is None


def test_the_longest_wait_gives_way(limits):
    """Where all together are too many, the connection that asks nothing for the longest time is cut off."""
    cut = []
    for number, waits_since_s in enumerate((30.0, 10.0, 20.0, 40.0)):
        connection = admit(limits, f"10.0.0.{number}", waits_since_s)
        connection.cut = lambda number=number: cut.append(number)
        connection.is_waiting = lambda number=number: number != 1
    assert admit(limits, "10.0.0.9", 50.0) is not None
    assert cut == [2]


def test_who_is_being_answered_is_not_cut_off(limits):
    """Where all connections are being answered, the next one is refused."""
    for number in range(4):
        assert admit(limits, f"10.0.0.{number}", busy=True) is not None
    assert admit(limits, "10.0.0.9") is None


def test_the_board_is_counted_apart(limits):
    """However many connections the home network has, the board's own programs have theirs."""
    for number in range(4):
        admit(limits, f"10.0.0.{number}", busy=True)
    assert admit(limits, "", busy=True) is not None
    assert admit(limits, "", busy=True) is not None
    assert admit(limits, "") is None


def test_a_stream_counts_no_longer(limits):
    """A connection that left the limits makes room, and its end is not counted twice."""
    stream = admit(limits, "10.0.0.1")
    admit(limits, "10.0.0.1")
    stream.leave_limits()
    assert admit(limits, "10.0.0.1") is not None
    stream.end()
    assert admit(limits, "10.0.0.1") is None


def test_addresses_of_one_ipv6_network_share_more(limits):
    """Each address of IPv6 has its own share, and its network four times as much."""
    limits = ConnectionLimits(most_of_home=100, most_of_address=2)
    admitted = [admit(limits, f"fd00::{number:x}", busy=True) for number in range(1, 20)]
    assert sum(each is not None for each in admitted) == 8
    assert admit(limits, "fd00:0:0:1::1") is not None


def test_nothing_is_kept_of_those_that_left(limits):
    """After any number of clients nothing of them is left in memory."""
    for number in range(1000):
        admit(limits, f"10.0.{number // 250}.{number % 250}").end()
    assert not limits._of_address
    assert not limits._open[False]


@pytest.fixture
def pair():
    """Both ends of a TCP connection."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        theirs = socket.create_connection(listener.getsockname())
        ours, _ = listener.accept()
    with ours, theirs:
        yield ours, theirs


@pytest.mark.parametrize("how", ["close", "half", "reset"])
def test_a_client_that_hangs_up_is_noticed_without_reading(limits, pair, how):
    """A client is gone once it has closed, though what it had sent before was never read."""
    ours, theirs = pair
    connection = admit(limits, "10.0.0.1")
    assert not connection.is_gone()
    connection.opened(ours)
    theirs.sendall(b"GET /never-read HTTP/1.1\r\n")
    assert not connection.is_gone()
    if how == "half":
        theirs.shutdown(socket.SHUT_WR)
    else:
        if how == "reset":
            theirs.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        theirs.close()
    assert connection.is_gone()


def test_whoever_waits_for_its_end_is_told_once(limits):
    """The end of a connection is told once to each who asked, but not to those who took that back."""
    told = []
    connection = admit(limits, "10.0.0.1")
    connection.on_gone(lambda: told.append("first"))
    forget = connection.on_gone(lambda: told.append("second"))
    forget()
    forget()
    connection.end()
    connection.end()
    assert told == ["first"]
    assert connection.is_gone()
