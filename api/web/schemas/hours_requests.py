"""What the web server is asked about the past and the year ahead: parameters and bodies, read strictly."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from api.render.year_svg import NARROWEST_PX, USUAL_PX, WIDEST_PX
from api.web.schemas.fields import DateField, RequestModel

PERIODS = "a season by the year in which it begins, a month, a night, or two nights joined by “to”"


class HoursParams(RequestModel):
    """The nights that are asked about, and into what they are cut."""

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
    zone: str | None = Field(None, description="id of one zone; every zone if left out")


class PictureQuery(RequestModel):
    """Which year is to be drawn, and how."""

    kind: Literal["past", "future"] = Field("future", description="what ran, or what will")
    from_date: DateField | None = Field(
        None,
        alias="from",
        description="the first of 365 nights; if left out, tonight is the first to come, or the last gone",
    )
    zone: str | None = Field(None, description="id of one zone; every zone if left out")
    width: int = Field(
        USUAL_PX,
        ge=NARROWEST_PX,
        le=WIDEST_PX,
        strict=False,
        description="width in pixels; below 620 it is laid out for a phone",
    )


class ReplacementsQuery(RequestModel):
    """Whose replaced lamps are asked about."""

    zone: str | None = Field(None, description="id of one zone; every zone if left out")


class ReplacementAsk(RequestModel):
    """Lamps that were replaced."""

    zone: str = Field(description="id of the zone")
    fixture: int = Field(ge=1, le=10_000, description="the fixture's place in the site file, from 1")
    on: DateField | None = Field(None, description="the day on which they were replaced; today if left out")
    note: str = Field("", max_length=200, description="what to remember about it")
