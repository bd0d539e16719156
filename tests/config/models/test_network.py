"""Which addresses are those of a home network."""

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.models.network import HOME_NETWORKS, NetworkSettings, is_home_address

NETWORKS = [ipaddress.ip_network(each) for each in HOME_NETWORKS]


@pytest.mark.parametrize("network", NETWORKS, ids=str)
def test_the_edges_of_each_network(network):
    """The first and the last address of a network belong to it, their neighbours outside do not."""
    assert is_home_address(str(network[0]))
    assert is_home_address(str(network[-1]))
    for outside in (int(network[0]) - 1, int(network[-1]) + 1):
        address = type(network[0])(outside)
        assert not is_home_address(str(address))


@given(st.ip_addresses())
def test_no_public_address_is_a_home_address(address):
    """Whatever IANA's registries call global is refused (the standard library has their lists)."""
    if is_home_address(str(address)):
        assert not address.is_global


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("127.0.0.1", True),
        ("127.0.0.2", True),
        ("::1", True),
        ("::ffff:10.0.0.1", True),
        ("::ffff:203.0.113.5", False),
        ("100.64.0.1", False),  # shared by customers of one provider: RFC 6598
        ("0.0.0.0", False),
        ("::", False),
        ("2001:db8::1", False),
        ("localhost", False),
        ("", False),
    ],
)
def test_single_addresses(text, expected):
    """The board's own addresses count, addresses of the internet and of a provider do not."""
    assert is_home_address(text) is expected


def test_by_default_nothing_is_open():
    """Without the table only the board itself reaches the API; once it is open it can be found."""
    settings = NetworkSettings()
    assert (settings.listen, settings.port, settings.discovery) == ("board", 8010, True)


def test_names_are_kept_as_browsers_send_them():
    """Host names have no capital letters to a browser."""
    assert NetworkSettings(names=("Garden.Example.net",)).names == ("garden.example.net",)
