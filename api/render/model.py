"""The base of every model that documents a JSON document and makes it, and the fields that stand in many."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

Instant = Annotated[
    str, WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2027-06-22T00:56:40Z"]})
]
NightDate = Annotated[str, WithJsonSchema({"type": "string", "format": "date", "examples": ["2027-06-21"]})]
SiteName = Annotated[str, Field(description="name of the site", examples=["Saltmarsh Lodge"])]
TimeZoneName = Annotated[
    str, Field(description="time zone of the site, by its IANA name", examples=["America/New_York"])
]
Currency = Annotated[
    str | None,
    Field(description="currency of every cost, by ISO 4217; null without a tariff", examples=["USD"]),
]
FixturePlace = Annotated[
    int, Field(description="its place in the zone's list in the site file, from 1", examples=[1])
]
AS_COST = "rounded to the currency's smallest unit; null without a tariff"
Origin = Literal["measured", "fixtures", "rated"]
ZoneId = Annotated[str, Field(description="id of the zone in the site file", examples=["jetty"])]
Notes = Annotated[
    list[str],
    Field(
        description="what limits these figures",
        examples=[["at least: orchard has no load; add fixtures, rated_watts or measured_watts"]],
    ),
]


class ResponseModel(BaseModel):
    """A response or a part of one: frozen, and without any field that its description does not name.

    A key that is no name in Python, such as ``from``, is a ``serialization_alias``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", serialize_by_alias=True)


class SiteProblemResponse(ResponseModel):
    """One thing that is wrong, or worth knowing, in a site file."""

    file: str = Field(description="name of the file", examples=["site.toml"])
    line: int = Field(description="its line, from 1; 0 where it belongs to no line", examples=[17])
    key: str = Field(
        description="dotted path of the key, with places in lists from 1", examples=["zones[2].pin"]
    )
    value: str = Field(description="what stands there; empty where something is missing", examples=["99"])
    what: str = Field(description="what is wrong, or worth knowing", examples=["is not an allowed value"])
    remedy: str = Field(description="what to do", examples=["write the BCM number of a header pin, 2 to 27"])
    where: str = Field(
        description="the place by the zone's id; empty where the key says it", examples=["zone “jetty”, pin"]
    )
