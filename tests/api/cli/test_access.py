"""``leerie access``: the addresses of the API, and the devices that are let in."""

from __future__ import annotations

import json
from urllib.parse import urlsplit

import pytest

from api.network import addresses
from api.web.listening import Listening
from config.file.loader import load_site
from controller.journal.reader import JournalReader
from tests.api.command import call, call_json
from tests.api.lines import serving, wait_until
from tests.api.stand_in import SITE
from tests.api.web.devices import Device


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


def test_a_machine_without_a_network_is_told_so(site, house, monkeypatch):
    """Where the site file opens the home network and there is none, nobody is told to open it."""
    monkeypatch.setattr(addresses, "home_addresses", list)
    path = site('listen = "home"')
    said = "This machine has no address in a home network now. It is opened once it has one."
    assert call("access", path).stdout.splitlines()[1] == said
    with serving(lambda: house.app) as server:
        assert call("access", "pair", path, "--port", server.port).stdout.splitlines()[-1] == said


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


# -- devices -------------------------------------------------------------------------------------------------


@pytest.fixture
def at_daemon(house):
    """Call a command of ``leerie access`` where the house's daemon answers."""
    with serving(lambda: house.app) as server:
        yield lambda name, *args: call("access", name, house.site_path, *args, "--port", server.port)


def test_a_phone_is_let_in_by_a_printed_code(house, at_daemon):
    """The code is printed with its end by the site's clock; a phone that enters it gets what was chosen."""
    result = at_daemon("pair", "--name", "kitchen phone", "--read-only")
    assert result.exit_code == 0, result.stderr
    first, *rest = result.stdout.splitlines()
    assert rest == [
        "Once, until 21:40. Whoever enters it may read, but not change anything.",
        'For the home network, write listen = "home" under [network] in the site file.',
    ]
    made = Device(house).ask("POST", "/v1/access/tokens", json={"code": first.removeprefix("Code: ")}).json()
    assert (made["name"], made["scope"]) == ("kitchen phone", "read")
    code = json.loads(at_daemon("pair", "--json").stdout)
    assert (code["scope"], code["name"]) == ("control", None)


def test_devices_are_listed_and_revoked(house, at_daemon):
    """The list says what each may do and when it was last used; what is revoked is on it no longer."""
    assert (
        at_daemon("list").stdout
        == f"No device is let in. To let one in: leerie access pair {house.site_path}\n"
    )
    device = Device(house).pair("control", "kitchen phone")
    line = f"{device.id}  kitchen phone: token, control, made 2027-06-21 21:30, never used"
    assert at_daemon("list").stdout.splitlines() == [line]
    device.ask("GET", "/v1/status")
    assert at_daemon("list").stdout.splitlines() == [line.replace("never used", "last used 2027-06-21 21:30")]
    assert json.loads(at_daemon("list", "--json").stdout) == house.get("/v1/access/tokens")
    assert at_daemon("revoke", device.id).stdout == f"Revoked: {device.id}.\n"
    assert device.ask("GET", "/v1/status").status_code == 401
    result = at_daemon("revoke", device.id)
    assert result.exit_code == 2
    assert f"no token or session “{device.id}” is known" in result.stderr


def test_a_calendar_program_gets_an_address(house, at_daemon):
    """The address gives the calendar without anything else, and is named in the list."""
    result = at_daemon("calendar", "--name", "family calendar")
    assert result.exit_code == 0, result.stderr
    address, how_to_end = result.stdout.splitlines()
    assert Device(house).ask("GET", urlsplit(address).path).status_code == 200
    (known,) = house.get("/v1/access/tokens")["tokens"]
    assert (known["name"], known["scope"]) == ("family calendar", "calendar")
    assert how_to_end.endswith(f"leerie access revoke {house.site_path} {known['id']}")


def test_with_and_without_a_daemon_the_addresses_are_the_same(house):
    """What is said without a daemon is what one then serves; with one, the code is exchanged at its best."""
    text = house.site_path.read_text(encoding="utf-8")
    network = '[network]\nlisten = ["127.9.0.12", "127.9.0.13"]\nnames = ["garden.example.net"]\n\n[relays]'
    house.site_path.write_text(text.replace("[relays]", network), encoding="utf-8")
    settings = load_site(house.site_path).site.network
    listening = Listening(lambda: settings, port=0)
    with serving(lambda: house.make_app(listening=listening), listening=listening) as server:
        wait_until(lambda: len(listening.status.home) == 3)
        served = call_json("access", house.site_path, "--port", server.port)
        last = call("access", "pair", house.site_path, "--port", server.port).stdout.splitlines()[-1]
        assert last == (
            f"Open http://127.9.0.12:{server.port}/ on that device and type it in. "
            "A program: POST /v1/access/tokens"
        )
    planned = call_json("access", house.site_path, "--port", server.port)
    assert (served.pop("basis"), planned.pop("basis")) == ("daemon", "site file")
    assert served == planned


def test_changes_of_the_command_line_are_named_as_such(house, at_daemon):
    """The journal says that a code came from the command line."""
    code = at_daemon("pair").stdout.splitlines()[0].removeprefix("Code: ")
    Device(house).ask("POST", "/v1/access/tokens", json={"code": code, "name": "shed"})
    house.pass_time(1)
    words = [each.words for each in JournalReader(house.journal.directory).events()]
    assert any("shed" in each and "by a pairing code of the command line" in each for each in words)


@pytest.mark.parametrize("words", [("pair",), ("list",), ("calendar",), ("revoke", "x")])
def test_without_a_daemon_it_says_what_to_do(site, words):
    """Devices are let in by a running daemon: without one, one line says so, with exit code 2."""
    name, *rest = words
    result = call("access", name, site(), *rest)
    assert result.exit_code == 2
    assert "no daemon answers on port 1" in result.stderr
    assert "start it with leerie run" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_another_site_s_daemon_is_not_asked(house, site):
    """A daemon on the port that keeps another site gives no code."""
    path = site()
    path.write_text(path.read_text().replace("Saltmarsh Lodge", "Tern Cottage"))
    with serving(lambda: house.app) as server:
        result = call("access", "pair", path, "--port", server.port)
    assert result.exit_code == 2
    assert "keeps “Saltmarsh Lodge”, not “Tern Cottage”" in result.stderr
