"""What is listened on: as the site file, this machine's addresses and the certificate are now."""

from __future__ import annotations

import asyncio
import logging
import secrets
import socket
import ssl
from contextlib import asynccontextmanager
from datetime import UTC, datetime

import pytest
import trustme
from zeroconf import AddressResolverIPv4, Zeroconf

from api.web import listening as module
from api.web.accepting import Acceptor
from api.web.listening import Listening
from config.models.network import NetworkSettings
from tests.api.lines import LONG_S, Tries, ask, connect, serving, wait_until

CA = trustme.CA()


class Greeting(asyncio.Protocol):
    """Says hello, and over what."""

    def __init__(self, connection):
        self.connection = connection

    def connection_made(self, transport):
        transport.write(b"tls" if transport.get_extra_info("sslcontext") else b"plain")
        transport.close()

    def connection_lost(self, _exc):
        self.connection.end()


class Machine:
    """A machine with a site file and addresses that a test changes, on a port of its own."""

    def __init__(self) -> None:
        self.settings = NetworkSettings()
        self.addresses: list[str] = []
        self.now_utc: datetime | None = datetime(2027, 6, 21, tzinfo=UTC)
        self.shown: list[str] = []
        self.listening = Listening(
            lambda: self.settings, port=0, now_utc=lambda: self.now_utc, on_home=self.shown.append
        )
        self.now_s = 0.0

    @asynccontextmanager
    async def running(self):
        self.listening.bind()
        self.listening.start(Acceptor(Greeting))
        try:
            yield
        finally:
            self.listening.close()

    def look(self, **changed):
        """Let enough time pass for one look, with another site file where something is changed."""
        if changed:
            self.settings = NetworkSettings(**changed)
        self.now_s += module.LOOK_S
        self.listening.follow(self.now_s)
        return self.listening.status

    async def hear(self, address, port=None, *, tls=None):
        """Connect, and give what is said; None where nobody listens or says anything."""
        try:
            reader, writer = await asyncio.open_connection(
                address, port or self.listening.port, ssl=tls, server_hostname=tls and "127.9.0.2"
            )
        except OSError:
            return None
        heard = await reader.read()
        writer.close()
        return heard.decode() or None


@pytest.fixture
def machine(monkeypatch):
    """A machine whose addresses stand in a list."""
    machine = Machine()

    def to_open(settings):
        return {"board": [], "home": machine.addresses}.get(settings.listen, list(settings.listen))

    monkeypatch.setattr(module, "addresses_to_open", to_open)
    return machine


@pytest.fixture
def trusting():
    """A client that trusts our maker of certificates."""
    context = ssl.create_default_context()
    CA.configure_trust(context)
    return context


def write_certificate(path, **more):
    made = CA.issue_cert("127.9.0.2", **more)
    made.private_key_and_cert_chain_pem.write_to_path(path)


def test_only_the_board_by_default(machine):
    """Without anything in the site file only the board's own address is open."""

    async def run():
        async with machine.running():
            assert await machine.hear("127.0.0.1") == "plain"
            assert await machine.hear("127.9.0.2") is None
        assert await machine.hear("127.0.0.1") is None

    asyncio.run(run())
    assert machine.shown == []


def test_a_change_of_the_site_file_is_taken_over(machine, caplog):
    """Addresses are opened and closed when the site file says so, without a restart, and the log says it."""
    caplog.set_level(logging.INFO)

    async def run():
        async with machine.running():
            port = machine.listening.port
            status = machine.look(listen=("127.9.0.2", "127.9.0.3"), names=("garden.example.net",))
            assert status.home == [
                f"http://127.9.0.2:{port}/",
                f"http://127.9.0.3:{port}/",
                f"http://garden.example.net:{port}/",
            ]
            assert [await machine.hear(each) for each in ("127.0.0.1", "127.9.0.2", "127.9.0.3")] == [
                "plain"
            ] * 3
            assert machine.look(listen=("127.9.0.3",)).home == [f"http://127.9.0.3:{port}/"]
            assert [await machine.hear(each) for each in ("127.0.0.1", "127.9.0.2", "127.9.0.3")] == [
                "plain",
                None,
                "plain",
            ]
            assert machine.look(listen="board").home == []
            assert await machine.hear("127.9.0.3") is None

    asyncio.run(run())
    said = [each.getMessage() for each in caplog.records]
    assert any(each.startswith("no longer listening on http://127.9.0.2:") for each in said)
    assert len([each for each in said if each.startswith("plain http: whoever is in the home network")]) == 1
    assert len(machine.shown) == 2


def test_addresses_that_the_router_changes_are_followed(machine):
    """With listen = "home" an address that comes is opened, and one that goes is closed."""

    async def run():
        async with machine.running():
            assert machine.look(listen="home").home == []
            machine.addresses = ["127.9.0.4"]
            machine.look()
            assert await machine.hear("127.9.0.4") == "plain"
            machine.addresses = ["127.9.0.5"]
            machine.look()
            assert [await machine.hear(each) for each in ("127.9.0.4", "127.9.0.5")] == [None, "plain"]

    asyncio.run(run())


def test_an_address_that_cannot_be_opened_is_told_once_and_tried_again(machine, caplog):
    """A port in use on one address leaves the others, is told once, and is taken when it is free."""
    caplog.set_level(logging.ERROR)

    async def run():
        async with machine.running():
            port = machine.listening.port
            with socket.create_server(("127.9.0.6", port)):
                for _ in range(3):
                    status = machine.look(listen=("127.9.0.6", "127.9.0.7"))
                assert status.home == [f"http://127.9.0.7:{port}/"]
                (fault,) = status.faults
                assert fault.startswith(f"port {port} on 127.9.0.6 is in use by another program; ")
            assert machine.look().faults == []
            assert await machine.hear("127.9.0.6") == "plain"
            status = machine.look(listen=("10.255.254.253",))
            assert status.faults == [
                "this machine has no address 10.255.254.253 now; it is opened once it has"
            ]

    asyncio.run(run())
    assert len(caplog.records) == 2


def test_another_port_is_taken_over(machine):
    """A new port takes the place of the old one, which is kept while another program has the new one."""

    async def run():
        with socket.create_server(("127.0.0.1", 0)) as other, socket.create_server(("127.0.0.1", 0)) as free:
            both = ("127.0.0.1", "127.9.0.2")
            first, taken = free.getsockname()[1], other.getsockname()[1]
            free.close()
            machine.listening = Listening(lambda: machine.settings)
            machine.settings = NetworkSettings(port=first, listen=("127.9.0.2",))
            async with machine.running():
                assert await machine.hear("127.9.0.2", first) == "plain"
                status = machine.look(port=taken, listen=("127.9.0.2",))
                assert status.faults[0].endswith(f"; port {first} is served until then")
                assert await machine.hear("127.0.0.1", first) == "plain"
                other.close()
                status = machine.look()
                assert (status.faults, status.board) == ([], f"http://127.0.0.1:{taken}/")
                assert [await machine.hear(each, taken) for each in both] == ["plain"] * 2
                assert [await machine.hear(each, first) for each in both] == [None] * 2

    asyncio.run(run())


def test_without_its_certificate_the_home_network_is_not_served(machine, trusting, tmp_path):
    """A certificate that is missing or bad opens nothing, no plain http either; a good one is served."""
    path = tmp_path / "both.pem"
    wanted = {"listen": ("127.9.0.2",), "certificate": str(path)}

    async def run():
        async with machine.running():
            status = machine.look(**wanted)
            assert (status.home, status.encrypted) == ([], True)
            (fault,) = status.faults
            assert "no such file" in fault
            assert fault.endswith("until then the home network is not served")
            assert await machine.hear("127.9.0.2") is None
            assert await machine.hear("127.0.0.1") == "plain"
            path.write_text("a slip", encoding="ascii")
            machine.look()
            assert "has no certificate" in machine.look().faults[0]
            assert await machine.hear("127.9.0.2") is None
            write_certificate(path)
            machine.look()
            status = machine.look()
            assert status.faults == []
            assert status.home == [f"https://127.9.0.2:{machine.listening.port}/"]
            assert await machine.hear("127.9.0.2", tls=trusting) == "tls"
            # Another path that is bad closes it again; none at all is plain http, as then asked for.
            assert machine.look(**wanted, key=str(tmp_path / "none.key")).home == []
            assert await machine.hear("127.9.0.2", tls=trusting) is None
            machine.look(listen=("127.9.0.2",))
            assert await machine.hear("127.9.0.2") == "plain"

    asyncio.run(run())


def test_a_new_certificate_is_served_at_once(machine, tmp_path):
    """After the files have changed, new connections get the new certificate."""
    path = tmp_path / "both.pem"
    write_certificate(path)

    async def seen():
        context = ssl.create_default_context()
        CA.configure_trust(context)
        _, writer = await asyncio.open_connection("127.9.0.2", machine.listening.port, ssl=context)
        number = writer.get_extra_info("peercert")["serialNumber"]
        writer.close()
        return number

    async def run():
        async with machine.running():
            machine.look(listen=("127.9.0.2",), certificate=str(path))
            first = await seen()
            assert await seen() == first
            write_certificate(path)
            machine.look()
            machine.look()
            assert await seen() != first

    asyncio.run(run())


def test_an_expired_certificate_is_a_fault_by_a_clock_that_is_trusted(machine, trusting, tmp_path):
    """What has expired is shown to clients, who judge for themselves; the status says it by a known time."""
    path = tmp_path / "both.pem"
    write_certificate(path, not_after=datetime(2027, 6, 20))  # noqa: DTZ001 - as trustme takes it
    expired = ["the certificate expired on 2027-06-20; put a new one in its place"]

    async def run():
        async with machine.running():
            machine.now_utc = None
            status = machine.look(listen=("127.9.0.2",), certificate=str(path))
            assert status.faults == []
            machine.now_utc = datetime(2027, 6, 21, tzinfo=UTC)
            assert machine.look().faults == expired
            assert await machine.hear("127.9.0.2", tls=trusting) == "tls"  # by its own clock
            machine.now_utc = datetime(2027, 6, 19, tzinfo=UTC)
            assert machine.look().faults == []

    asyncio.run(run())


def test_what_nobody_thought_of_leaves_the_board_served(machine, monkeypatch, caplog):
    """An exception while the home network is looked at is one line in the log and in the status."""
    caplog.set_level(logging.ERROR)

    async def run():
        async with machine.running():
            monkeypatch.setattr(module, "addresses_to_open", lambda _settings: 1 / 0)
            for _ in range(3):
                status = machine.look()
            assert status.faults == ["the home network is not served: ZeroDivisionError: division by zero"]
            assert await machine.hear("127.0.0.1") == "plain"

    asyncio.run(run())
    assert len(caplog.records) == 1


@pytest.fixture
def found(machine, monkeypatch):
    """What is announced, and by which name the machine is found, or why not: without the library."""
    asked = []

    class Found:
        name = fault = None

        def announce(self, wanted):
            if not asked or asked[-1] != wanted:
                asked.append(wanted)

        def close(self):
            pass

    machine.listening._discovery = known = Found()
    known.asked = asked
    monkeypatch.setattr(module, "can_be_announced", lambda _address: True)
    return known


def test_the_name_by_which_it_is_found(machine, found, caplog):
    """The name that it got is an address of the API and one of its own hosts, as soon as it has it."""
    caplog.set_level(logging.INFO)

    async def run():
        async with machine.running():
            port = machine.listening.port
            assert found.asked == [None]
            machine.look(listen=("127.9.0.2",), names=("garden.example.net",))
            (told,) = found.asked[1:]
            assert (told.wish, told.addresses, told.port) == ("leerie.local", ("127.9.0.2",), port)
            found.name = "leerie-2.local"
            for _ in range(3):
                machine.listening.follow(machine.now_s)  # long before it looks at the addresses again
            assert machine.listening.status.home == [
                f"http://{each}:{port}/" for each in ("127.9.0.2", "leerie-2.local", "garden.example.net")
            ]
            assert set(machine.listening.names) == {"leerie-2.local", "garden.example.net"}
            found.name = None
            machine.listening.follow(machine.now_s)
            assert f"http://leerie-2.local:{port}/" not in machine.listening.status.home
            assert "leerie-2.local" not in machine.listening.names
            machine.look(listen=("127.9.0.3",))
            assert found.asked[-1].addresses == ("127.9.0.3",)

    asyncio.run(run())
    said = [each.getMessage() for each in caplog.records if "announced" in each.getMessage()]
    assert said == [f"announced to the home network as http://leerie-2.local:{machine.listening.port}/"]
    # The address, which every phone can open.
    assert [each.split(":")[1] for each in machine.shown] == ["//127.9.0.2", "//127.9.0.3"]


def test_a_name_that_ends_in_local_is_the_one_to_have(machine, found):
    """The first such name is asked for; until the machine has it, it may lead to another one."""

    async def run():
        async with machine.running():
            both = {"listen": ("127.9.0.2",), "names": ("garden.example.net", "shed.local")}
            assert not any("shed" in each for each in machine.look(**both).home)
            assert found.asked[-1].wish == "shed.local"
            found.name = "shed.local"
            assert machine.look().home[1:] == [
                f"http://{each}:{machine.listening.port}/" for each in ("garden.example.net", "shed.local")
            ]
            # Somebody else's business, then.
            found.name = None
            assert any("shed" in each for each in machine.look(**both, discovery=False).home)
            assert found.asked[-1] is None

    asyncio.run(run())


def test_under_https_a_name_that_the_certificate_lacks_comes_last(machine, found, tmp_path):
    """Browsers warn of a name that is not in the certificate; one that is there is asked for."""
    path = tmp_path / "both.pem"
    write_certificate(path)
    both = {"listen": ("127.9.0.2",), "certificate": str(path), "names": ("garden.example.net",)}

    async def run():
        async with machine.running():
            found.name = "leerie.local"
            home = machine.look(**both).home
            assert [each.split("/")[2].split(":")[0] for each in home] == [
                "garden.example.net",
                "127.9.0.2",
                "leerie.local",
            ]
            assert found.asked[-1].encrypted
            CA.issue_cert("shed.local").private_key_and_cert_chain_pem.write_to_path(path)
            machine.look()
            assert "shed.local" not in "".join(machine.look().home)
            assert found.asked[-1].wish == "shed.local"

    asyncio.run(run())


def test_that_it_cannot_be_found_is_told_once(machine, found, caplog):
    """Without multicast the addresses are served all the same; log and status say so in one line."""
    caplog.set_level(logging.ERROR)

    async def run():
        async with machine.running():
            machine.look(listen=("127.9.0.2",))
            found.fault = "the home network cannot find this machine by name: for a reason; use an address"
            for _ in range(3):
                machine.listening.follow(machine.now_s)
                assert machine.look().faults == [found.fault]
            assert await machine.hear("127.9.0.2") == "plain"
            found.fault = None
            assert machine.look().faults == []

    asyncio.run(run())
    assert [each.getMessage() for each in caplog.records] == [
        "network: the home network cannot find this machine by name: for a reason; use an address"
    ]


def test_the_running_server_is_found_and_answers_to_its_name(house, monkeypatch):
    """From the site file to the request that came by the name, which was not ours before."""
    monkeypatch.setattr(module, "can_be_announced", lambda _address: True)
    name = f"leerie{secrets.token_hex(4)}"
    settings = NetworkSettings(listen=("127.9.0.9",), names=(f"{name}.local",))
    listening = Listening(lambda: settings, port=0)
    with serving(lambda: house.make_app(listening=listening), listening=listening) as server:
        url = f"http://{name}.local:{server.port}/"
        wait_until(lambda: url in ask(server, "GET", "/v1/status")[2]["network"]["home"])
        with Zeroconf(interfaces=["127.9.0.10"]) as phone:
            found = AddressResolverIPv4(f"{name}.local.")
            assert found.request(phone, 1000)
            assert found.parsed_addresses() == ["127.9.0.9"]
        for host, status in ((f"{name}.local", 401), (f"{name}-2.local", 421)):
            assert ask(server, "GET", "/v1/status", source="127.0.0.3", host=host)[0] == status


def test_the_running_server_follows_the_site_file(house):
    """A server that runs opens an address soon after the site file names it, and says so in its status."""
    settings = NetworkSettings()
    listening = Listening(lambda: settings, port=0)
    with serving(lambda: house.make_app(listening=listening), listening=listening) as server:
        assert ask(server, "GET", "/v1/status")[2]["network"]["home"] == []
        settings = NetworkSettings(listen=("127.9.0.2",))
        home: list[str] = []
        while not home:
            home = ask(server, "GET", "/v1/status")[2]["network"]["home"]
        assert home == [f"http://127.9.0.2:{server.port}/"]
        connect(server, source="127.0.0.3", to="127.9.0.2").close()


def test_after_a_fault_it_listens_where_it_did(house, monkeypatch):
    """A web server that ends by a fault listens on the same port again."""
    with serving(house.make_app) as server:
        port, tries = server.port, Tries(server)
        monkeypatch.setattr(Listening, "follow", lambda *_: 1 / 0)
        tries.wait_for(1)
        monkeypatch.undo()
        assert server.wait_until_serving(LONG_S)
        assert server.port == port
