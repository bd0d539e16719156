"""Replacements as JSON."""

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, NightDate, ResponseModel, SiteName, ZoneId
from config.errors import UnknownZoneError
from config.models.site import Site
from controller.lamps.replacements import find_part
from controller.records.entries import Replacement


class ReplacementResponse(ResponseModel):
    """The lamps of a fixture, or the relay of a zone, that were replaced."""

    id: str = Field(description="zone, part and day", examples=["jetty.steps.2027-04-15"])
    zone: ZoneId
    part: str = Field(
        description="the fixture's id, or “relay”; its place in the site file where this was recorded before "
        "fixtures had ids",
        examples=["steps"],
    )
    fixture: int | None = Field(
        description="the fixture's place in the site file now, from 1; null for a relay, or where it is gone",
        examples=[1],
    )
    on: NightDate = Field(description="the day; the new lamps serve from that night on")
    note: str = Field(description="a note on it; empty where there is none", examples=["3000 K"])
    at: Instant = Field(description="when this was recorded")


class ReplacementsResponse(ResponseModel):
    """What was replaced, in the order of the days."""

    site: SiteName
    replacements: list[ReplacementResponse] = Field(description="in the order of their days")


def replacement_response(site: Site, entry: Replacement) -> ReplacementResponse:
    """Describe one replacement."""
    try:
        place = find_part(site.zone(entry.zone), entry.part).place
    except (UnknownZoneError, ValueError):
        place = None
    return ReplacementResponse(
        id=entry.id,
        zone=entry.zone,
        part=entry.part,
        fixture=place,
        on=entry.on_date.isoformat(),
        note=entry.note,
        at=instant_text(entry.at.utc),
    )
