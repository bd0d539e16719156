"""Who sends a request, and whether they may: what every request is asked before it reaches a route.

The board itself may do everything. The home network may do nothing without a token or a session, but find out
that, and get one. Sources: RFC 6750; RFC 9110, section 11.6.1; RFC 6265bis, sections 4.1.3 and 5.6.
"""

from __future__ import annotations

from dataclasses import replace
from hmac import compare_digest
from typing import Annotated

from fastapi import Depends, Request, Response
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from api.access.access import Access
from api.access.client import Client, ClientKind, client_kind
from api.access.credentials import SESSION_S, Credential, Kind, form_token
from api.access.credentials import Scope as Grant
from api.web.context import RequestContext
from api.web.problems.types import ProblemError
from config.phrase import Phrase
from controller.records.reading import Reading

# What anybody on the home network may ask: whether they may, to be let in, and what a refusal means.
OPEN_ROUTES = frozenset(
    {
        ("GET", "/v1/access"),
        ("POST", "/v1/access/tokens"),
        ("POST", "/v1/access/session"),
        ("DELETE", "/v1/access/session"),
        ("GET", "/sign-in"),
        ("POST", "/sign-in"),
        ("POST", "/language"),
    }
)
# The page's styles and scripts say nothing of the garden.
# Of the calendar's address for subscribers, who can send no header, the route itself looks at the secret.
OPEN_FOLDERS = ("/problems/", "/v1/calendar/", "/static/")
CALENDAR = "/v1/calendar.ics"

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_CHALLENGE = 'Bearer realm="Leerie"'
_ONLY = 'error="insufficient_scope", scope="{}"'


class PermissionMiddleware:
    """Gives every request its ``scope["state"]["client"]``, and refuses what that may not do.

    In a demonstration ``all_may`` do everything: nothing is real there.
    """

    def __init__(self, app: ASGIApp, *, context: RequestContext, all_may: bool = False) -> None:
        self._app = app
        self._context = context
        self._all_may = all_may

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or raise ProblemError."""
        if scope["type"] == "http":
            client = identify(scope, self._context.access, self._context.now())
            if self._all_may and client.scope is None:
                client = replace(client, scope=Grant.CONTROL)
            scope.setdefault("state", {})["client"] = client
            _require_permission(client, scope["method"], scope["path"])
        await self._app(scope, receive, send)


async def _get_client(request: Request) -> Client:
    client: Client = request.state.client
    return client


Caller = Annotated[Client, Depends(_get_client)]


def identify(scope: Scope, access: Access, now: Reading) -> Client:
    """Find out who sends a request.

    Raises:
        ProblemError: it shows a token that is not, or no longer, good.
    """
    headers = Headers(scope=scope)
    peer = scope.get("client")
    kind = client_kind(peer, scope.get("server"), (name for name, _ in scope["headers"]))
    address = peer[0] if peer else "a Unix socket" if kind is ClientKind.BOARD else "an unknown address"
    # Two such headers are read as one (RFC 9110, section 5.3), in which no token stands.
    scheme, _, token = ", ".join(headers.getlist("authorization")).partition(" ")
    if scheme.lower() == "bearer":
        shown = access.find(token.strip(" "), Kind.TOKEN, now)
        if shown is None:
            access.note_failure("wrong or revoked token", address, now)
            words = "the token is not valid, or was revoked; pair this device again"
            raise _refusal("permission-needed", words, 'error="invalid_token"')
        return Client.with_credential(kind, address, shown)
    if kind is ClientKind.BOARD:
        return Client.of_board(address, headers.get("user-agent", ""))
    shown = find_session(scope, access, now)
    if shown is not None:
        return Client.with_credential(kind, address, shown)
    return Client(kind=kind, address=address, name=address)


def find_session(scope: Scope, access: Access, now: Reading) -> Credential | None:
    """Find the session whose cookie a request carries; None where it has none that counts."""
    secret = Request(scope).cookies.get(_cookie_name(scope, access))
    return access.find(secret, Kind.SESSION, now) if secret else None


def set_session_cookie(request: Request, response: Response, access: Access, secret: str | None) -> None:
    """Have the browser keep a session's secret, which no script can read; None has it forgotten.

    Cookies ignore ports, so its name is this daemon's own. Browsers take ``Secure`` and ``__Host-`` over TLS
    only.
    """
    response.set_cookie(
        _cookie_name(request.scope, access),
        secret or "",
        max_age=int(SESSION_S) if secret else 0,
        path="/",
        secure=request.scope["scheme"] == "https",
        httponly=True,
        samesite="strict",
    )


def form_token_for(request: Request, access: Access) -> str:
    """Give what a form for this client carries, so that no page of another site can send it."""
    client: Client = request.state.client
    if client.session_id is not None:
        return form_token(request.cookies[_cookie_name(request.scope, access)])
    return form_token(access.board_secret + (client.token_id or ""))


def require_form_token(request: Request, access: Access, given: str) -> None:
    """Refuse a form that does not carry its token.

    Raises:
        ProblemError: it has none, or that of another session.
    """
    if not compare_digest(form_token_for(request, access).encode(), given.encode("utf-8", "replace")):
        raise ProblemError(
            "cross-site", Phrase("the form is not from this session's page; load the page again")
        )


def _cookie_name(scope: Scope, access: Access) -> str:
    return f"{'__Host-' if scope['scheme'] == 'https' else ''}leerie-{access.instance}"


def _require_permission(client: Client, method: str, path: str) -> None:
    is_safe = method in _SAFE
    if ("GET" if is_safe else method, path) in OPEN_ROUTES or (is_safe and path.startswith(OPEN_FOLDERS)):
        return
    if client.scope is None:
        words = Phrase(
            "on the home network this needs permission; pair this device with a code from the board"
        )
        raise _refusal("permission-needed", words)
    if is_safe:
        if not client.may_read and path != CALENDAR:
            raise _refusal(
                "not-permitted",
                Phrase("{client} may read {path} alone", client=client.name, path=CALENDAR),
                _ONLY.format("read"),
            )
    elif not client.may_control:
        words = Phrase(
            "{client} may read, but not change anything; pair it again to let it", client=client.name
        )
        raise _refusal("not-permitted", words, _ONLY.format("control"))


def _refusal(name: str, words: str, why: str = "") -> ProblemError:
    challenge = f"{_CHALLENGE}, {why}" if why else _CHALLENGE
    return ProblemError(name, words, headers={"www-authenticate": challenge})
