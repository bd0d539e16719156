"""What the web server answers about lamps that were replaced."""

from __future__ import annotations

from pydantic import Field

from api.render.model import Instant, NightDate, ResponseModel


class ReplacementAnswer(ResponseModel):
    """Lamps that were replaced."""

    zone: str
    fixture: int = Field(description="the fixture's place in the site file, from 1")
    on: NightDate = Field(description="the day; the new lamps serve from that night on")
    note: str
    at: Instant = Field(description="when this was taken down")


class ReplacementsAnswer(ResponseModel):
    """Lamps that were replaced, in the order of their days."""

    site: str
    replacements: list[ReplacementAnswer]
