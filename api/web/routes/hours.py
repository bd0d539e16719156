"""Routes of the account: hours, energy and money of the past, and lamps that were replaced."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import FastAPI, Query, Response

from api.web.aside import Aside
from api.web.clerk_hours import HoursClerk
from api.web.openapi import problems_of
from api.web.schemas.hours import HoursAnswer, ReplacementAnswer, ReplacementsAnswer
from api.web.schemas.hours_requests import HoursParams, ReplacementAsk, ReplacementsQuery


class HourRoutes:
    """What was lit, what that took, and what is worn."""

    def __init__(self, clerk: HoursClerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        app.get(
            "/v1/hours",
            tags=["hours"],
            summary="What was lit and missed, energy, cost, lamps and relays",
            response_model=HoursAnswer,
            responses=problems_of("unknown-zone", "invalid-request", "journal-unreadable"),
        )(self.hours)
        app.get(
            "/v1/replacements",
            tags=["hours"],
            summary="Lamps that were replaced",
            response_model=ReplacementsAnswer,
            responses=problems_of("unknown-zone", "invalid-request", "journal-unreadable"),
        )(self.replacements)
        app.post(
            "/v1/replacements",
            tags=["hours"],
            summary="Take down that lamps were replaced",
            status_code=201,
            response_model=ReplacementAnswer,
            responses=problems_of(
                "unknown-zone",
                "invalid-request",
                "keeper-silent",
                "cross-site",
                "not-json",
                "not-json-type",
                "too-large",
            ),
        )(self.replace)

    async def hours(self, query: Annotated[HoursParams, Query()]) -> Response:
        """Account for nights, months, seasons or any stretch, from the journal.

        Energy goes by the load that a zone had at the time, what was planned by the program that it had.
        """
        return await self._aside(self._hours, query)

    async def replacements(self, query: Annotated[ReplacementsQuery, Query()]) -> ReplacementsAnswer:
        """List replaced lamps in the order of their days; the newest of a fixture counts."""
        return await self._aside(self._clerk.replacements, query.zone)

    async def replace(self, ask: ReplacementAsk) -> ReplacementAnswer:
        """Take down in the journal that the lamps of a fixture were replaced; their hours count from then."""
        return await self._aside(self._clerk.replace, ask)

    def _hours(self, query: HoursParams) -> Response:
        """Write the answer here, aside: it may be long, and is right as it is."""
        hours = self._clerk.hours(query)
        return Response(json.dumps(hours, ensure_ascii=False).encode(), media_type="application/json")
