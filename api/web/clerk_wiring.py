"""The clerk of wiring: what each transformer carries, the sheet to print, what was measured, placing lights.

The wiring is worked out once for each site file, and again only when that changes.
"""

from __future__ import annotations

import threading
from typing import Any
from zoneinfo import ZoneInfo

from api.render.placement import place_object, placed_as_json
from api.render.site_sheet import make_sheet
from api.render.wiring_json import wiring_as_json
from api.web.context import Clerk
from api.web.problems.handlers import refuse
from api.web.schemas.responses import ZoneAnswer
from api.web.schemas.wiring_requests import MeasuredAsk, PlacingQuery
from config.errors import UnknownFixtureError, WiringError
from config.models.site import Site
from controller.design.placement import Target
from controller.inspection.report import WiringReport, report_site


class WiringClerk:
    """Answers about the wiring of the site that is kept now.

    Args:
        clerk: knows the desk, and what time it is.
    """

    def __init__(self, clerk: Clerk) -> None:
        """Sit down beside the others."""
        self._clerk = clerk
        self._lock = threading.Lock()
        self._known: tuple[Site, tuple[WiringReport, ...]] | None = None

    def wiring(self, transformer: str | None) -> dict[str, Any]:
        """Tell the wiring of one transformer, or of all."""
        site, reports = self._reports(transformer)
        return wiring_as_json(site, reports)

    def sheet(self, transformer: str | None) -> str:
        """Make the sheet of one transformer, or of all."""
        site, reports = self._reports(transformer)
        today = self._clerk.now().utc.astimezone(ZoneInfo(site.time_zone)).date()
        return make_sheet(site, reports, today)

    def write_measured(self, zone_id: str, ask: MeasuredAsk) -> ZoneAnswer:
        """Write what was measured into the site file, and keep it from now on."""
        desk = self._clerk.desk
        desk.site.zone(zone_id)
        volts = {each.fixture: each.volts for each in ask.fixtures}
        forget = ask.watts is None and "watts" in ask.model_fields_set
        try:
            self._clerk.write(
                lambda: desk.write_measured(zone_id, watts=ask.watts, forget_watts=forget, volts=volts)
            )
        except UnknownFixtureError as error:
            number = list(volts).index(error.place)
            pointer = f"#/fixtures/{number}/fixture"
            errors = [{"detail": str(error), "pointer": pointer}]
            raise refuse("invalid-request", str(error), errors=errors) from error
        return self._clerk.zone(zone_id)

    def placing(self, query: PlacingQuery) -> dict[str, Any]:
        """Say how many lights an object takes, and where."""
        what = Target(query.kind)
        first, second = (query.spread, query.height) if what is Target.PATH else (query.height, query.spread)
        if first is None:
            missing = "spread" if what is Target.PATH else "height"
            words = f"{missing}: is missing; give a length such as “7 ft” or “2 m”"
            raise refuse("invalid-request", words, errors=[{"detail": words, "parameter": missing}])
        try:
            return placed_as_json(place_object(what, first, second, query.candela))
        except WiringError as error:
            raise refuse("invalid-request", str(error), errors=[{"detail": str(error)}]) from error

    def _reports(self, transformer: str | None) -> tuple[Site, tuple[WiringReport, ...]]:
        """Work the wiring out, if the site is another than last time, and pick what was asked for."""
        with self._lock:
            site = self._clerk.desk.site
            if self._known is None or self._known[0] is not site:
                self._known = site, report_site(site)
            site, reports = self._known
        if transformer is None:
            return site, reports
        found = tuple(each for each in reports if each.wiring.transformer.id == transformer)
        if not found:
            known = [each.wiring.transformer.id for each in reports]
            has = f"this site has {', '.join(known)}" if known else "this site has none"
            words = f"no transformer is called “{transformer}”; {has}"
            raise refuse("unknown-transformer", words, transformers=known)
        return site, found
