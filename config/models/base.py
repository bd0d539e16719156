"""What the models of the site file share: the base of every table, and the kinds of value in it.

The ``description`` of a field is more than documentation: it says what to write, in plain words, and
every refusal of that key quotes it after “write”. A new key needs one, a Phrase, and nothing else.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, GetPydanticSchema
from pydantic_core import CoreSchema, PydanticKnownError, core_schema

from config.phrase import Phrase
from config.program.parser import parse_span
from config.program.spans import Span
from config.program.special_nights import Nights, parse_nights


class Table(BaseModel):
    """The base of every table: never changes, has no unknown keys, takes no text for a number."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        populate_by_name=True,
        defer_build=True,  # built once, as part of the site, and not a second time alone
    )


def _take_float(value: Any) -> Any:  # noqa: ANN401 (anything may stand in a file)
    """Take a decimal number as the file's reader gives it; leave everything else to pydantic."""
    return float(value) if isinstance(value, Decimal) else value


def _take_decimal(value: Any) -> Any:  # noqa: ANN401 (anything may stand in a file)
    """Take a number as an exact decimal, so that 0.29 stays 0.29; true and false are no numbers."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return Decimal(str(value))


def read_by(take: Callable[[Any], Any]) -> GetPydanticSchema:
    """Leave a value to one function; pydantic then builds no model of its result, which would take time."""
    schema: CoreSchema = core_schema.no_info_plain_validator_function(take)
    return GetPydanticSchema(lambda _source, _handler: schema)


def text_of(kind: Any, parse: Callable[[str], Any]) -> GetPydanticSchema:  # noqa: ANN401 (a type or a union)
    """Read the text of a value by its parser; what is of the right type already stays as it is."""

    def take(value: object) -> object:
        if isinstance(value, kind):
            return value
        if not isinstance(value, str):
            raise PydanticKnownError("string_type")
        return parse(value)

    return read_by(take)


Number = Annotated[float, BeforeValidator(_take_float)]
Watts = Annotated[Number, Field(gt=0, le=3000)]
Loss = Annotated[Number, Field(ge=0, le=3000)]
Volts = Annotated[Number, Field(gt=0, le=60)]
Share = Annotated[Number, Field(gt=0, le=1)]
Money = Annotated[Decimal, BeforeValidator(_take_decimal)]
SpanText = Annotated[
    Span, text_of(Span, parse_span), Field(description=Phrase("a span such as “dusk to midnight”"))
]
NightsText = Annotated[Nights, text_of(Nights, parse_nights)]

Id = Annotated[
    str,
    Field(
        pattern=r"^[a-z0-9][a-z0-9-]*$",
        max_length=40,
        description=Phrase("lower case letters, digits and hyphens, at most 40, such as jetty-2"),
    ),
]
# What names the relay of a zone where a fixture is named by its id; so no fixture may be called so.
RELAY = "relay"


def _check_fixture_id(text: str) -> str:
    if text == RELAY:
        raise ValueError(Phrase("is what the zone's relay is called"))
    if text.isdigit():
        raise ValueError(Phrase("is a number, which names a fixture by its place in the list"))
    return text


FixtureId = Annotated[
    Id,
    AfterValidator(_check_fixture_id),
    Field(description=Phrase("lower case letters, digits and hyphens, with a letter, such as steps-2")),
]
# Something to read, and nothing that would break a line of a table: no control character.
_READABLE = r"^[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*$"
LONGEST_NAME = 100
Name = Annotated[
    str,
    Field(
        pattern=_READABLE,
        max_length=LONGEST_NAME,
        description=Phrase("a name in one line of at most 100 characters"),
    ),
]
Words = Annotated[str, Field(pattern=_READABLE, max_length=200)]
