"""The base of every model that documents a JSON document and makes it, and the texts that stand in many."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, WithJsonSchema

Instant = Annotated[
    str, WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2027-06-22T00:56:40Z"]})
]
NightDate = Annotated[str, WithJsonSchema({"type": "string", "format": "date", "examples": ["2027-06-21"]})]


class ResponseModel(BaseModel):
    """A response or a part of one: frozen, and without any field that its description does not name.

    A key that is no name in Python, such as ``from``, is a ``serialization_alias``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", serialize_by_alias=True)
