"""Routes of the zones: how each is and why, its program, and what somebody wants of it for now."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import FastAPI, Path, Query, Response

from api.web.aside import Aside
from api.web.context import Clerk
from api.web.openapi import problems_of
from api.web.schemas.requests import OverrideAsk, ProgramAsk, WhyAsk
from api.web.schemas.responses import OverrideAnswer, WhyAnswer, ZoneAnswer, ZonesAnswer

ZoneId = Annotated[str, Path(description="id of the zone, as the site file has it", examples=["jetty"])]


class ZoneRoutes:
    """The zones, one by one and together."""

    def __init__(self, clerk: Clerk, aside: Aside) -> None:
        """Take whoever knows."""
        self._clerk = clerk
        self._aside = aside

    def add_to(self, app: FastAPI) -> None:
        """Add the routes to an application."""
        one, wishes = "/v1/zones/{zone_id}", ("keeper-silent", "cross-site", "not-json", "too-large")
        app.get("/v1/zones", tags=["zones"], summary="Every zone in short", response_model=ZonesAnswer)(
            self.zones
        )
        app.get(
            one,
            tags=["zones"],
            summary="One zone in full",
            response_model=ZoneAnswer,
            responses=problems_of("unknown-zone"),
        )(self.zone)
        app.get(
            f"{one}/why",
            tags=["zones"],
            summary="Why a zone is lit or dark",
            response_model=WhyAnswer,
            responses=problems_of("unknown-zone", "invalid-request", "keeper-silent"),
        )(self.why)
        app.put(
            f"{one}/program",
            tags=["zones"],
            summary="Change a zone's program",
            response_model=ZoneAnswer,
            responses=problems_of(
                "unknown-zone", "not-a-program", "site-file-refused", "invalid-request", "demonstration",
                "site-file-unwritable", "site-file-changed", "disk-full", "not-json-type", *wishes,
            ),
        )(self.put_program)  # fmt: skip
        app.put(
            f"{one}/override",
            tags=["zones"],
            summary="Light a zone, or put it out, for now",
            response_model=OverrideAnswer,
            responses=problems_of(
                "unknown-zone", "override-refused", "invalid-request", "not-json-type", *wishes
            ),
        )(self.put_override)
        app.delete(
            f"{one}/override",
            tags=["zones"],
            summary="Give a zone back to its program",
            status_code=204,
            response_class=Response,
            responses=problems_of("unknown-zone", "keeper-silent", "cross-site"),
        )(self.delete_override)

    async def zones(self) -> ZonesAnswer:
        """List every zone with its light, the decision in force, its override and its fault."""
        return self._clerk.zones()

    async def zone(self, zone_id: ZoneId) -> ZoneAnswer:
        """Show one zone: its wiring, load, light, decision, program, and its windows of tonight."""
        return await self._aside(self._clerk.zone, zone_id)

    async def why(self, zone_id: ZoneId, ask: Annotated[WhyAsk, Query()]) -> dict[str, Any]:
        """Say why a zone is lit or dark, and until when.

        Without `at`: the decision in force. With `at`: what the site file alone asks for at that instant,
        past or to come; what somebody wanted at the time and what went wrong is in the switchings.
        """
        return await self._aside(self._clerk.why, zone_id, ask.at)

    async def put_program(self, zone_id: ZoneId, ask: ProgramAsk) -> ZoneAnswer:
        """Write a zone's program into the site file, with its comments kept, and follow it from now on."""
        return await self._aside(self._clerk.write_program, zone_id, ask)

    async def put_override(self, zone_id: ZoneId, ask: OverrideAsk) -> OverrideAnswer:
        """Have a zone lit or dark until an instant, for a time, or until the program's next change.

        An override ends by itself, and outlives a restart. One that names no end lasts 24 h at most.
        """
        return await self._aside(self._clerk.override, zone_id, ask)

    async def delete_override(self, zone_id: ZoneId) -> Response:
        """End an override before its time; also well where none was in force."""
        await self._aside(self._clerk.lift_override, zone_id)
        return Response(status_code=204)
