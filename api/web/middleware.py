"""The guard at the web server's door: who may ask, how much they may send, and how long they may take.

A service on this machine can be reached by every page in a browser on it. Three things keep such a page out:
the name that the request was sent to must be this machine's own (a page whose name was pointed here has its
own name there), what changes anything must not come from another site's page, and it must be JSON, which a
plain form cannot send. Sources: Fetch Metadata Request Headers (W3C), section 2; Fetch (WHATWG), the header
Origin; RFC 9110, section 7.2.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.render.instants import quote
from api.web.problems.handlers import methods_at, problem_response
from api.web.problems.types import KINDS

log = logging.getLogger(__name__)

ALLOWED_HOSTS = ("localhost", "127.0.0.1", "[::1]")
LARGEST_BODY_BYTES = 64 * 1024
# A body that is too large is thrown away up to here, so that the answer arrives before the line is cut.
READ_ON_BYTES = 1024 * 1024
_TOO_LARGE = f"the body is larger than {LARGEST_BODY_BYTES // 1024} kB; a program is a few lines"
# How long a body may take to arrive.
RECEIVE_S = 10.0

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_WITH_BODY = frozenset({"PUT", "POST", "PATCH"})
_PORT = re.compile(r":[0-9]{1,5}\Z")
# Said with every answer: the type is as told, nothing is kept by caches, no other site may embed it.
_HEADERS = {
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
}


class _RefusedError(Exception):
    """A request that goes no further; it never leaves this room.

    Attributes:
        name: the kind of problem; the words are the error's text.
    """

    def __init__(self, name: str, words: str) -> None:
        """Carry what the answer needs."""
        self.name = name
        super().__init__(words)


class RequestGuardMiddleware:
    """Stands before the routes: refuses what must not pass, and lets no exception out.

    Args:
        app: what stands behind it.
        names: the names that this server goes by, without a port, in small letters.
        receive_s: how long a body may take to arrive.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        names: Iterable[str] = ALLOWED_HOSTS,
        receive_s: float = RECEIVE_S,
    ) -> None:
        """Take the post."""
        self._app = app
        self._names = frozenset(names)
        self._receive_s = receive_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it with a problem."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        answer = _Answer(send, head_only=scope["method"] == "HEAD")
        try:
            headers = Headers(scope=scope)
            self._check_name(headers)
            _check_origin(scope["method"], headers)
            _check_type(scope, headers)
            body = await self._read_body(headers, receive)
            if answer.head_only:
                scope = {**scope, "method": "GET"}
            await self._app(scope, _replay(body, receive), answer.send)
        except _RefusedError as refused:
            response = problem_response(
                KINDS[refused.name], str(refused), scope["path"], {"connection": "close"}
            )
            await response(scope, receive, answer.send)
        except _ClientDisconnectedError:
            return
        except asyncio.CancelledError:
            if not answer.started:
                words = "Leerie is being stopped; ask again when it runs"
                await problem_response(KINDS["stopping"], words, scope["path"])(scope, receive, answer.send)
            raise
        except Exception:
            log.exception("a request could not be answered: %s %r", scope["method"], scope["path"])
            if not answer.started:
                words = "something went wrong inside; the lights are kept all the same, and the log says more"
                response = problem_response(KINDS["fault"], words, scope["path"])
                await response(scope, receive, answer.send)

    def _check_name(self, headers: Headers) -> None:
        """Refuse a request that was sent to a name that is not ours."""
        host = headers.get("host", "").lower()
        if _PORT.sub("", host) not in self._names:
            shown = ", ".join(sorted(self._names))
            words = f"the request was sent to {quote(host)}" if host else "the request names no host"
            raise _RefusedError("wrong-host", f"{words}; this server goes by {shown} only")

    async def _read_body(self, headers: Headers, receive: Receive) -> bytes:
        """Read the whole body, if it is not too large and does not take too long."""
        declared = headers.get("content-length", "0")
        too_large = declared.isdecimal() and int(declared) > LARGEST_BODY_BYTES
        if too_large and "expect" in headers:
            raise _RefusedError("too-large", _TOO_LARGE)
        body = bytearray()
        size_bytes = 0
        try:
            async with asyncio.timeout(self._receive_s):
                while size_bytes <= READ_ON_BYTES:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        raise _ClientDisconnectedError
                    piece: bytes = message.get("body", b"")
                    size_bytes += len(piece)
                    too_large = too_large or size_bytes > LARGEST_BODY_BYTES
                    if not too_large:
                        body += piece
                    if not message.get("more_body", False):
                        break
        except TimeoutError:
            words = f"the body had not arrived whole after {self._receive_s:g} s; send it again"
            raise _RefusedError("too-slow", words) from None
        if too_large:
            raise _RefusedError("too-large", _TOO_LARGE)
        return bytes(body)


class _ClientDisconnectedError(Exception):
    """The other side went away before its request was whole; nobody is left to answer."""


class _Answer:
    """Sends an answer with our headers, and without a body where only the head was asked for."""

    def __init__(self, send: Send, *, head_only: bool) -> None:
        """Nothing is sent yet."""
        self._send = send
        self.head_only = head_only
        self.started = False

    async def send(self, message: Message) -> None:
        """Send one piece of the answer."""
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        elif self.head_only:
            message = {**message, "body": b""}
        await self._send(message)


def _check_origin(method: str, headers: Headers) -> None:
    """Refuse a change that another site's page asks for."""
    if method in _SAFE:
        return
    site = headers.get("sec-fetch-site")
    if site not in (None, "same-origin", "none"):
        words = f"the browser says that this comes from elsewhere (Sec-Fetch-Site: {quote(site)})"
        raise _RefusedError("cross-site", f"{words}; use Leerie's own page")
    origin = headers.get("origin")
    host = headers.get("host", "").lower()
    if origin is not None and origin.lower() not in (f"http://{host}", f"https://{host}"):
        words = f"the page that asks for this is from {quote(origin)}, not from here"
        raise _RefusedError("cross-site", f"{words}; use Leerie's own page")


def _check_type(scope: Scope, headers: Headers) -> None:
    """Refuse a body that is not said to be JSON, as a plain form's, where a route would read it."""
    method = scope["method"]
    if method not in _WITH_BODY:
        return
    if "app" in scope and method not in methods_at(scope["app"], scope["path"]):
        return
    said = headers.get("content-type", "")
    if said.split(";", 1)[0].strip().lower() != "application/json":
        found = quote(said) if said else "nothing"
        words = f"Content-Type says {found}; send JSON and say application/json"
        raise _RefusedError("not-json-type", words)


def _replay(body: bytes, receive: Receive) -> Receive:
    """Give the body that was read already, then whatever comes after it."""
    given = False

    async def receive_again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive_again
