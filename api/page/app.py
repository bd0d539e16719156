"""The page added to the web application: its routes, and its answers to people in place of documents."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from api.page.routes import (
    account,
    cables,
    devices,
    first_run,
    garden,
    lamps,
    papers,
    program,
    programs,
    sign_in,
    static,
    tonight,
    what_if,
    year,
)
from api.web.problems.types import ProblemError


def add_page(app: FastAPI) -> None:
    """Add the page to an application that has the routes of the API."""
    for subject in (
        tonight,
        programs,
        papers,
        what_if,
        program,
        lamps,
        account,
        year,
        cables,
        devices,
        garden,
        sign_in,
        static,
    ):
        app.router.routes.extend(subject.router.routes)
    app.add_middleware(SignInMiddleware)


def add_first_run(app: FastAPI) -> None:
    """Add the set-up in the page's place, to an application that has no garden yet."""
    for subject in (sign_in, static, first_run):
        app.router.routes.extend(subject.router.routes)
    app.add_middleware(SignInMiddleware)


class SignInMiddleware:
    """Leads people to where they sign in, where a program would be told that it needs permission."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; outside of /v1 a refusal for want of permission leads to the way in."""
        try:
            await self._app(scope, receive, send)
        except ProblemError as refusal:
            is_page = scope["type"] == "http" and "text/html" in Request(scope).headers.get("accept", "")
            if refusal.type.name != "permission-needed" or not is_page or scope["path"].startswith("/v1/"):
                raise
            await RedirectResponse(f"/sign-in?to={quote(scope['path'])}", 303)(scope, receive, send)
