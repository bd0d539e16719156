"""Accepts connections: from whom, how many, how often, and by TLS where there is a certificate.

asyncio's own server counts nothing, waits 60 s for a TLS handshake, and tells a protocol of a connection only
after it. So everything that limits is here, right after accept(2).
"""

import asyncio
import errno
import logging
import socket
import ssl
from collections.abc import Callable, Coroutine
from contextlib import suppress
from typing import Any

from api.network.addresses import BOARD, counted_as
from api.web.connections import Connection, ConnectionLimits
from api.web.problems.types import ProblemError
from api.web.protocol import RefusingProtocol
from api.web.rates import SteadyRate
from config.models.network import is_home_address

log = logging.getLogger(__name__)

# Connections that the kernel keeps until they are accepted.
BACKLOG = 256
# How long a client may take from the connection to the end of the TLS handshake, and to end it again.
HANDSHAKE_S = 10.0
SHUTDOWN_S = 2.0
# A pause where the process has no more files to open.
OUT_OF_FILES_S = 1.0
# Connections that are one too many and are told so; any more are cut off.
MOST_REFUSED = 64
# Twice as many as requests: who opens one for each is told that those are too many (RFC 6585, section 4).
CONNECTIONS_PER_S, CONNECTIONS_AT_ONCE = 20.0, 120
# The first byte of a TLS connection: a handshake record (RFC 8446, section 5.1).
_HELLO = b"\x16"

MakeProtocol = Callable[[Connection], asyncio.Protocol]


class Listener:
    """A socket that listens on one address; ``tls`` gives the context for it, None for plain http."""

    def __init__(
        self, bound: socket.socket, *, is_board: bool, tls: Callable[[], ssl.SSLContext | None] = lambda: None
    ) -> None:
        self.socket = bound
        self.is_board = is_board
        self.tls = tls


class Acceptor:
    """Accepts what comes in at listeners, and gives each connection a protocol.

    Args:
        make_protocol: called in the event loop for each connection that is let in.
    """

    def __init__(self, make_protocol: MakeProtocol, *, limits: ConnectionLimits | None = None) -> None:
        self._make_protocol = make_protocol
        self._loop = asyncio.get_running_loop()
        self._limits = limits or ConnectionLimits()
        self._rate = SteadyRate(per_s=CONNECTIONS_PER_S, burst=CONNECTIONS_AT_ONCE)
        self._opening: set[asyncio.Task[None]] = set()
        self._without_protocol: set[socket.socket] = set()
        self._refused = 0
        self._has_warned = False

    def add(self, listener: Listener) -> None:
        """Begin to accept at a listener."""
        self._loop.add_reader(listener.socket, self._accept, listener)

    def remove(self, listener: Listener) -> None:
        """Accept no more at a listener, and close it; what is open stays open."""
        self._loop.remove_reader(listener.socket)
        listener.socket.close()

    def cut_off_opening(self) -> None:
        """End the connections that are not open yet."""
        for task in self._opening:
            task.cancel()

    def _accept(self, listener: Listener) -> None:
        for _ in range(BACKLOG):
            try:
                line, peer = listener.socket.accept()
            except (BlockingIOError, InterruptedError, ConnectionAbortedError):
                return
            except OSError as error:
                if error.errno not in (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM):
                    raise
                # The kernel would report the socket as ready all the time.
                self._loop.remove_reader(listener.socket)
                self._loop.call_later(OUT_OF_FILES_S, self._accept_again, listener)
                return
            line.setblocking(False)  # noqa: FBT003 - as the socket has it
            self._let_in(line, peer[0], listener)

    def _accept_again(self, listener: Listener) -> None:
        if listener.socket.fileno() >= 0:
            self.add(listener)

    def _let_in(self, line: socket.socket, peer: str, listener: Listener) -> None:
        is_board = listener.is_board and peer in BOARD
        if not is_board and not is_home_address(peer.partition("%")[0]):
            self._warn_of(peer)
            line.close()
            return
        counted, now_s, tls = {} if is_board else counted_as(peer), self._loop.time(), listener.tls()
        if not is_board and self._rate.take(counted, now_s) > 0:
            line.close()
            return
        connection = self._limits.admit(counted, is_board=is_board, now_s=now_s)
        if connection is not None:
            connection.opened(line)
            task = self._run(line, self._open(line, connection, tls))
            connection.cut = task.cancel
        elif tls is None and self._refused < MOST_REFUSED:
            words = "as many connections as may be are open already; close some, or wait"
            self._run(line, self._refuse(line, ProblemError("too-busy", words)))
        else:
            line.close()

    def _run(self, line: socket.socket, work: Coroutine[None, None, None]) -> asyncio.Task[None]:
        """Do something about a connection, and close it at the end unless a protocol has it then."""
        self._without_protocol.add(line)
        task = self._loop.create_task(work)
        self._opening.add(task)

        def finish(_task: object) -> None:
            self._opening.discard(task)
            if line in self._without_protocol:
                self._without_protocol.remove(line)
                line.close()

        # A task that is cancelled before it has begun runs nothing of its own.
        task.add_done_callback(finish)
        return task

    async def _open(self, line: socket.socket, connection: Connection, tls: ssl.SSLContext | None) -> None:
        """Hand a connection over to a protocol of its own, which then takes note of its end."""
        try:
            async with asyncio.timeout(HANDSHAKE_S):
                if tls is not None and (first := await self._first_byte(line)) != _HELLO:
                    connection.end()
                    if first:
                        words = "this address is served by https; write https:// in place of http://"
                        await self._refuse(line, ProblemError("not-http", words))
                    return
                self._without_protocol.discard(line)
                by_tls: dict[str, Any] = {}
                if tls is not None:
                    by_tls = {
                        "ssl": tls,
                        "ssl_handshake_timeout": HANDSHAKE_S,
                        "ssl_shutdown_timeout": SHUTDOWN_S,
                    }
                await self._loop.connect_accepted_socket(
                    lambda: self._make_protocol(connection), line, **by_tls
                )
        except (OSError, TimeoutError):  # a handshake that failed is an OSError as well
            connection.end()
        except asyncio.CancelledError:
            connection.end()
            raise

    async def _first_byte(self, line: socket.socket) -> bytes:
        """Wait for the first byte, and leave it where it is; nothing where the client goes."""
        ready = self._loop.create_future()

        def note() -> None:
            if not ready.done():
                ready.set_result(None)

        self._loop.add_reader(line, note)
        try:
            await ready
        finally:
            self._loop.remove_reader(line)
        return line.recv(1, socket.MSG_PEEK)

    async def _refuse(self, line: socket.socket, problem: ProblemError) -> None:
        self._refused += 1

        def forget() -> None:
            self._refused -= 1

        self._without_protocol.discard(line)
        with suppress(OSError):
            await self._loop.connect_accepted_socket(lambda: RefusingProtocol(problem, forget), line)

    def _warn_of(self, peer: str) -> None:
        if not self._has_warned:
            self._has_warned = True
            log.warning(
                "refused a connection from %s, which is not of the home network; if the router forwards this "
                "port, stop that",
                peer,
            )
