"""Answers multicast DNS (RFC 6762): who has this host name, and where is its page (DNS-SD, RFC 6763).

python-zeroconf finds a free name for the service, but none for the host: that is done here. It is told on
which addresses to speak, because it would look for them by netlink, which the unit forbids.
"""

import asyncio
import errno
import logging
import os
import socket
from collections.abc import Callable
from contextlib import suppress

from zeroconf import (  # type: ignore[attr-defined] # the first two are left out of its __all__
    AddressResolverIPv4,
    DNSAddress,
    IPVersion,
    RecordUpdate,
    RecordUpdateListener,
    ServiceInfo,
    Zeroconf,
)
from zeroconf.asyncio import AsyncZeroconf

from api.network.addresses import is_this_machine
from api.network.discovery import Announcement

# What does not work is told once, in the status and the log.
logging.getLogger("zeroconf").setLevel(logging.CRITICAL)

# How long another machine is given to say that a name is its own (RFC 6762, section 8.1, waits 0.75 s).
ASK_MS = 1000
# Whoever asked at the same moment has announced itself by then.
SETTLE_S = 1.0
MOST_NAMES = 100


async def announce_until_claimed(wanted: Announcement, note_name: Callable[[str], None]) -> None:
    """Announce this machine under the first free name, until another machine claims that name as well.

    Args:
        wanted: what is announced.
        note_name: called with the name once it is announced.

    Raises:
        OSError: multicast does not work here.
    """
    ipv4 = [each for each in wanted.addresses if ":" not in each]
    if not ipv4:
        raise OSError(errno.EADDRNOTAVAIL, "it has no address of IPv4")
    responder = AsyncZeroconf(interfaces=ipv4, ip_version=IPVersion.V4Only)
    zeroconf = responder.zeroconf
    try:
        await zeroconf.async_wait_for_start()
        name = await _find_free_name(zeroconf, wanted)
        heard = _Heard(name, wanted.addresses)
        zeroconf.async_add_listener(heard, None)
        kind = f"_http{'s' if wanted.encrypted else ''}._tcp.local."
        service = ServiceInfo(
            kind,
            f"{name.removesuffix('.local')}.{kind}",
            port=wanted.port,
            server=f"{name}.",
            parsed_addresses=list(wanted.addresses),
            properties={"path": "/"},
        )
        await (await responder.async_register_service(service, allow_name_change=True))
        # The kernel gives back to us what we send to all.
        if not heard.ourselves:
            raise OSError(errno.ENETUNREACH, "multicast does not get through")
        with suppress(TimeoutError):
            await asyncio.wait_for(heard.another.wait(), SETTLE_S)
        if not heard.another.is_set():
            note_name(name)
        await heard.another.wait()
    finally:
        # Once, at once: the event loop may be ending.
        if (goodbye := zeroconf.generate_unregister_all_services()) is not None:
            zeroconf.async_send(goodbye)
        await responder.async_close()


async def _find_free_name(zeroconf: Zeroconf, wanted: Announcement) -> str:
    label = wanted.wish.removesuffix(".local")
    for number in range(1, MOST_NAMES + 1):
        name = f"{label}-{number}.local" if number > 1 else wanted.wish
        asked = AddressResolverIPv4(f"{name}.")
        if not await asked.async_request(zeroconf, ASK_MS):
            return name
        if all(each in wanted.addresses or is_this_machine(each) for each in asked.parsed_addresses()):
            return name
    raise OSError(errno.EADDRINUSE, os.strerror(errno.EADDRINUSE))


class _Heard(RecordUpdateListener):
    """What is heard of a host name: from ourselves, and from another machine."""

    def __init__(self, name: str, addresses: tuple[str, ...]) -> None:
        self._name = f"{name}."
        self._addresses = addresses
        self.ourselves = False
        self.another = asyncio.Event()

    def async_update_records(self, _zeroconf: Zeroconf, now: float, records: list[RecordUpdate]) -> None:
        """Take note of addresses that are announced under the name."""
        for record in (each.new for each in records):
            if (
                not isinstance(record, DNSAddress)
                or record.name.lower() != self._name
                or record.is_expired(now)
            ):
                continue
            family = socket.AF_INET if len(record.address) == 4 else socket.AF_INET6  # noqa: PLR2004 - bytes
            address = socket.inet_ntop(family, record.address)
            if address in self._addresses or is_this_machine(address):
                self.ourselves = True
            elif family == socket.AF_INET:
                self.another.set()
