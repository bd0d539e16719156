"""The connections that are open, and how many there may be: the board's own, each address's, all together."""

import select
import socket
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress

# A browser keeps six connections to one server.
MOST_OF_ADDRESS = 8
MOST_OF_HOME = 64
# Apart from those of the home network, so that nobody there keeps the board's own programs out.
MOST_OF_BOARD = 64
_HUNG_UP = select.POLLRDHUP | select.POLLHUP | select.POLLERR


class Connection:
    """One connection, from the moment at which it was accepted.

    Attributes:
        is_board: whether it comes from the board itself.
        since_s: since when it waits for its client, where it does.
        is_waiting: whether it waits for its client: for a request, or for a response to be read.
        cut: ends it at once.
    """

    def __init__(
        self, limits: "ConnectionLimits", counted: Mapping[str, int], *, is_board: bool, now_s: float
    ) -> None:
        self.is_board = is_board
        self.since_s = now_s
        self.is_waiting: Callable[[], bool] = lambda: True
        self.cut: Callable[[], object] = lambda: None
        self.counted = counted
        self._limits = limits
        self._socket: socket.socket | None = None
        self._on_gone: list[Callable[[], object]] = []
        self._has_ended = False

    def opened(self, line: socket.socket) -> None:
        """Take note of the socket, to look at whether the client has hung up."""
        self._socket = line

    def on_gone(self, call: Callable[[], object]) -> Callable[[], None]:
        """Have something called once the client has gone; returns what takes that back."""
        self._on_gone.append(call)

        def forget() -> None:
            with suppress(ValueError):
                self._on_gone.remove(call)

        return forget

    def is_gone(self) -> bool:
        """Whether the client has gone, as far as this machine knows; from any thread.

        The kernel is asked: while a request is answered nothing is read, and so no end is noticed.
        """
        if self._has_ended or self._socket is None or (fd := self._socket.fileno()) < 0:
            return self._has_ended or self._socket is not None
        poll = select.poll()
        poll.register(fd, _HUNG_UP)
        return any(events & _HUNG_UP for _, events in poll.poll(0))

    def leave_limits(self) -> None:
        """Count no longer: it has ended, or others limit what it is used for."""
        self._limits.forget(self)

    def end(self) -> None:
        """Take note that it has ended."""
        self._has_ended = True
        self.leave_limits()
        calls, self._on_gone = self._on_gone, []
        for call in calls:
            call()


class ConnectionLimits:
    """Counts the open connections, and lets in as many as there may be."""

    def __init__(
        self,
        *,
        most_of_board: int = MOST_OF_BOARD,
        most_of_home: int = MOST_OF_HOME,
        most_of_address: int = MOST_OF_ADDRESS,
    ) -> None:
        self._most = {True: most_of_board, False: most_of_home}
        self._most_of_address = most_of_address
        self._open: dict[bool, set[Connection]] = {True: set(), False: set()}
        self._of_address: Counter[str] = Counter()

    def admit(self, counted: Mapping[str, int], *, is_board: bool, now_s: float) -> Connection | None:
        """Count one more connection; None where there are too many.

        Where all together are too many, the one that has waited longest for its client gives way: whoever
        opens connections and asks nothing keeps nobody out.

        ``counted`` is what it counts for, by ``addresses.counted_as``; nothing for the board itself.
        """
        if any(self._of_address[key] >= times * self._most_of_address for key, times in counted.items()):
            return None
        there = self._open[is_board]
        if len(there) >= self._most[is_board]:
            idle = min((each for each in there if each.is_waiting()), key=_since, default=None)
            if idle is None:
                return None
            idle.leave_limits()
            idle.cut()
        connection = Connection(self, counted, is_board=is_board, now_s=now_s)
        there.add(connection)
        self._of_address.update(counted.keys())
        return connection

    def forget(self, connection: Connection) -> None:
        """Count a connection no longer; once is enough."""
        if connection in (there := self._open[connection.is_board]):
            there.remove(connection)
            for key in connection.counted:
                self._of_address[key] -= 1
                if not self._of_address[key]:
                    del self._of_address[key]


def _since(connection: Connection) -> float:
    return connection.since_s
