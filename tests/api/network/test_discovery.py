"""Being found by name: other machines of the home network, each a zeroconf of its own, look for it.

On the loopback interface alone: 127.9.1.1 and the like stand for the machines of a home network. Names are of
this run, as others may run at the same time.
"""

from __future__ import annotations

import asyncio
import secrets
from contextlib import asynccontextmanager

import pytest
from zeroconf import AddressResolverIPv4, IPVersion, ServiceInfo, ServiceStateChange
from zeroconf.asyncio import AsyncServiceBrowser, AsyncZeroconf

from api.network import discovery as module
from api.network import responder
from api.network.discovery import Announcement, Discovery, can_be_announced
from tests.api.lines import LONG_S

ONE, TWO = "127.9.1.1", "127.9.1.2"
# No two machines have the same one: answers for one alone would go astray.
OTHERS = (f"127.9.2.{number}" for number in range(1, 255))
HTTP = "_http._tcp.local."


@pytest.fixture
def label(monkeypatch):
    """A name that nobody else has, without .local; other machines are given a shorter time to answer."""
    monkeypatch.setattr(responder, "ASK_MS", 500)
    return f"leerie{secrets.token_hex(4)}"


def told(label, address=ONE, **more):
    return Announcement(
        **{"wish": f"{label}.local", "addresses": (address,), "port": 8010, "encrypted": False, **more}
    )


@asynccontextmanager
async def announced(*wanted):
    """Boards that are announced; gives one Discovery for each."""
    boards = [Discovery() for _ in wanted]
    for board, what in zip(boards, wanted, strict=True):
        board.announce(what)
    try:
        yield boards
    finally:
        for task in [board.close() for board in boards]:
            await asyncio.wait([task])


@asynccontextmanager
async def machine():
    """Another machine of the home network."""
    zeroconf = AsyncZeroconf(interfaces=[next(OTHERS)], ip_version=IPVersion.V4Only)
    await zeroconf.zeroconf.async_wait_for_start()
    try:
        yield zeroconf
    finally:
        await zeroconf.async_close()


async def resolve(label):
    """Give the addresses that a machine without anything in its cache gets for a name."""
    async with machine() as asking:
        found = AddressResolverIPv4(f"{label}.local.")
        await found.async_request(asking.zeroconf, 1000)
        return found.parsed_addresses()


async def wait_for(condition):
    async with asyncio.timeout(LONG_S):
        while not (found := condition()):
            await asyncio.sleep(0.02)
    return found


def test_a_phone_finds_name_and_page(label):
    """The name leads to the address; who lists web pages finds its port and path, until it says goodbye."""

    async def run():
        seen = []

        def note(zeroconf, service_type, name, state_change):
            (seen.remove if state_change is ServiceStateChange.Removed else seen.append)(name)

        async with announced(told(label)) as (board,), machine() as phone:
            await wait_for(lambda: board.name)
            assert (board.name, board.fault) == (f"{label}.local", None)
            assert await resolve(label) == [ONE]
            browser = AsyncServiceBrowser(phone.zeroconf, HTTP, [note])
            service = f"{label}.{HTTP}"
            await wait_for(lambda: service in seen)
            found = await phone.async_get_service_info(HTTP, service)
            assert (found.port, found.server, found.parsed_addresses()) == (8010, f"{label}.local.", [ONE])
            assert found.properties == {b"path": b"/"}
            board.announce(None)
            await wait_for(lambda: service not in seen)
            board.announce(told(label))
            await wait_for(lambda: board.name)
            await browser.async_cancel()

    asyncio.run(run())


def test_https_is_announced_as_such(label):
    """Where https is served, the page is listed as such, and not as one of http."""

    async def run():
        async with announced(told(label, encrypted=True)) as (board,), machine() as phone:
            await wait_for(lambda: board.name)
            kind = HTTP.replace("http", "https")
            assert await phone.async_get_service_info(kind, f"{label}.{kind}", 1000)
            assert await phone.async_get_service_info(HTTP, f"{label}.{HTTP}", 300) is None

    asyncio.run(run())


def test_a_second_board_gets_another_name(label):
    """Two boards in one network both get a name, and each name leads to its own."""

    async def run():
        async with announced(told(label)) as (first,):
            await wait_for(lambda: first.name)
            async with announced(told(label, TWO)) as (second,), machine() as phone:
                await wait_for(lambda: second.name)
                assert (first.name, second.name) == (f"{label}.local", f"{label}-2.local")
                assert await resolve(label) == [ONE]
                assert await resolve(f"{label}-2") == [TWO]
                found = await phone.async_get_service_info(HTTP, f"{label}-2.{HTTP}")
                assert found.server == f"{label}-2.local."

    asyncio.run(run())


def test_two_boards_that_start_together_come_to_two_names(label, monkeypatch):
    """After a power cut both ask at once, hear nobody, and claim one name; they part, and both are found."""
    pauses = iter((0.0, 2.5))
    monkeypatch.setattr(module.random, "uniform", lambda _least, _most: next(pauses))

    async def run():
        async with announced(told(label), told(label, TWO)) as boards:
            names = {f"{label}.local", f"{label}-2.local"}
            await wait_for(lambda: {board.name for board in boards} == names)
            for board, address in zip(boards, (ONE, TWO), strict=True):
                assert await resolve(board.name.removesuffix(".local")) == [address]
        assert next(pauses, None) is None

    asyncio.run(run())


def test_another_address_and_none(label):
    """A new address takes the place of the old one; what is announced no longer is not found."""

    async def run():
        async with announced(told(label)) as (board,):
            await wait_for(lambda: board.name)
            board.announce(told(label, TWO))
            assert board.name is None
            await wait_for(lambda: board.name)
            assert (board.name, await resolve(label)) == (f"{label}.local", [TWO])
            was = board._task
            board.announce(told(label, TWO))
            assert board._task is was
            board.announce(None)
            await asyncio.wait([was])
            assert (board.name, await resolve(label)) == (None, [])
            board.announce(told(label))  # for the end of the test
            await wait_for(lambda: board.name)

    asyncio.run(run())


def test_a_responder_of_the_same_machine_is_none_of_another(label):
    """A program such as avahi that announces this machine by the same name does not take the name away."""

    async def run():
        async with machine() as other:
            service = ServiceInfo(
                HTTP,
                f"other{label}.{HTTP}",
                port=80,
                server=f"{label}.local.",
                parsed_addresses=["127.0.0.1"],
            )
            await (await other.async_register_service(service))
            async with announced(told(label)) as (board,):
                await wait_for(lambda: board.name)
                assert board.name == f"{label}.local"
                await (await other.async_update_service(service))
                assert board.name == f"{label}.local"

    asyncio.run(run())


# The library leaves a socket to the garbage collector where it cannot join the group.
@pytest.mark.filterwarnings("ignore:.*5353:pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("address", "said"),
    [("10.255.254.253", "No such device"), ("fd00::a2", "it has no address of IPv4")],
)
def test_where_it_does_not_work_the_fault_says_so(label, address, said):
    """A machine without multicast is a fault in one line, which says what to do."""

    async def run():
        async with announced(told(label, address)) as (board,):
            fault = await wait_for(lambda: board.fault)
            assert fault == f"the home network cannot find this machine by name: {said}; use an address"
            assert board.name is None

    asyncio.run(run())


def test_what_does_not_get_through_is_tried_again(label, monkeypatch):
    """Packets that are dropped, as by a firewall, are a fault until they arrive."""
    monkeypatch.setattr(module, "AGAIN_S", 0.1)
    send = responder.Zeroconf.async_send

    async def run():
        async with announced(told(label)) as (board,):
            fault = await wait_for(lambda: board.fault)
            assert "multicast does not get through" in fault
            monkeypatch.setattr(responder.Zeroconf, "async_send", send)
            await wait_for(lambda: board.name)
            assert board.fault is None

    monkeypatch.setattr(responder.Zeroconf, "async_send", lambda *_, **__: None)
    asyncio.run(run())


@pytest.mark.parametrize(
    ("address", "expected"),
    [("192.168.1.20", True), ("fd00::a2", True), ("127.0.0.2", False), ("fe80::1%eth0", False)],
)
def test_what_other_machines_can_use(address, expected):
    """What only this machine uses, as for a proxy, is not announced, nor what depends on the interface."""
    assert can_be_announced(address) is expected
