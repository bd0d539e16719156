"""How the home network finds this machine by a name: announced by multicast DNS, under the first free name.

A host name of our own is announced, ``leerie.local``. The machine's name is left to whatever sets it: where
avahi or systemd-resolved announces ``<hostname>.local``, that leads here as well.
"""

import asyncio
import logging
import random
from dataclasses import dataclass
from ipaddress import ip_address

from config.phrase import Phrase

log = logging.getLogger(__name__)

WISH = "leerie.local"
# Where it does not work it is tried again after so long.
AGAIN_S = 60.0
# Two machines that claim one name both give it up for a while that differs, up to here the first time and
# twice as long each further time.
GIVEN_UP_S, LONGEST_GIVEN_UP_S = 5.0, 600.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Announcement:
    """What the home network is told.

    Attributes:
        wish: the host name to have; where another machine has it, a number is added.
        addresses: of this machine, without link-local ones of IPv6, whose meaning depends on the interface.
        encrypted: whether https is served.
    """

    wish: str
    addresses: tuple[str, ...]
    port: int
    encrypted: bool


class Discovery:
    """Keeps this machine announced, in the event loop of whoever calls; no fault of it goes further.

    Attributes:
        name: the host name that it has now, such as ``leerie-2.local``; None where it has none.
        fault: why it cannot be found by name, and what to do; None where it can, or need not.
    """

    def __init__(self) -> None:
        self.name: str | None = None
        self.fault: str | None = None
        self._wanted: Announcement | None = None
        self._task: asyncio.Task[None] | None = None

    def announce(self, wanted: Announcement | None) -> None:
        """Announce this from now on, None for nothing; call it as often as you like."""
        if wanted == self._wanted:
            return
        before = self.close()
        self._wanted = wanted
        if wanted is not None:
            self._task = asyncio.get_running_loop().create_task(self._keep_announced(wanted, before))

    def close(self) -> "asyncio.Task[None] | None":
        """Say goodbye, in the background; gives what still does so, if anything."""
        task, self._task, self._wanted, self.name, self.fault = self._task, None, None, None, None
        if task is not None:
            task.cancel()
        return task

    async def _keep_announced(self, wanted: Announcement, before: "asyncio.Task[None] | None") -> None:
        if before is not None:
            await asyncio.wait([before])
        given_up_s = GIVEN_UP_S
        while self._task is asyncio.current_task():
            try:
                # Imported by the first who is to be found: the library takes 3 MB.
                from api.network.responder import announce_until_claimed  # noqa: PLC0415

                await announce_until_claimed(wanted, self._note_name)
                self.name = None
                wait_s = random.uniform(0, given_up_s)  # noqa: S311
                given_up_s = min(2 * given_up_s, LONGEST_GIVEN_UP_S)
            except Exception as error:
                log.debug("multicast DNS failed", exc_info=True)
                reason = error.strerror if isinstance(error, OSError) else None
                self._note_fault(reason or f"{type(error).__name__}: {error}")
                wait_s = AGAIN_S
            await asyncio.sleep(wait_s)

    def _note_fault(self, reason: str) -> None:
        if self._task is asyncio.current_task():
            self.name = None
            self.fault = Phrase(
                "the home network cannot find this machine by name: {reason}; use an address", reason=reason
            )

    def _note_name(self, name: str) -> None:
        self.name, self.fault = name, None


def can_be_announced(address: str) -> bool:
    """Whether another machine could use an address: not that of a proxy on this machine."""
    return "%" not in address and not ip_address(address).is_loopback
