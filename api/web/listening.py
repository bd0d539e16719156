"""The addresses that the web server listens on, kept as the site file and the network have them now."""

import errno
import logging
import socket
import ssl
from collections.abc import Callable
from datetime import datetime

from api.network.addresses import BOARD, addresses_to_open, url_of
from api.network.certificate import CertificateFiles
from api.network.discovery import WISH, Announcement, Discovery, can_be_announced
from api.render.network_json import NetworkResponse
from api.web.accepting import BACKLOG, Acceptor, Listener
from config.models.network import NetworkSettings
from config.phrase import Phrase

log = logging.getLogger(__name__)

# How often this machine's addresses and the files of the certificate are looked at.
LOOK_S = 5.0
PLAIN = (
    "whoever is in the home network can read along, codes and tokens included; for https, write "
    "certificate and key under [network]"
)
_FIRST_FREE_PORT = 1024


class Listening:
    """Listens on the board's own address always, and on those of the home network that the site file opens.

    Args:
        settings: gives the site file's table as it is now.
        port: in place of the site file's; 0 takes any that is free.
        now_utc: gives the time, for the certificate; None while the clock is not trusted.
        on_home: called with the best address of the home network, whenever that is another.

    Attributes:
        status: what is served now; may be read from any thread.
    """

    def __init__(
        self,
        settings: Callable[[], NetworkSettings] = NetworkSettings,
        *,
        port: int | None = None,
        now_utc: Callable[[], datetime | None] = lambda: None,
        on_home: Callable[[str], object] = lambda _url: None,
    ) -> None:
        self._settings = settings
        self._port = port
        self._now_utc = now_utc
        self._on_home = on_home
        self._acceptor: Acceptor | None = None
        self._board: Listener | None = None
        self._board_as = 0  # the port as it was asked for
        self._home: dict[str, Listener] = {}
        self._used: NetworkSettings | None = None
        self._files: CertificateFiles | None = None
        self._look_at_s = 0.0
        self._discovery = Discovery()
        self._told: tuple[str | None, str | None] = None, None
        self.status = self._describe([])

    @property
    def port(self) -> int:
        """The port that is served, or will be."""
        if self._board is not None and self._board.socket.fileno() >= 0:
            return int(self._board.socket.getsockname()[1])
        return self._wanted_port()

    @property
    def names(self) -> tuple[str, ...]:
        """The names of this machine beside those that it knows of itself."""
        found_as = self._discovery.name
        return (*(() if found_as is None else (found_as,)), *self._given_names())

    # In the web server's own thread.

    def bind(self) -> None:
        """Take the board's own address; raises OSError."""
        self._board = Listener(_bind(BOARD[0], self._wanted_port()), is_board=True)
        self._board_as = self.port
        if self._port == 0:
            self._port = self._board_as  # to be found there again after a fault

    def start(self, acceptor: Acceptor) -> None:
        """Begin to accept, and open what else there is to open."""
        assert self._board is not None
        self._acceptor = acceptor
        acceptor.add(self._board)
        log.info("listening on %s", url_of(BOARD[0], self.port))
        self._look()

    def follow(self, now_s: float) -> None:
        """Open and close addresses where something has changed; call this every second or so."""
        is_news = self._told != (self._discovery.name, self._discovery.fault)
        if is_news or self._settings() is not self._used or now_s >= self._look_at_s:
            self._look_at_s = now_s + LOOK_S
            self._look()

    def close(self) -> None:
        """Listen no more; connections stay open."""
        self._discovery.close()
        for listener in (*self._home.values(), *filter(None, (self._board,))):
            if self._acceptor is None:
                listener.socket.close()
            else:
                self._acceptor.remove(listener)
        self._home, self._board, self._acceptor, self._used = {}, None, None, None

    def _look(self) -> None:
        settings, faults = self._settings(), list[str]()
        if settings is not self._used:
            if self._used is None or _certificate_of(settings) != _certificate_of(self._used):
                self._files = CertificateFiles.of(settings)
            self._used = settings
        try:
            if self._wanted_port() != self._board_as:
                self._change_port(faults)
            self._open_home(self._look_at_certificate(faults), faults)
            self._discovery.announce(self._announcement())
        except Exception as error:  # noqa: BLE001 - no fault of the home network may end what the board has
            reason = f"{type(error).__name__}: {error}"
            faults.append(Phrase("the home network is not served: {reason}", reason=reason))
        (found_as, fault), told_as = (self._discovery.name, self._discovery.fault), self._told[0]
        self._told = found_as, fault
        faults += [] if fault is None else [fault]
        before, self.status = self.status, self._describe(faults)
        for fault in faults:
            if fault not in before.faults:
                log.error("network: %s", fault)
        if found_as is not None and found_as != told_as:
            log.info("announced to the home network as %s", self._url(found_as))
        if self.status.home and not before.home and not self.status.encrypted:
            log.info("plain http: %s", PLAIN)
        if self.status.home and self.status.home[:1] != before.home[:1]:
            self._on_home(self.status.home[0])

    def _change_port(self, faults: list[str]) -> None:
        """Serve another port; the old one until that is possible."""
        assert self._acceptor is not None
        assert self._board is not None
        wanted = self._wanted_port()
        try:
            board = Listener(_bind(BOARD[0], wanted), is_board=True)
        except OSError as error:
            faults.append(
                Phrase(
                    "{fault}; port {port} is served until then",
                    fault=explain(error, BOARD[0], wanted),
                    port=str(self.port),
                )
            )
            return
        for listener in (self._board, *self._home.values()):
            self._acceptor.remove(listener)
        self._board, self._board_as, self._home = board, wanted, {}
        self._acceptor.add(board)
        log.info("listening on %s", url_of(BOARD[0], self.port))

    def _look_at_certificate(self, faults: list[str]) -> list[str]:
        """Give the addresses that may be opened: none without the certificate that was asked for."""
        wanted = [each for each in addresses_to_open(self._settings()) if each not in BOARD]
        if self._files is None or not wanted:
            return wanted
        self._files.look()
        certificate, now_utc = self._files.certificate, self._now_utc()
        if self._files.fault is not None:
            closed = Phrase("{fault}; until then the home network is not served", fault=self._files.fault)
            faults.append(self._files.fault if certificate else closed)
        elif certificate is not None and now_utc is not None and (fault := certificate.fault_at(now_utc)):
            faults.append(fault)
        return [] if certificate is None else wanted

    def _open_home(self, wanted: list[str], faults: list[str]) -> None:
        assert self._acceptor is not None
        for address in [each for each in self._home if each not in wanted]:
            self._acceptor.remove(self._home.pop(address))
            log.info("no longer listening on %s", self._url(address))
        for address in wanted:
            if address in self._home:
                continue
            try:
                bound = _bind(address, self.port)
            except OSError as error:
                faults.append(explain(error, address, self.port))
                continue
            self._home[address] = listener = Listener(bound, is_board=False, tls=self._tls)
            self._acceptor.add(listener)
            log.info("listening on %s", self._url(address))
        # In the order of the best.
        self._home = {each: self._home[each] for each in wanted if each in self._home}

    def _tls(self) -> ssl.SSLContext | None:
        if self._files is None:
            return None
        # Where there is none, nothing is open but the board's own address.
        assert self._files.certificate is not None
        return self._files.certificate.context

    def _given_names(self) -> tuple[str, ...]:
        certificate = None if self._files is None else self._files.certificate
        return (*self._settings().names, *(() if certificate is None else certificate.names))

    def _announcement(self) -> Announcement | None:
        addresses = tuple(filter(can_be_announced, self._home))
        if not addresses or not self._settings().discovery:
            return None
        wish = next(filter(_is_announced, self._given_names()), WISH)
        encrypted = self._files is not None
        return Announcement(wish=wish, addresses=addresses, port=self.port, encrypted=encrypted)

    def _describe(self, faults: list[str]) -> NetworkResponse:
        encrypted, found_as = self._files is not None, self._discovery.name
        hosts = [each for each in self._home if not each.startswith("fe80:")]
        given = [each for each in dict.fromkeys(self._given_names()) if not each.startswith("*.")]
        if self._announcement() is not None:  # the others may lead to another machine
            given = [each for each in given if each == found_as or not _is_announced(each)]
        found = [] if found_as is None or found_as in given else [found_as]
        home = [*given, *hosts, *found] if encrypted else [*hosts, *found, *given]
        return NetworkResponse(
            board=url_of(BOARD[0], self.port),
            home=[self._url(each) for each in home] if self._home else [],
            encrypted=encrypted,
            faults=faults,
        )

    def _url(self, host: str) -> str:
        return url_of(host, self.port, encrypted=self._files is not None)

    def _wanted_port(self) -> int:
        return self._settings().port if self._port is None else self._port


def explain(error: OSError, address: str, port: int) -> str:
    """Say why an address cannot be listened on, and what to do."""
    place = Phrase("port {port} on {address}", port=str(port), address=address)
    if error.errno == errno.EADDRINUSE:
        return Phrase(
            "{place} is in use by another program; stop that one, or choose another port", place=place
        )
    if error.errno in (errno.EADDRNOTAVAIL, errno.EINVAL, errno.ENODEV):
        return Phrase("this machine has no address {address} now; it is opened once it has", address=address)
    if error.errno in (errno.EACCES, errno.EPERM):
        return Phrase(
            "{place} is not permitted; choose a port from {first} on",
            place=place,
            first=str(_FIRST_FREE_PORT),
        )
    reason = (error.strerror or str(error)).lower()
    return Phrase("{place} is not served: {reason}", place=place, reason=reason)


def _bind(address: str, port: int) -> socket.socket:
    family, kind, _, _, place = socket.getaddrinfo(
        address, port, type=socket.SOCK_STREAM, flags=socket.AI_NUMERICHOST
    )[0]
    # With the protocol named asyncio turns Nagle off; else a response may wait 40 ms for an ACK.
    bound = socket.socket(family, kind, socket.IPPROTO_TCP)
    try:
        # Connections of an earlier run that are still closing do not keep the port taken.
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            bound.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        bound.bind(place)
        bound.listen(BACKLOG)
        bound.setblocking(False)  # noqa: FBT003 - as the socket has it
    except OSError:
        bound.close()
        raise
    return bound


def _is_announced(name: str) -> bool:
    """Whether a name is one of multicast DNS (RFC 6762, section 3), which its machine announces itself."""
    return name.endswith(".local") and not name.startswith("*.")


def _certificate_of(settings: NetworkSettings) -> tuple[str | None, str | None]:
    return settings.certificate, settings.key
