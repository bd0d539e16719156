"""How a screen becomes an answer: its template filled in, its language and policy, compressed."""

from __future__ import annotations

import gzip
import re
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from api.access.client import ClientKind
from api.page.forms import TOKEN
from api.render.jinja import environment
from api.render.words import LANGUAGES, Words, choose_language
from api.web.context import RequestContext
from api.web.headers import compressed
from api.web.permission import form_token_for

LANGUAGE_COOKIE = "leerie-language"
# The page loads its own styles, scripts and pictures, sends its own forms, and listens to its own events.
# Source: CSP Level 3.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HERE = files("api.page")
_IS_HERE = re.compile(r"/(?![/\\])[^\\\s]*")


def words_for(request: Request) -> Words:
    """Give the language of a request's browser."""
    context: RequestContext = request.app.state.context
    chosen = request.cookies.get(LANGUAGE_COOKIE)
    return Words(choose_language(request.headers.get("accept-language", ""), chosen), context.gateway.tz)


def show(request: Request, template: str, *, status: int = 200, **values: Any) -> Response:  # noqa: ANN401
    """Answer with a screen."""
    context: RequestContext = request.app.state.context
    words = values.pop("words", None) or words_for(request)
    client = getattr(request.state, "client", None)
    token = form_token_for(request, context.access) if client is not None and client.scope else ""
    html = (
        environment("api.page", words)
        .get_template(template)
        .render(
            languages=LANGUAGES,
            site=context.gateway.site,
            client=client,
            on_board=client is not None and client.kind is ClientKind.BOARD,
            static=f"/static/{static_version()}",
            here=request.scope["path"],
            form_token=Markup('<input type="hidden" name="{}" value="{}">').format(TOKEN, token),
            **values,
        )
    )
    headers = {"content-security-policy": POLICY, "content-language": words.language}
    response = Response(html.encode(), status, headers, "text/html")
    return compressed(request, response, "accept-language", "cookie")


def go(where: str) -> Response:
    """Lead the browser on after a form, to a place on this page only.

    For a browser a backslash is a slash, any number of them begin another host, and tabs and line breaks are
    nothing: WHATWG URL, section 4.4.
    """
    return RedirectResponse(where if _IS_HERE.fullmatch(where) else "/", 303)


@cache
def static_files() -> dict[str, tuple[bytes, bytes]]:
    """Give the page's own files by name, each plain and compressed."""
    found = {}
    for each in (_HERE / "static").iterdir():
        content = each.read_bytes()
        found[each.name] = content, gzip.compress(content, 9, mtime=0)
    return found


@cache
def static_version() -> str:
    """Name the present edition of these files: browsers keep them until there is another."""
    whole = sha256()
    for name, (content, _) in sorted(static_files().items()):
        whole.update(name.encode() + b"\0" + content)
    return whole.hexdigest()[:12]
