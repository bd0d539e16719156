"""Routes that tell how things stand: health, status, what there is here, what a kind of problem means."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Path, Request
from fastapi.routing import APIRoute

from api.render.instants import quote
from api.web.aside import Aside
from api.web.context import Clerk
from api.web.openapi import problems_of
from api.web.problems.handlers import refuse
from api.web.problems.types import KINDS
from api.web.schemas.responses import HealthAnswer, IndexAnswer, ProblemKindAnswer, RouteAnswer, StatusAnswer

KindName = Annotated[str, Path(description="the last part of a problem's type", examples=["unknown-zone"])]


class StatusRoutes:
    """How things stand."""

    def __init__(self, clerk: Clerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        app.get("/", tags=["status"], summary="What there is here", response_model=IndexAnswer)(self.index)
        app.get(
            "/health",
            tags=["status"],
            summary="Whether the keeper makes its rounds",
            response_model=HealthAnswer,
            responses=problems_of("keeper-late"),
        )(self.health)
        app.get("/v1/status", tags=["status"], summary="Everything at a glance", response_model=StatusAnswer)(
            self.status
        )
        app.get(
            "/problems/{name}",
            tags=["status"],
            summary="What a kind of problem means",
            response_model=ProblemKindAnswer,
            responses=problems_of("not-found"),
        )(self.problem_kind)

    async def index(self, request: Request) -> IndexAnswer:
        """List what can be asked and done here."""
        routes = [
            RouteAnswer(method=method, path=route.path, does=route.summary or "")
            for route in request.app.routes
            if isinstance(route, APIRoute)
            for method in sorted(route.methods or ())
        ]
        described = RouteAnswer(method="GET", path="/openapi.json", does="All of this by OpenAPI 3.1")
        return IndexAnswer(site=self._clerk.desk.site.name, routes=[*routes, described])

    async def health(self) -> HealthAnswer:
        """Answer 200 while the keeper's last round is younger than 90 s, by a clock that nobody sets."""
        return self._clerk.health()

    async def status(self) -> StatusAnswer:
        """Show the clock, the keeper, every zone in short, the journal and the site file."""
        return await self._aside(self._clerk.status)

    async def problem_kind(self, name: KindName) -> ProblemKindAnswer:
        """Explain the ``type`` of a problem document."""
        kind = KINDS.get(name)
        if kind is None:
            raise refuse("not-found", f"no kind of problem is called {quote(name)}")
        return ProblemKindAnswer(
            type=f"/problems/{kind.name}", title=kind.title, status=kind.status, remedy=kind.remedy
        )
