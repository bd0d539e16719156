"""The request guard: which requests are let through to the routes, how large and how slow they may be.

Every web page in the world can send requests here, by way of a browser in this house. Three checks keep it
out: the host that the request was sent to must be this machine's own (a page whose name was pointed here has
its own name there), nothing that changes or costs something may come from another site's page, and a body
must be JSON, which a plain form cannot send. Starlette's TrustedHostMiddleware makes the first check, but
answers in plain text. Sources: Fetch Metadata Request Headers (W3C), section 2; Fetch (WHATWG), the header
Origin; RFC 9110, section 7.2.
"""

import asyncio
import logging
import re
from urllib.parse import unquote

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.network.names import OwnHosts
from api.render.instants import quote
from api.web.headers import SECURITY_HEADERS
from api.web.problems.handlers import methods_at
from api.web.problems.types import ProblemError, without_secret
from api.web.slots import ClientGoneError

log = logging.getLogger(__name__)

LARGEST_BODY_BYTES = 64 * 1024
_TOO_LARGE = f"the body is larger than {LARGEST_BODY_BYTES // 1024} kB; send a smaller one"
# A body that is too large is read on up to here, so that the response arrives before the connection closes.
READ_ON_BYTES = 1024 * 1024
# How long a body may take to arrive.
RECEIVE_S = 10.0

_FORM = "application/x-www-form-urlencoded"
_WITH_BODY = frozenset({"PUT", "POST", "PATCH"})
# RFC 9112, section 3.2.2.
_ABSOLUTE_TARGET = re.compile(rb"(https?)://([^/]*)(/.*|)", re.IGNORECASE)


class RequestGuardMiddleware:
    """Refuses requests that must not reach the routes, and answers every exception that comes out of them."""

    def __init__(self, app: ASGIApp, *, hosts: OwnHosts | None = None, receive_s: float = RECEIVE_S) -> None:
        self._app = app
        self._hosts = hosts or OwnHosts()
        self._receive_s = receive_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a problem."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        response = _GuardedResponse(send, head_only=scope["method"] == "HEAD")
        try:
            scope = _with_path(scope)
            method, headers = scope["method"], Headers(scope=scope)
            self._check_host(scope, headers)
            _check_origin(scope, headers)
            _check_type(scope, headers)
            body = await self._read_body(headers, receive)
            if method == "HEAD":
                # Routes that would work for long look at the second.
                scope = {**scope, "method": "GET", "head_only": True}
            await self._app(scope, _replay(body, receive), response.send)
        except ProblemError as refusal:
            refusal.headers["connection"] = "close"
            await refusal.response(scope["path"])(scope, receive, response.send)
        except (_ClientDisconnectedError, ClientGoneError):
            return
        except asyncio.CancelledError:
            if not response.started:
                words = "Leerie is shutting down; try again once it is running"
                await ProblemError("stopping", words).response(scope["path"])(scope, receive, response.send)
            raise
        except Exception:
            log.exception(
                "a request could not be answered: %s %r", scope["method"], without_secret(scope["path"])
            )
            if not response.started:
                words = "an internal error; the lights are not affected, and the log says more"
                await ProblemError("fault", words).response(scope["path"])(scope, receive, response.send)

    def _check_host(self, scope: Scope, headers: Headers) -> None:
        host = headers.get("host", "")
        if not self._hosts.allows(host, scope):
            words = f"the request was sent to {quote(host)}" if host else "the request has no Host header"
            remedy = f"use one of {', '.join(self._hosts.listed(scope))}, or add to names under [network]"
            raise ProblemError("wrong-host", f"{words}; {remedy}")

    async def _read_body(self, headers: Headers, receive: Receive) -> bytes:
        declared = headers.get("content-length", "0")
        refused = declared.isdecimal() and int(declared) > LARGEST_BODY_BYTES
        if refused and "expect" in headers:
            raise ProblemError("too-large", _TOO_LARGE)
        body = bytearray()
        try:
            async with asyncio.timeout(self._receive_s):
                while len(body) <= READ_ON_BYTES:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        raise _ClientDisconnectedError
                    body += message.get("body", b"")
                    if not message.get("more_body", False):
                        break
        except TimeoutError:
            words = f"the body had not arrived after {self._receive_s:g} s; send it again"
            raise ProblemError("too-slow", words) from None
        if refused or len(body) > LARGEST_BODY_BYTES:
            raise ProblemError("too-large", _TOO_LARGE)
        return bytes(body)


class _ClientDisconnectedError(Exception):
    """The client has gone, or has all that it asked for: nothing is left to do."""


class _GuardedResponse:
    """Sends a response with our headers, and without its body where only the head was asked for."""

    def __init__(self, send: Send, *, head_only: bool) -> None:
        self._send = send
        self._head_only = head_only
        self.started = False

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers.setdefault(name, value)
        elif self._head_only:
            await self._send({**message, "body": b"", "more_body": False})
            if message.get("more_body"):
                # What would follow need not be worked out.
                raise _ClientDisconnectedError
            return
        await self._send(message)


def _scheme(scope: Scope) -> str:
    return str(scope.get("scheme", "http"))


def _with_path(scope: Scope) -> Scope:
    """Give a request whose target is a whole address the form of all others; the host in it is what counts.

    Source: RFC 9112, section 3.2.2; RFC 9110, section 7.4, for a scheme that is not that of the connection.
    """
    found = _ABSOLUTE_TARGET.fullmatch(scope.get("raw_path") or b"")
    if found is None:
        return scope
    scheme, host, raw_path = found[1].decode().lower(), found[2], found[3] or b"/"
    if scheme != _scheme(scope):
        raise ProblemError("wrong-host", f"the request is for {scheme}, and came by {_scheme(scope)}")
    headers = [(b"host", host), *((name, value) for name, value in scope["headers"] if name != b"host")]
    return {**scope, "path": unquote(raw_path.decode()), "raw_path": raw_path, "headers": headers}


def _check_origin(scope: Scope, headers: Headers) -> None:
    """Refuse what another site's page sends, reading included, for it takes work; people may follow links.

    A browser sends Sec-Fetch-Site to trustworthy origins alone, and so not over plain http on a home network;
    Origin it sends with every change, and with what a script reads across origins.
    """
    host = headers.get("host", "").lower()
    ours = {f"{scheme}://{host}" for scheme in (_scheme(scope), "https")}
    foreign = [each for each in headers.getlist("origin") if each.lower() not in ours]
    sites = [each for each in headers.getlist("sec-fetch-site") if each not in ("same-origin", "none")]
    if foreign:
        words = f"a page from {quote(foreign[0])} sent this"
    elif sites and not _is_navigation(scope["method"], headers):
        words = f"the browser says that another page sent this (Sec-Fetch-Site: {quote(sites[0])})"
    else:
        return
    raise ProblemError("cross-site", f"{words}; use Leerie's own page")


def _is_navigation(method: str, headers: Headers) -> bool:
    """Whether a browser shows the answer as a page of its own, and not before a person went there."""
    said = [headers.get(f"sec-fetch-{name}") for name in ("mode", "dest")]
    return method == "GET" and said == ["navigate", "document"] and "sec-purpose" not in headers


def _check_type(scope: Scope, headers: Headers) -> None:
    """Refuse a body that is not declared as JSON, as a plain form's, where a route would read it."""
    method = scope["method"]
    if method not in _WITH_BODY or ("app" in scope and method not in methods_at(scope["app"], scope["path"])):
        return
    declared = headers.get("content-type", "")
    media_type = declared.split(";", 1)[0].strip().lower()
    # The forms of the page, each of which carries a token of its own; no route under /v1 reads one.
    is_form = media_type == _FORM and not scope["path"].startswith("/v1/")
    if media_type != "application/json" and not is_form:
        words = f"the Content-Type is {quote(declared)}" if declared else "there is no Content-Type"
        raise ProblemError("not-json-type", f"{words}; send JSON with Content-Type: application/json")
    coding = headers.get("content-encoding", "identity")
    if coding.strip().lower() != "identity":
        raise ProblemError("not-json-type", f"the Content-Encoding is {quote(coding)}; leave it out")


def _replay(body: bytes, receive: Receive) -> Receive:
    """Make a receive function that gives the body that was read already, then whatever comes after it."""
    first: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive_again() -> Message:
        return first.pop() if first else await receive()

    return receive_again
