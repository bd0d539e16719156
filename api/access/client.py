"""Who sends a request: the board itself, or somebody on the home network; and what they may do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from api.access.credentials import Credential, Kind, Scope

# The program that the command line sends in User-Agent: its changes are named as such.
COMMAND_LINE_AGENT = "leerie-command-line"
COMMAND_LINE = "the command line"
THIS_BOARD = "this board"

# Each exactly as the kernel gives it. The rest of 127.0.0.0/8 is not used by programs of this machine unless
# they choose to; the tests let it stand for the home network.
_LOOPBACK = frozenset({"127.0.0.1", "::1"})
_FORWARDING = frozenset({b"forwarded", b"via", b"x-real-ip"})


class ClientKind(StrEnum):
    """Where a request comes from."""

    BOARD = "board"
    HOME = "home"


@dataclass(frozen=True, kw_only=True, slots=True)
class Client:
    """Who sends a request, and what they may do.

    Attributes:
        address: of the peer; that of a reverse proxy, where there is one.
        name: for the log and the journal: what a person called the device, else “this board”, “command
            line”, or the address.
        scope: what it may do; None where it has shown no permission.
        token_id, session_id: the public id of the token or the session that it has shown.
    """

    kind: ClientKind
    address: str
    name: str
    scope: Scope | None = None
    token_id: str | None = None
    session_id: str | None = None

    @property
    def may_read(self) -> bool:
        """Whether it may read everything."""
        return self.scope in (Scope.READ, Scope.CONTROL)

    @property
    def may_control(self) -> bool:
        """Whether it may change something."""
        return self.scope is Scope.CONTROL

    @classmethod
    def of_board(cls, address: str, user_agent: str = "") -> Client:
        """Make the client of a program on this board, which may do everything."""
        name = COMMAND_LINE if user_agent.startswith(COMMAND_LINE_AGENT) else THIS_BOARD
        return cls(kind=ClientKind.BOARD, address=address, name=name, scope=Scope.CONTROL)

    @classmethod
    def with_credential(cls, kind: ClientKind, address: str, shown: Credential) -> Client:
        """Make the client that has shown a token or a session: that alone says what it may do."""
        ids = {"session_id": shown.id} if shown.kind is Kind.SESSION else {"token_id": shown.id}
        return cls(kind=kind, address=address, name=shown.name, scope=shown.scope, **ids)


def client_kind(
    peer: tuple[str, int] | None, server: tuple[str, int | None] | None, header_names: Iterable[bytes]
) -> ClientKind:
    """Say whether a request comes from the board itself.

    That is a connection from and to 127.0.0.1 or ::1, or over a Unix socket, which no proxy passed on: a
    proxy on this board connects from it too, whoever is behind it. What it sends to another address of the
    board, such as 127.0.0.2, is never the board's own, whatever headers it adds or leaves out.

    Args:
        peer: of the connection, as ASGI has it; a Unix socket has none. Nor has a TCP connection that the
            client reset at once, which counts as the home network's.
        server: its other end; that of a Unix socket has no port.
        header_names: of the request, in small letters.
    """
    is_unix = peer is None and server is not None and server[1] is None
    ends = () if is_unix else (peer, server or peer)
    if any(end is None or end[0] not in _LOOPBACK for end in ends):
        return ClientKind.HOME
    was_forwarded = any(name in _FORWARDING or name.startswith(b"x-forwarded") for name in header_names)
    return ClientKind.HOME if was_forwarded else ClientKind.BOARD
