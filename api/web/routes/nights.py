"""Routes over time: the nights to come and gone by the site file, and the switchings that were made."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import FastAPI, Query, Response

from api.web.aside import Aside
from api.web.context import Clerk
from api.web.openapi import problems_of
from api.web.past_clerk import PastClerk
from api.web.schemas.requests import NightsAsk, SwitchingsAsk
from api.web.schemas.responses import NightsAnswer, SwitchingsAnswer


class NightRoutes:
    """What will be lit, and what was."""

    def __init__(self, clerk: Clerk, past: PastClerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._past = past
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        app.get(
            "/v1/nights",
            tags=["nights"],
            summary="What each zone does, night by night",
            response_model=NightsAnswer,
            responses=problems_of("unknown-zone", "invalid-request"),
        )(self.nights)
        app.get(
            "/v1/switchings",
            tags=["nights"],
            summary="What was switched, the newest first",
            response_model=SwitchingsAnswer,
            responses=problems_of("unknown-zone", "invalid-request", "journal-unreadable"),
        )(self.switchings)

    async def nights(self, ask: Annotated[NightsAsk, Query()]) -> Response:
        """Say when zones are lit from one night to another, by the site file alone: at most 800 nights."""
        return await self._aside(self._nights, ask)

    async def switchings(self, ask: Annotated[SwitchingsAsk, Query()]) -> SwitchingsAnswer:
        """List changes of relays, the newest first, with the cause of each; `next` leads on to older ones."""
        return await self._aside(self._past.switchings, ask)

    def _nights(self, ask: NightsAsk) -> Response:
        """Write the answer here, aside: it may be long, and is right as it is."""
        nights = self._clerk.nights(ask)
        return Response(json.dumps(nights, ensure_ascii=False).encode(), media_type="application/json")
