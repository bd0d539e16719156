"""The addresses of this machine, and whose an address is."""

from __future__ import annotations

import ipaddress
import socket
import subprocess
import sys

import psutil
import pytest

from api.network import addresses
from api.network.addresses import (
    addresses_to_open,
    counted_as,
    home_addresses,
    is_this_machine,
    url_of,
)
from config.models.network import NetworkSettings

# As the kernel writes them (fs/proc: address, interface, prefix, scope, flags, name).
IF_INET6 = """\
fd0000000000000000000000000000a2 02 40 00 80     eth0
fd0000000000000000000000000000b3 02 40 00 01     eth0
fd0000000000000000000000000000c4 02 40 00 60     eth0
2001db8000000000000000000000000a 02 40 00 80     eth0
fe8000000000000000fc00fffe000001 02 40 20 80     eth0
00000000000000000000000000000001 01 80 10 80       lo
"""


def known_to_psutil(family: socket.AddressFamily) -> set[str]:
    """Every address of a family, from getifaddrs(3)."""
    return {
        address.address.partition("%")[0]
        for interface in psutil.net_if_addrs().values()
        for address in interface
        if address.family == family
    }


def test_the_kernel_is_asked_for_every_address():
    """What another library finds by other ways is found, and nothing else."""
    assert set(addresses._ipv4_addresses()) == known_to_psutil(socket.AF_INET)
    found = {each.partition("%")[0] for each in addresses._ipv6_addresses()}
    assert found <= known_to_psutil(socket.AF_INET6)
    for each in found | {"127.0.0.1"}:
        assert is_this_machine(each)
    assert not is_this_machine("192.0.2.77")


def test_no_netlink_is_needed():
    """The unit forbids netlink: only sockets of the internet family are made."""
    script = (
        "import sys, socket; made = set()\n"
        "sys.addaudithook(lambda e, a: made.add(a[1]) if e == 'socket.__new__' else None)\n"
        "from api.network.addresses import home_addresses, is_this_machine\n"
        "home_addresses(); is_this_machine('10.0.0.1'); print(made <= {socket.AF_INET, -1})"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True"


@pytest.fixture
def machine(monkeypatch, tmp_path):
    """A machine with two cards, one of them in the internet, and every kind of IPv6 address."""
    (tmp_path / "if_inet6").write_text(IF_INET6, encoding="ascii")
    monkeypatch.setattr(addresses, "IPV6_ADDRESSES", tmp_path / "if_inet6")
    known = ["127.0.0.1", "169.254.7.7", "10.9.0.1", "203.0.113.9", "192.168.1.20"]
    monkeypatch.setattr(addresses, "_ipv4_addresses", lambda: known)
    monkeypatch.setattr(addresses, "_main_ipv4_address", lambda: "192.168.1.20")
    return known


def test_only_home_addresses_are_opened_the_best_first(machine):
    """Private addresses are opened, the one that leads outside first; public and passing ones are not."""
    assert home_addresses() == [
        "192.168.1.20",
        "10.9.0.1",
        "169.254.7.7",
        "fd00::a2",
        "fe80::fc:ff:fe00:1%eth0",
    ]
    assert addresses_to_open(NetworkSettings(listen="home")) == home_addresses()
    machine.remove("192.168.1.20")
    machine.append("192.168.1.77")
    assert "192.168.1.77" in home_addresses()
    assert is_this_machine("192.168.1.77")
    assert not is_this_machine("192.168.1.20")


def test_what_is_opened_is_what_the_site_file_says(machine):
    """By default nothing but the board's own address; else the addresses that are listed."""
    assert addresses_to_open(NetworkSettings()) == []
    assert addresses_to_open(NetworkSettings(listen=("10.9.0.1", "fd00::a2"))) == ["10.9.0.1", "fd00::a2"]


def test_a_machine_without_ipv6_has_its_others(machine, monkeypatch, tmp_path):
    """A kernel without IPv6 has no list of such addresses."""
    monkeypatch.setattr(addresses, "IPV6_ADDRESSES", tmp_path / "none")
    assert home_addresses() == ["192.168.1.20", "10.9.0.1", "169.254.7.7"]


def test_what_an_address_counts_for():
    """An IPv4 address counts for itself; one of IPv6 for itself and for its network, which may do more."""
    assert counted_as("192.168.1.30") == {"192.168.1.30": 1}
    assert counted_as("::ffff:192.168.1.30") == {"192.168.1.30": 1}
    assert counted_as("fe80::1%eth0") == {"fe80::1": 1, "fe80::/64": 4}
    one, other = counted_as("fd00:0:0:7:1:2:3:4"), counted_as("fd00:0:0:7:ffff::1")
    (network,) = one.keys() & other.keys()
    assert ipaddress.ip_address("fd00:0:0:7:ffff::1") in ipaddress.ip_network(network)
    assert ipaddress.ip_network(network).prefixlen == 64


@pytest.mark.parametrize(
    ("address", "encrypted", "expected"),
    [
        ("192.168.1.20", False, "http://192.168.1.20:8010/"),
        ("fd00::a2", True, "https://[fd00::a2]:8010/"),
        ("leerie.local", False, "http://leerie.local:8010/"),
    ],
)
def test_addresses_as_a_browser_takes_them(address, encrypted, expected):
    """An IPv6 address stands in brackets (RFC 3986, section 3.2.2)."""
    assert url_of(address, 8010, encrypted=encrypted) == expected
