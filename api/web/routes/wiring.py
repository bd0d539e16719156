"""Routes of the wiring: load and volts, the sheet to print, what was measured, and where lights go."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import FastAPI, Path, Query, Response

from api.web.aside import Aside
from api.web.clerk_wiring import WiringClerk
from api.web.openapi import problems_of
from api.web.routes.zones import ZoneId
from api.web.schemas.responses import ZoneAnswer
from api.web.schemas.wiring import PlacingAnswer, WiringAnswer
from api.web.schemas.wiring_requests import MeasuredAsk, PlacingQuery, WiringQuery

TransformerId = Annotated[
    str, Path(description="id of the transformer, as the site file has it", examples=["boathouse"])
]
# Styles stand in the page itself; it loads nothing and runs nothing.
_ALONE = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}
_A_PAGE: dict[int | str, dict[str, Any]] = {
    200: {"description": "the document", "content": {"text/html": {"schema": {"type": "string"}}}},
}


class WiringRoutes:
    """Whether every lamp gets its volts."""

    def __init__(self, clerk: WiringClerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        app.get(
            "/v1/wiring",
            tags=["wiring"],
            summary="Load of each transformer, volts at each light",
            response_model=WiringAnswer,
            responses=problems_of("unknown-transformer", "invalid-request"),
        )(self.wiring)
        for path, route, summary in (
            ("/v1/sheet", self.sheet, "The site sheet of the wiring, to print"),
            ("/v1/sheet/{transformer_id}", self.sheet_of_one, "The site sheet of one transformer"),
        ):
            app.get(
                path,
                tags=["wiring"],
                summary=summary,
                response_class=Response,
                responses={**_A_PAGE, **problems_of("unknown-transformer")},
            )(route)
        app.get(
            "/v1/placing",
            tags=["wiring"],
            summary="How many lights for an object, and where",
            response_model=PlacingAnswer,
            responses=problems_of("invalid-request"),
        )(self.placing)
        app.put(
            "/v1/zones/{zone_id}/measured",
            tags=["zones", "wiring"],
            summary="Note what was measured on site",
            response_model=ZoneAnswer,
            responses=problems_of(
                "unknown-zone", "site-file-refused", "invalid-request", "demonstration",
                "site-file-unwritable", "site-file-changed", "disk-full", "not-json-type",
                "keeper-silent", "cross-site", "not-json", "too-large",
            ),
        )(self.put_measured)  # fmt: skip

    async def wiring(self, query: Annotated[WiringQuery, Query()]) -> Response:
        """Tell each transformer's load and tree, every light's fewest and most volts, and what would do."""
        return await self._aside(self._wiring, query.transformer)

    async def sheet(self) -> Response:
        """Give a page that prints on A4 and Letter: drawing, load, readings, what to buy and to check."""
        return await self._aside(self._sheet, None)

    async def sheet_of_one(self, transformer_id: TransformerId) -> Response:
        """Give the same page for one transformer alone."""
        return await self._aside(self._sheet, transformer_id)

    async def placing(self, query: Annotated[PlacingQuery, Query()]) -> dict[str, object]:
        """Say how many lights, how far out, how tilted; what is common practice is marked as that."""
        return await self._aside(self._clerk.placing, query)

    async def put_measured(self, zone_id: ZoneId, ask: MeasuredAsk) -> ZoneAnswer:
        """Write measured watts and volts into the site file, with its comments kept.

        Measured watts count in the energy from then on, before anything that is calculated.
        """
        return await self._aside(self._clerk.write_measured, zone_id, ask)

    def _wiring(self, transformer: str | None) -> Response:
        """Write the answer here, aside: it may be long, and is right as it is."""
        wiring = self._clerk.wiring(transformer)
        return Response(json.dumps(wiring, ensure_ascii=False).encode(), media_type="application/json")

    def _sheet(self, transformer: str | None) -> Response:
        page = self._clerk.sheet(transformer)
        return Response(page, media_type="text/html; charset=utf-8", headers=_ALONE)
