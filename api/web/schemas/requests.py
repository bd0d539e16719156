"""What the web server is asked, as models: bodies and parameters, each read strictly and refused in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, GetPydanticSchema, WithJsonSchema, model_validator
from pydantic.config import JsonDict
from pydantic_core import PydanticKnownError, core_schema

from api.render.instants import EXAMPLE, read_date, read_instant
from config.program.parser import parse_duration, parse_span
from config.program.spans import Duration, Span
from config.program.special_nights import Nights, parse_nights

T = TypeVar("T")

MOST_SWITCHINGS = 1000
USUAL_SWITCHINGS = 100


def _reader(read: Callable[[str], T]) -> GetPydanticSchema:
    """Leave a text to one function; anything but a text is refused, and no model is built of the result."""

    def take(value: object) -> T:
        if not isinstance(value, str):
            raise PydanticKnownError("string_type")
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            # Half of a pair of surrogates: JSON may carry it (RFC 8259, section 8.2), no text in UTF-8 can.
            raise PydanticKnownError("string_unicode")
        return read(value)

    schema = core_schema.no_info_plain_validator_function(take)
    return GetPydanticSchema(lambda _source, _handler: schema)


def _text(**schema: object) -> WithJsonSchema:
    """Describe a text to readers of the API's description."""
    return WithJsonSchema({"type": "string", **schema})


def _read_edge(text: str) -> date | datetime:
    """Read the edge of a stretch of time: a night by its date, or an instant."""
    try:
        return read_instant(text) if "T" in text.upper() or " " in text else read_date(text)
    except ValueError as error:
        raise ValueError(f"{error}, or the date of a night" if "T" in text.upper() else str(error)) from error


SpanField = Annotated[Span, _reader(parse_span), _text(examples=["dusk to midnight"])]
NightsField = Annotated[Nights, _reader(parse_nights), _text(examples=["Fri, Sat"])]
LengthField = Annotated[Duration, _reader(parse_duration), _text(examples=["1h30m"])]
InstantField = Annotated[datetime, _reader(read_instant), _text(format="date-time", examples=[EXAMPLE])]
DateField = Annotated[date, _reader(read_date), _text(format="date", examples=["2027-06-21"])]
EdgeField = Annotated[date | datetime, _reader(_read_edge), _text(examples=["2027-06-21", EXAMPLE])]


class Ask(BaseModel):
    """The base of everything that is asked: no field that is not written down here, no text for a number."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class SpecialNightAsk(Ask):
    """Nights that differ, and what the zone does then."""

    nights: NightsField = Field(
        description="weekdays such as “Fri, Sat”, a date such as “2027-12-31”, or a stretch of every year "
        "such as “12-20 to 01-06”"
    )
    program: list[SpanField] = Field(description="spans; an empty list means dark")


class ProgramAsk(Ask):
    """What a zone is to do from now on."""

    program: list[SpanField] = Field(description="spans for every night; an empty list means dark")
    special_nights: list[SpecialNightAsk] | None = Field(
        None,
        description="nights that differ, the last that matches decides; left out, those of the file stay",
    )


# The same in the description's own language as in ``_one_end``.
_NOT_BOTH: JsonDict = {
    "not": {
        "required": ["until", "for"],
        "properties": {"until": {"type": "string"}, "for": {"type": "string"}},
    }
}


class OverrideAsk(Ask):
    """Light or dark for now: until an instant, for a time, or until the program's next change."""

    model_config = ConfigDict(json_schema_extra=_NOT_BOTH)

    light: Literal["on", "off"]
    until: InstantField | None = Field(None, description="the instant at which it ends (RFC 3339)")
    lasts: LengthField | None = Field(None, alias="for", description="or how long it lasts")

    @model_validator(mode="after")
    def _one_end(self) -> Self:
        """Refuse two ends."""
        if self.until is not None and self.lasts is not None:
            raise ValueError("an override ends at an instant or after a time; give “until” or “for”")
        return self


class WhyAsk(Ask):
    """The instant that is asked about."""

    at: InstantField | None = Field(None, description="the instant (RFC 3339); now where it is left out")


class NightsAsk(Ask):
    """The nights and the zone that are asked about."""

    from_date: DateField | None = Field(
        None, alias="from", description="the first night; tonight if left out"
    )
    to_date: DateField | None = Field(
        None, alias="to", description="the last night; six nights after the first if left out"
    )
    zone: str | None = Field(None, description="id of one zone; every zone if left out")


class SwitchingsAsk(Ask):
    """The switchings that are asked about."""

    from_edge: EdgeField | None = Field(
        None,
        alias="from",
        description="an instant, or a night's date; a week before the end, or now, if left out",
    )
    to_edge: EdgeField | None = Field(
        None, alias="to", description="an instant, or the date of the last night; no end if left out"
    )
    zone: str | None = Field(None, description="id of one zone; every zone if left out")
    limit: int = Field(
        USUAL_SWITCHINGS, ge=1, le=MOST_SWITCHINGS, strict=False, description="how many at most"
    )
    cursor: str | None = Field(
        None,
        pattern=r"^[0-9]{1,14}\.[0-9]{1,4}$",
        description="where an earlier answer ended; its “next” carries it",
    )
