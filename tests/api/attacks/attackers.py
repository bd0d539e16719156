"""What hostile pages, guests and programs do to the web server, over real sockets: one function an attack.

Of the server they know the port alone, so that they attack a server of the tests and a daemon alike. Each
gives what it was answered; None stands for a connection that was cut. 127.0.0.2 and beyond stand for machines
of the home network.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from api.web.hub import MOST_STREAMS
from tests.api.event_stream import Client
from tests.api.lines import connect, many, wait_for_ends

BOARD, PHONE, GUEST = "127.0.0.1", "127.0.0.2", "127.0.0.3"
EVENT_STREAM = "text/event-stream; charset=utf-8"
JSON = {"Content-Type": "application/json"}
HEAVY = ("/v1/hours", "/v1/year.svg", "/v1/report/2027-summer")
# Of a zone that every site under attack has.
ZONE = "/v1/zones/jetty"
OVERRIDE = {"light": "off", "for": "1h"}
# What a script of a page elsewhere sends: where the browser says so, and over plain http, where it does not.
CROSS_SITE = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "image"}
SLOW_HEAD = b"GET /health HTTP/1.1\r\nHost: local"
SLOW_BODY = (
    b"PUT /health HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n1"
)
# A client hello that never ends (RFC 8446, section 5.1).
HALF_HELLO = b"\x16\x03\x01\x02\x00\x01\x00"
MILLION = 1_000_000


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What was answered; ``document`` is None where it is no JSON."""

    status: int
    headers: http.client.HTTPMessage
    document: Any

    @property
    def problem(self) -> str | None:
        """The type of problem."""
        found = self.document if isinstance(self.document, dict) else {}
        return str(found["type"]).removeprefix("/problems/") if "type" in found else None


def request(method: str, path: str, body: bytes | object = None, **headers: str) -> bytes:
    """Write a request; ``body`` is sent as JSON where it is not bytes, and ``Host`` may be another."""
    content = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
    lines = {"Host": "localhost", **{name.replace("_", "-"): value for name, value in headers.items()}}
    if body is not None:
        lines = {"Content-Length": str(len(content)), **JSON, **lines}
    head = "\r\n".join([f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in lines.items())])
    return f"{head}\r\n\r\n".encode() + content


def read(line: socket.socket, method: str = "GET") -> Answer | None:
    """Read an answer; None where the connection is cut."""
    response = http.client.HTTPResponse(line, method=method)
    try:
        response.begin()
        # An event stream does not end.
        content = b"" if response.getheader("content-type") == EVENT_STREAM else response.read()
    except (OSError, http.client.HTTPException):
        return None
    is_json = "json" in response.headers.get("content-type", "")
    document = json.loads(content) if is_json and content else None
    return Answer(status=response.status, headers=response.headers, document=document)


def ask(server, method: str, path: str, body=None, *, source=BOARD, **headers: str) -> Answer | None:
    """Send one request, and read the answer; None where the connection is cut."""
    try:
        with connect(server, source=source) as line:
            line.sendall(request(method, path, body, **headers))
            return read(line, method)
    except OSError:
        return None


@contextlib.contextmanager
def heavy_gets(server, count: int = 60, **headers: str) -> Iterator[list[socket.socket]]:
    """Have a browser on the board ask long questions, all at once; it hangs up in the end."""
    with contextlib.ExitStack() as opened:
        lines = []
        for number in range(count):
            line = opened.enter_context(connect(server))
            with contextlib.suppress(ConnectionError):
                line.sendall(request("GET", HEAVY[number % len(HEAVY)], **headers))
            lines.append(line)
        yield lines


def cross_site_gets(server) -> list[Answer | None]:
    """Sixty heavy requests of another site's page, with and without Fetch metadata, and as many hung up."""
    found = []
    for headers in (CROSS_SITE, {"Origin": "https://garden.example"}):
        with heavy_gets(server, **headers):
            pass
        with heavy_gets(server, **headers) as lines:
            found += [read(line) for line in lines]
    return found


def bare_gets(server) -> list[Answer | None]:
    """Sixty heavy requests that say nothing of where they come from; half of them are hung up on."""
    with heavy_gets(server) as lines:
        return [read(line) for line in lines[30:]]


def hang_up_on_a_change(server, source: str = BOARD, then: bytes = b"", **headers: str) -> None:
    """Ask for a change, and hang up before it is answered."""
    with contextlib.suppress(ConnectionError), connect(server, source=source) as line:
        line.sendall(request("PUT", f"{ZONE}/override", OVERRIDE, **headers) + then)


def overwrite_unseen(server) -> list[Answer | None]:
    """Change what another phone may have changed: with an ETag of before, and with none by the page."""
    page = {"Origin": "http://localhost"}
    body = {"program": ["dusk to 22:00"]}
    return [
        ask(server, "PUT", f"{ZONE}/program", body, If_Match='"stale"', **page),
        ask(server, "PUT", f"{ZONE}/program", body, **page),
    ]


def come_from_elsewhere(server) -> list[Answer | None]:
    """Ask by the name of another host, from a page without an origin, from another port of this machine."""
    path = f"{ZONE}/override"
    return [
        ask(server, "GET", "/v1/status", Host="garden.example"),
        ask(server, "PUT", path, OVERRIDE, Origin="null"),
        ask(server, "PUT", path, OVERRIDE, Origin="http://localhost:9999", Sec_Fetch_Site="same-site"),
    ]


def send_other_types(server) -> list[Answer | None]:
    """Send what a form can send."""
    types = ("application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "text/plain")
    body = json.dumps(OVERRIDE).encode()
    return [ask(server, "PUT", f"{ZONE}/override", body, **{"Content-Type": each}) for each in types]


def send_ambiguous_json(server) -> list[Answer | None]:
    """Send what two readers of JSON may understand differently."""
    bodies = (json.dumps(OVERRIDE).encode("utf-16"), b'{"light": "off", "light": "on"}')
    return [ask(server, "PUT", f"{ZONE}/override", body) for body in bodies]


def send_too_much(server) -> list[Answer | None]:
    """Send a body of 65 KiB, announce one of 10 GB, and send a header of 200 kB."""
    path = f"{ZONE}/override"
    with connect(server) as line:
        announced = request("PUT", path, b"", Expect="100-continue", **{"Content-Length": "10000000000"})
        line.sendall(announced)
        # Nothing of the body is sent: it is answered without.
        huge = read(line, "PUT")
    return [
        ask(server, "PUT", path, b" " * 65 * 1024),
        huge,
        ask(server, "GET", "/v1/status", Cookie="x" * 200_000),
    ]


@contextlib.contextmanager
def slow_ones(server, count: int, *, encrypted: str | None = None) -> Iterator[list[socket.socket]]:
    """Open connections that never finish a head, a body or a TLS handshake, of 25 addresses and of one more.

    Args:
        server: what is attacked.
        count: how many there are of each kind from one address.
        encrypted: an address that is served by TLS.
    """
    kinds = [(SLOW_HEAD, BOARD), (SLOW_BODY, BOARD)]
    if encrypted is not None:
        kinds += [(HALF_HELLO, encrypted), (b"", encrypted)]
    with contextlib.ExitStack() as opened:
        lines: list[socket.socket] = []
        for number, (said, to) in enumerate(kinds):
            for each in range(0, 200, 8):
                few = many(server, 8, source=f"127.0.{10 + number}.{each + 1}", to=to, said=said)
                lines += opened.enter_context(few)
            lines += opened.enter_context(
                many(server, count, source=f"127.0.20.{number + 1}", to=to, said=said)
            )
        yield lines


def be_slow(server, *, encrypted: str, count: int = 100) -> None:
    """Open connections that never finish what they begin, and wait until the server ends them."""
    with slow_ones(server, count, encrypted=encrypted) as lines:
        wait_for_ends(lines)


def be_idle(server) -> list[Answer | None]:
    """Open 66 connections from one address that say nothing, and ask by one from another."""
    with many(server, 66, source="127.0.0.66"):
        return [ask(server, "GET", "/v1/access", source=PHONE)]


def change_often(server, token: str, count: int = 31) -> list[Answer | None]:
    """Ask for one change after the other."""
    bearer = {"Authorization": f"Bearer {token}"}
    return [ask(server, "DELETE", f"{ZONE}/override", source=GUEST, **bearer) for _ in range(count)]


def pair(server, scope: str, name: str = "kitchen phone") -> dict[str, Any]:
    """Let a device in, with a code of the board; gives its token, and the token's id."""
    made = ask(server, "POST", "/v1/access/codes", {"scope": scope})
    assert made is not None
    assert made.status == 201, made.document
    found = ask(
        server, "POST", "/v1/access/tokens", {"code": made.document["code"], "name": name}, source=PHONE
    )
    assert found is not None
    assert found.status == 201, found.document
    paired: dict[str, Any] = found.document
    return paired


def use_bad_tokens(server, *, good: str, revoked: str, read_only: str) -> list[Answer | None]:
    """Show a good token in the query, one that was revoked, and one for reading to change something."""
    return [
        *(
            ask(server, "GET", f"/v1/status?{name}={good}", source=PHONE)
            for name in ("access_token", "token")
        ),
        ask(server, "GET", "/v1/status", source=PHONE, Authorization=f"Bearer {revoked}"),
        ask(server, "PUT", f"{ZONE}/override", OVERRIDE, source=PHONE, Authorization=f"Bearer {read_only}"),
    ]


def plant_a_session(server, token: str) -> tuple[str, list[Answer | None]]:
    """Set a cookie before somebody signs in, and use it before and after.

    Returns:
        The cookie that the sign-in gave; what the planted one was answered before and after it, and that one.
    """
    first = ask(server, "POST", "/v1/access/session", {"token": token}, source=PHONE)
    assert first is not None
    name = first.headers["set-cookie"].split("=")[0]
    planted = f"{name}={'x' * 43}"
    before = ask(server, "GET", "/v1/status", source=PHONE, Cookie=planted)
    signed_in = ask(server, "POST", "/v1/access/session", {"token": token}, source=PHONE, Cookie=planted)
    assert signed_in is not None
    cookie = signed_in.headers["set-cookie"].split(";")[0]
    after = [ask(server, "GET", "/v1/status", source=PHONE, Cookie=each) for each in (planted, cookie)]
    return cookie, [before, *after]


def fill_the_streams(server, last_id: str, hold_s: float = 3.0) -> list[Answer | None]:
    """Take every event stream there is and read none for a while, and ask for a head and for one more."""
    with contextlib.ExitStack() as opened:
        for _ in range(MOST_STREAMS):
            opened.enter_context(Client(server, small=True, last_id=last_id))
        time.sleep(hold_s)
        return [ask(server, method, "/v1/events") for method in ("HEAD", "GET")]


class Siege:
    """Attacks again and again, each in a thread of its own, until it is over.

    Attributes:
        answers: what each attack was answered, by its name.
        rounds: how often each was made.
    """

    def __init__(self) -> None:
        self.answers: dict[str, list[Answer | None]] = {}
        self.rounds: Counter[str] = Counter()
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []

    def attack(self, work: Callable[..., list[Answer | None] | None], *args: Any, **more: Any) -> None:
        """Begin an attack, which is known by the name of its function."""
        name = work.__name__
        self.answers[name] = []

        def run() -> None:
            while not self._over.is_set():
                # A connection that the server cuts is what an attack may end with.
                with contextlib.suppress(OSError):
                    self.answers[name] += work(*args, **more) or []
                self.rounds[name] += 1

        self._threads.append(threading.Thread(target=run, name=name, daemon=True))
        self._threads[-1].start()

    def end(self) -> None:
        """Let every attack come to its end."""
        self._over.set()
        for each in self._threads:
            each.join()


def besiege(server, *, encrypted: str) -> Siege:
    """Begin every attack of the table at once.

    Args:
        server: what is attacked.
        encrypted: its address that is served by TLS.
    """
    good, revoked, reader = (pair(server, scope) for scope in ("control", "control", "read"))
    revocation = ask(server, "DELETE", f"/v1/access/tokens/{revoked['id']}")
    assert revocation is not None
    assert revocation.status == 204
    with Client(server).begin() as client:
        last_id = client.next().last_id
    siege = Siege()
    for work in (
        *(cross_site_gets, bare_gets, hang_up_on_a_change, overwrite_unseen, come_from_elsewhere),
        *(send_other_types, send_ambiguous_json, send_too_much),
    ):
        siege.attack(work, server)
    siege.attack(be_slow, server, encrypted=encrypted)
    siege.attack(be_idle, server)
    siege.attack(change_often, server, good["token"])
    siege.attack(
        use_bad_tokens, server, good=good["token"], revoked=revoked["token"], read_only=reader["token"]
    )
    siege.attack(fill_the_streams, server, last_id)
    return siege
