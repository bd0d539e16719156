"""What a plan looks like in JSON: the nights of a stretch, and the answer to "why".

The web server and the command line both speak through these functions, so that they never differ.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Any

from api.render.instants import coming_text, instant_text
from controller.calendar.night import nights
from controller.planning.decision import Decision, decide
from controller.planning.plan import NightPlan
from controller.planning.planner import Planner
from controller.records.reading import Reading

BY_SITE_FILE = (
    "by the site file alone: what somebody asked for at the time, the state of the clock and faults of a "
    "relay are not part of it"
)
BY_KEEPER = "what the keeper decided in its last round"


def nights_as_json(
    planner: Planner, from_date: date, to_date: date, zone_ids: Iterable[str] | None = None
) -> dict[str, Any]:
    """Say what zones will do, night by night.

    Args:
        planner: the site's plans.
        from_date: date of the first night.
        to_date: date of the last night, included.
        zone_ids: ids of the zones, in the order wanted; every zone of the site where None.

    Returns:
        ``{"site": ..., "nights": [...]}``: night after night, and in each the zones in their order.

    Raises:
        UnknownZoneError: no zone has one of the ids.
    """
    site = planner.site
    wanted = (
        [zone.id for zone in site.zones] if zone_ids is None else [site.zone(each).id for each in zone_ids]
    )
    return {
        "site": site.name,
        "nights": [
            night_as_json(planner.plan(zone_id, night))
            for night in nights(from_date, to_date, planner.tz)
            for zone_id in wanted
        ],
    }


def night_as_json(plan: NightPlan) -> dict[str, Any]:
    """Say what one zone does in one night."""
    return {
        "night": plan.night.date.isoformat(),
        "zone": plan.zone,
        "windows": [
            {"on": instant_text(window.on_utc), "off": instant_text(window.off_utc), "span": window.span}
            for window in plan.windows
        ],
        "because": plan.because,
    }


def why_as_json(planner: Planner, zone_id: str, at_utc: datetime) -> dict[str, Any]:
    """Say whether a zone is lit at an instant, because of what and until when, by the site file alone.

    Args:
        planner: the site's plans.
        zone_id: id of the zone.
        at_utc: an aware instant, past or to come.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    at_utc = at_utc.astimezone(UTC)
    reading = Reading(utc=at_utc, boot_s=0.0, boot_id="", trusted=True, trust="the instant was given")
    decision = decide(zone_id, reading, planner=planner)
    head = {"site": planner.site.name, "zone": zone_id, "at": instant_text(at_utc)}
    return {**head, **decision_as_json(decision), "basis": "site file", "note": BY_SITE_FILE}


def decision_as_json(decision: Decision) -> dict[str, Any]:
    """Say what was decided, because of what, and until when."""
    return {
        "on": decision.on,
        "cause": str(decision.cause),
        "because": decision.words,
        "until": None if decision.until_utc is None else coming_text(decision.until_utc),
    }
