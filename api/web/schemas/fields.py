"""What the request models share: their base, and fields that are read from text."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, TypeVar

from pydantic import BaseModel, ConfigDict, Field, GetPydanticSchema, WithJsonSchema, field_validator
from pydantic_core import PydanticKnownError, core_schema

from api.render.instants import EXAMPLE, read_date, read_instant
from config.program.parser import parse_duration, parse_span
from config.program.spans import ClockEdge, Duration, Span
from config.program.special_nights import Nights, parse_nights
from controller.forecast.mechanical_timer import Pins, parse_pins
from controller.forecast.year import parse_off, parse_other_program

T = TypeVar("T")


def _require_text(value: object) -> object:
    """Refuse half of a pair of surrogates, which JSON may carry and no text in UTF-8 can.

    Source: RFC 8259, section 8.2.
    """
    if isinstance(value, str) and any("\ud800" <= letter <= "\udfff" for letter in value):
        raise PydanticKnownError("string_unicode")
    return value


class RequestModel(BaseModel):
    """The base of every body and of all parameters: only described fields, and no text for a number."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    _text = field_validator("*", mode="before")(_require_text)


def _reader(read: Callable[[str], T]) -> GetPydanticSchema:
    """Have a string read by a function; anything else is refused, and no model is built of the result."""

    def take(value: object) -> T:
        if not isinstance(value, str):
            raise PydanticKnownError("string_type")
        _require_text(value)
        return read(value)

    schema = core_schema.no_info_plain_validator_function(take)
    return GetPydanticSchema(lambda _source, _handler: schema)


def _text(**schema: object) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", **schema})


def _read_edge(text: str) -> date | datetime:
    """Read the beginning or the end of a period: a night by its date, or an instant."""
    try:
        return read_instant(text) if "T" in text.upper() or " " in text else read_date(text)
    except ValueError as error:
        raise ValueError(f"{error}, or the date of a night" if "T" in text.upper() else str(error)) from error


SpanField = Annotated[Span, _reader(parse_span), _text(examples=["dusk to midnight"])]
NightsField = Annotated[Nights, _reader(parse_nights), _text(examples=["Fri, Sat"])]
LengthField = Annotated[Duration, _reader(parse_duration), _text(examples=["1h30m"])]
InstantField = Annotated[datetime, _reader(read_instant), _text(format="date-time", examples=[EXAMPLE])]
DateField = Annotated[date, _reader(read_date), _text(format="date", examples=["2027-06-21"])]
OneZone = Annotated[
    str | None, Field(description="id of one zone; every zone if left out", examples=["jetty"])
]
OffField = Annotated[ClockEdge, _reader(parse_off), _text(examples=["01:00"])]
OtherProgramField = Annotated[
    tuple[Span, ...],
    _reader(parse_other_program),
    _text(examples=["dusk to 22:00 and 05:30 to dawn"]),
]
PinsField = Annotated[Pins, _reader(parse_pins), _text(examples=["21:15-23:45"])]
EdgeField = Annotated[date | datetime, _reader(_read_edge), _text(examples=["2027-06-21", EXAMPLE])]
