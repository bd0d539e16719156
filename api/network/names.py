"""The names that this machine answers to: a page that points a name of its own here gets nothing.

Source: RFC 9110, section 7.2; a request's Host is the name in the address bar of the page that sent it.
"""

import re
import socket
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from ipaddress import IPv6Address
from typing import Any

from api.access.client import ClientKind, client_kind
from api.network.addresses import is_this_machine

# The board, as its own programs call it. Nobody in the network can point one of these anywhere else, so only
# these count for requests that need no permission.
OF_BOARD = frozenset({"localhost", "127.0.0.1", "::1"})
_HOST = re.compile(r"(?:\[([0-9a-f:.]+)\]|([a-z0-9._-]*[a-z0-9_-])\.?)(?::[0-9]{1,5})?\Z", re.ASCII)
_IS_IPV4 = re.compile(r"[0-9]{1,3}(?:\.[0-9]{1,3}){3}\Z", re.ASCII)


class OwnHosts:
    """Decides which hosts are this machine; ``names`` gives what the site file adds, in small letters."""

    def __init__(
        self,
        names: Callable[[], Iterable[str]] = tuple,
        *,
        hostname: Callable[[], str] = socket.gethostname,
    ) -> None:
        self._names = names
        self._hostname = hostname

    def allows(self, header: str, scope: Mapping[str, Any]) -> bool:
        """Whether a Host header names this machine, for a request with that ASGI scope."""
        host = read_host(header)
        if host is None or host in OF_BOARD:
            return host is not None
        if _is_of_board(scope):
            return False
        if ":" in host or _IS_IPV4.match(host):
            local = scope.get("server")
            # The address at which it arrived is this machine's; the kernel knows its others.
            return (local is not None and host == local[0].partition("%")[0]) or is_this_machine(host)
        return host in self._own_names()

    def listed(self, scope: Mapping[str, Any]) -> list[str]:
        """List what may be written in place of a name that is not ours."""
        names = set() if _is_of_board(scope) else self._own_names()
        return sorted({"127.0.0.1", "[::1]", "localhost", *names})

    def _own_names(self) -> set[str]:
        hostname = self._hostname().lower()
        short = hostname.partition(".")[0]
        return {hostname, short, f"{short}.local", *self._names()} - {""}


def _is_of_board(scope: Mapping[str, Any]) -> bool:
    names = (name for name, _ in scope["headers"])
    return client_kind(scope.get("client"), scope.get("server"), names) is ClientKind.BOARD


def read_host(header: str) -> str | None:
    """Read a Host header: the name or address in one spelling, without port; None where it is no host."""
    found = _HOST.match(header.lower())
    if found is None:
        return None
    literal, name = found.groups()
    if literal is None:
        return str(name)
    with suppress(ValueError):
        return str(IPv6Address(literal))
    return None
