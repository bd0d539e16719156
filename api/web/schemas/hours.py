"""Requests about the past and the year ahead, and requests and responses about replaced lamps."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from api.render.instants import instant_text
from api.render.model import Instant, NightDate, ResponseModel
from api.render.year_svg import NARROWEST_PX, USUAL_PX, WIDEST_PX
from api.web.schemas.fields import DateField, OneZone, RequestModel
from controller.records.entries import Replacement

PERIODS = "a season by the year in which it begins, a month, a night, or two nights joined by “to”"
_FIXTURE = "the fixture's place in the site file, from 1"


class HoursParams(RequestModel):
    """Which nights, and into what they are cut."""

    by: Literal["night", "month", "season", "whole"] = Field(
        "month", description="what a row is about; “whole” without dates adds up the journal's whole life"
    )
    period: str | None = Field(
        None, max_length=40, description=PERIODS, examples=["2027-winter", "2027-06", "2027-06-21"]
    )
    from_date: DateField | None = Field(
        None, alias="from", description="the first night; 14 nights, 12 months or 4 seasons back if left out"
    )
    to_date: DateField | None = Field(None, alias="to", description="the last night; tonight if left out")
    zone: OneZone = None


class YearSvgParams(RequestModel):
    """Which year is to be drawn, and how."""

    kind: Literal["past", "future"] = Field("future", description="what ran, or what will")
    from_date: DateField | None = Field(
        None,
        alias="from",
        description="the first of 365 nights; if left out, tonight is the first to come, or the last gone",
    )
    zone: OneZone = None
    width: int = Field(
        USUAL_PX,
        ge=NARROWEST_PX,
        le=WIDEST_PX,
        strict=False,
        description="width in pixels; below 620 it is laid out for a phone",
    )


class ReplacementsParams(RequestModel):
    """Whose replaced lamps."""

    zone: OneZone = None


class ReplacementRequest(RequestModel):
    """Lamps that were replaced."""

    zone: str = Field(description="id of the zone")
    fixture: int = Field(ge=1, le=10_000, description=_FIXTURE)
    on: DateField | None = Field(None, description="the day on which they were replaced; today if left out")
    note: str = Field("", max_length=200, description="a note on it")


class ReplacementResponse(ResponseModel):
    """Lamps that were replaced."""

    zone: str
    fixture: int = Field(description=_FIXTURE)
    on: NightDate = Field(description="the day; the new lamps serve from that night on")
    note: str
    at: Instant = Field(description="when this was recorded")


class ReplacementsResponse(ResponseModel):
    """Lamps that were replaced, in the order of their days."""

    site: str
    replacements: list[ReplacementResponse]


def replacement_response(entry: Replacement) -> ReplacementResponse:
    """Describe lamps that were replaced."""
    return ReplacementResponse(
        zone=entry.zone,
        fixture=entry.fixture,
        on=entry.on_date.isoformat(),
        note=entry.note,
        at=instant_text(entry.at.utc),
    )
