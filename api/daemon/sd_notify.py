"""Reports to systemd, by sd_notify(3): ready, status, watchdog, reloading, stopping.

One datagram of lines ``NAME=value`` to the socket that systemd names. Without systemd every call does
nothing, and nothing here raises: lights do not depend on who listens.
"""

import os
import socket
import time
from collections.abc import Mapping

# How long a full socket is waited for; a lost WATCHDOG comes again with the next round.
_WAIT_S = 0.5


class Notifier:
    """Sends to the service manager, or to nobody; each method returns whether it was sent.

    Args:
        environment: NOTIFY_SOCKET is the path of the socket, ``@name`` for an abstract one; WATCHDOG_USEC and
            WATCHDOG_PID say whether the service manager waits for signs of life.
    """

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        address = environment.get("NOTIFY_SOCKET", "")
        if address.startswith("@"):
            address = "\0" + address[1:]
        self._address = os.fsencode(address) if address.startswith(("/", "\0")) else b""
        within_us, for_whom = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
        is_for_us = for_whom in ("", str(os.getpid()))
        self.has_watchdog = is_for_us and within_us.isdecimal() and int(within_us) > 0
        self._status = ""

    def ready(self, status: str = "") -> bool:
        """Report that the relays are right; also ends a reload."""
        return self._send("READY=1", *self._status_line(status))

    def status(self, text: str) -> bool:
        """Report the status in one line; the same text again is not sent."""
        return self._send(*self._status_line(text))

    def watchdog(self) -> bool:
        """Feed the watchdog: to be called after a completed round, from nowhere else."""
        return self.has_watchdog and self._send("WATCHDOG=1")

    def reloading(self) -> bool:
        """Report that the site file is being read again; ``ready`` ends it."""
        now_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
        return self._send("RELOADING=1", f"MONOTONIC_USEC={now_us}")

    def stopping(self, status: str = "") -> bool:
        """Report that the program ends."""
        return self._send("STOPPING=1", *self._status_line(status))

    def _status_line(self, text: str) -> tuple[str, ...]:
        line = " ".join(text.split())
        if not line or line == self._status:
            return ()
        self._status = line
        return (f"STATUS={line}",)

    def _send(self, *lines: str) -> bool:
        if not lines or not self._address:
            return False
        message = "\n".join(lines).encode(errors="replace")
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sender:
                sender.settimeout(_WAIT_S)
                return sender.sendto(message, self._address) == len(message)
        except OSError:
            self._status = ""
            return False
