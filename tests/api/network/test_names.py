"""The names that this machine answers to, and those that it does not."""

from __future__ import annotations

import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.network import names
from api.network.names import OwnHosts, read_host

BOARD = {"client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8010), "headers": []}
HOME = {"client": ("192.168.1.30", 50000), "server": ("192.168.1.20", 8010), "headers": []}
LINK_LOCAL = {"client": ("fe80::2%eth0", 50000), "server": ("fe80::1%eth0", 8010), "headers": []}
PROXIED = {**BOARD, "headers": [(b"x-forwarded-for", b"203.0.113.5")]}


@pytest.fixture
def hosts(monkeypatch):
    """A machine called “Board” in the domain “lan”, with a second address and one more name."""
    monkeypatch.setattr(names, "is_this_machine", lambda address: address in ("10.9.0.1", "fd00::a2"))
    return OwnHosts(lambda: ("garden.example.net",), hostname=lambda: "Board.lan")


@pytest.mark.parametrize(
    "header",
    [
        "localhost",
        "127.0.0.1:8010",
        "[::1]:8010",
        "board",
        "BOARD:8010",
        "board.lan",
        "Board.LAN.",
        "board.local:80",
        "board.local.:80",
        "garden.example.net",
        "192.168.1.20:8010",
        "10.9.0.1",
        "[fd00::a2]:8010",
        "[FD00:0:0:0:0:0:0:A2]",
    ],
)
def test_own_names_from_the_home_network(hosts, header):
    """Its names, its addresses and the names that were added are this machine's, however they are written."""
    assert hosts.allows(header, HOME)
    assert hosts.allows(header, PROXIED) or header == "192.168.1.20:8010"


@pytest.mark.parametrize(
    "header",
    [
        "garden.example",
        "192.168.1.21",
        "[fd00::a3]",
        "board.lan.example",
        "evil-board.local",
        "board.local:8010:80",
        "board.local:123456",
        "board.local@garden.example",
        "http://board.local",
        "[::1",
        "[::1]]",
        "[127.0.0.1]",
        "[fe80::1%25eth0]",
        "0x7f.1",
        "2130706433",
        ".",
        "..",
        "",
        "*",
        "böard",
        "board\u0000",
        "１92.168.1.20",
    ],
)
def test_other_names_are_not_ours(hosts, header):
    """What somebody else may own, and what is no host, is refused."""
    assert not hosts.allows(header, HOME)


@pytest.mark.parametrize("header", ["board", "board.lan", "board.local", "garden.example.net", "10.9.0.1"])
def test_without_permission_only_names_that_nobody_can_point_elsewhere(hosts, header):
    """A page under a name that the network resolves, pointed at the board's own address, gets nothing."""
    assert not hosts.allows(header, BOARD)
    assert hosts.listed(BOARD) == ["127.0.0.1", "[::1]", "localhost"]


def test_a_link_local_address_is_its_own_where_it_arrives(hosts):
    """The address at which a request arrived is this machine's, without the interface."""
    assert hosts.allows("[fe80::1]:8010", LINK_LOCAL)
    assert not hosts.allows("[fe80::2]:8010", LINK_LOCAL)


def test_what_is_listed_is_allowed(hosts):
    """Whoever is refused is told what to write, and that is let in."""
    assert hosts.listed(HOME) == [
        "127.0.0.1",
        "[::1]",
        "board",
        "board.lan",
        "board.local",
        "garden.example.net",
        "localhost",
    ]
    assert all(hosts.allows(each, HOME) for each in hosts.listed(HOME))


def test_this_machine_is_asked_for_its_name():
    """The name is the kernel's, as it is now."""
    assert OwnHosts().allows(socket.gethostname(), HOME)


@given(st.ip_addresses(v=6))
def test_every_spelling_of_an_ipv6_address_is_one(address):
    """An IPv6 address reads the same in full and in short (RFC 5952)."""
    assert read_host(f"[{address.exploded.upper()}]:8010") == read_host(f"[{address}]") == str(address)


@given(st.text(max_size=30))
def test_no_text_raises(text):
    """Whatever a client sends as its Host is a host or is none."""
    found = read_host(text)
    assert found is None or (found == found.lower() and found.isascii())
