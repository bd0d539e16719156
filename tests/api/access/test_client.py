"""Whom a request comes from, by its connection and its headers."""

import pytest

from api.access.client import Client, ClientKind, client_kind
from api.access.credentials import Kind, Scope, new_credential
from controller.clock.clock import SteppedClock
from tests.api.stand_in import EVENING_UTC

SERVER = ("127.0.0.1", 8010)


@pytest.mark.parametrize("address", ["127.0.0.1", "::1"])
def test_a_connection_from_the_loopback_address_is_the_board(address):
    """Programs of this machine connect from 127.0.0.1 or ::1."""
    assert client_kind((address, 40000), SERVER, [b"host", b"accept"]) is ClientKind.BOARD


@pytest.mark.parametrize(
    "address", ["127.0.0.2", "127.0.0.1.", "::ffff:127.0.0.1", "0.0.0.0", "::", "192.168.1.20", "fe80::1", ""]
)
def test_every_other_address_is_the_home_network(address):
    """Any other address, those that look alike among them, is the home network."""
    assert client_kind((address, 40000), SERVER, []) is ClientKind.HOME


@pytest.mark.parametrize(
    "name",
    [b"forwarded", b"via", b"x-real-ip", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-proto"],
)
@pytest.mark.parametrize("peer", [("127.0.0.1", 40000), None])
def test_what_a_proxy_passed_on_is_the_home_network(name, peer):
    """A proxy on the board connects from it, but says so: then somebody else asks."""
    server = SERVER if peer else ("/run/leerie/api.sock", None)
    assert client_kind(peer, server, [b"host"]) is ClientKind.BOARD
    assert client_kind(peer, server, [b"host", name]) is ClientKind.HOME


def test_a_connection_whose_peer_is_gone_is_the_home_network():
    """A Unix socket has no peer and is the board; a TCP connection without one was reset, and is not."""
    assert client_kind(None, ("/run/leerie/api.sock", None), []) is ClientKind.BOARD
    assert client_kind(None, SERVER, []) is ClientKind.HOME
    assert client_kind(None, None, []) is ClientKind.HOME


def test_the_board_may_do_everything_and_is_named():
    """Changes of the command line are named as such, all others on the board as the board's."""
    board, line = Client.of_board("127.0.0.1", "curl/8"), Client.of_board("::1", "leerie-command-line")
    assert (board.name, line.name) == ("this board", "the command line")
    assert all(each.may_read and each.may_control for each in (board, line))


@pytest.mark.parametrize(
    ("scope", "may_read", "may_control"),
    [(Scope.READ, True, False), (Scope.CONTROL, True, True), (Scope.CALENDAR, False, False)],
)
@pytest.mark.parametrize("kind", Kind)
def test_a_credential_alone_says_what_a_client_may_do(kind, scope, may_read, may_control):
    """Whoever shows a token or a session may do what that permits, wherever they are."""
    shown, _ = new_credential(kind=kind, scope=scope, name="shed", now=SteppedClock(EVENING_UTC).read())
    client = Client.with_credential(ClientKind.BOARD, "127.0.0.1", shown)
    assert (client.may_read, client.may_control, client.name) == (may_read, may_control, "shed")
    assert {client.token_id, client.session_id} == {shown.id, None}
    unknown = Client(kind=ClientKind.HOME, address="192.168.1.20", name="192.168.1.20")
    assert not unknown.may_read
    assert not unknown.may_control


def test_what_arrives_at_another_address_is_not_the_boards_own():
    """A proxy that sends to 127.0.0.2 is the home network, also where it adds no header."""
    assert client_kind(("127.0.0.1", 40000), ("127.0.0.2", 8010), [b"host"]) is ClientKind.HOME
