"""Routes for the eye: the printable report of a season and the picture of a year, with no script in them."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Path, Query, Response

from api.web.aside import Aside
from api.web.clerk_hours import HoursClerk
from api.web.openapi import problems_of
from api.web.schemas.hours_requests import PERIODS, PictureQuery

SeasonText = Annotated[str, Path(description=PERIODS, examples=["2027-winter"], max_length=40)]
# Styles stand in the page itself; it loads nothing and runs nothing.
_ALONE = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}


class ReportRoutes:
    """The season on paper, and the year in a picture."""

    def __init__(self, clerk: HoursClerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        app.get(
            "/v1/report/{season}",
            tags=["hours"],
            summary="The report of a season, to print",
            response_class=Response,
            responses=_shown("text/html", "invalid-request", "journal-unreadable"),
        )(self.report)
        app.get(
            "/v1/year.svg",
            tags=["hours"],
            summary="The year's picture",
            response_class=Response,
            responses=_shown("image/svg+xml", "unknown-zone", "invalid-request", "journal-unreadable"),
        )(self.picture)

    async def report(self, season: SeasonText) -> Response:
        """Give a page for A4 and Letter: totals, zones, what was missed and why, lamps, picture, remarks."""
        page = await self._aside(self._clerk.report, season)
        return Response(page, media_type="text/html; charset=utf-8", headers=_ALONE)

    async def picture(self, query: Annotated[PictureQuery, Query()]) -> Response:
        """Draw 365 nights side by side, each from noon to noon, with the sky and what was or will be lit."""
        drawn = await self._aside(self._clerk.picture, query)
        return Response(drawn, media_type="image/svg+xml", headers=_ALONE)


def _shown(media_type: str, *problems: str) -> dict[int | str, dict[str, object]]:
    """Describe an answer that is no JSON, and its problems."""
    content = {media_type: {"schema": {"type": "string"}}}
    return {200: {"description": "the document", "content": content}, **problems_of(*problems)}
