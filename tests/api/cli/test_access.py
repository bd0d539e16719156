"""``leerie access``: the addresses of the API."""

from __future__ import annotations

import pytest

from api.network import addresses
from tests.api.command import call, call_json
from tests.api.stand_in import SITE


@pytest.fixture
def site(tmp_path, monkeypatch):
    """A site file with what a test writes under [network], on a machine with two addresses."""
    monkeypatch.setattr(addresses, "home_addresses", lambda: ["192.168.1.20", "fd00::a2"])

    def write(*lines: str):
        path = tmp_path / "garden.toml"
        network = "\n".join(["[network]", "port = 1", *lines])
        path.write_text(SITE.replace("[relays]", f"{network}\n\n[relays]"), encoding="utf-8")
        return path

    return write


def test_by_default_only_this_machine_reaches_it(site):
    """Without a daemon it says what one would serve, and how to open it."""
    result = call("access", site())
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "On this machine: http://127.0.0.1:1/",
        'For the home network, write listen = "home" under [network] in the site file.',
        "No daemon of this site answers; one that starts now would serve this.",
    ]


def test_the_addresses_of_the_home_network(site):
    """Every address of the home network is listed, and what plain http means is said."""
    path = site('listen = "home"', 'names = ["garden.example.net"]')
    lines = call("access", "show", path).stdout.splitlines()
    assert lines[1] == (
        "In the home network: http://192.168.1.20:1/, http://[fd00::a2]:1/, http://garden.example.net:1/"
    )
    assert lines[2].startswith("Plain http: ")
    assert call_json("access", path) == {
        "site": "Saltmarsh Lodge",
        "basis": "site file",
        "board": "http://127.0.0.1:1/",
        "home": ["http://192.168.1.20:1/", "http://[fd00::a2]:1/", "http://garden.example.net:1/"],
        "encrypted": False,
        "faults": [],
    }


def test_with_a_certificate_its_names_come_first(site):
    """A certificate is for a name, so that is the address to give away; nothing is said about plain http."""
    path = site('listen = "home"', 'names = ["garden.example.net"]', 'certificate = "/etc/leerie/cert.pem"')
    report = call_json("access", path)
    assert report["home"][0] == "https://garden.example.net:1/"
    assert report["encrypted"] is True
    assert "Plain http" not in call("access", path).stdout


def test_the_command_may_be_left_out_or_not():
    """``leerie access --help`` lists what there is; without a file it says what is missing."""
    assert "show" in call("access", "--help").stdout
    result = call("access")
    assert result.exit_code == 2
    assert "Missing argument 'SITE.toml'" in result.stderr
