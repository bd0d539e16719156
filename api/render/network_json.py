"""Where the API is reached, as JSON."""

from typing import Annotated

from pydantic import Field, SkipValidation

from api.render.model import ResponseModel


class NetworkResponse(ResponseModel):
    """The addresses of the API."""

    board: str = Field(
        description="for programs and people on the board itself", examples=["http://127.0.0.1:8010/"]
    )
    home: list[str] = Field(
        description="for the home network, the best first; none where the site file opens none",
        examples=[["http://192.168.1.20:8010/", "http://leerie.local:8010/"]],
    )
    encrypted: bool = Field(description="whether the home network is served by https")
    # As they are: pydantic would turn a phrase into a plain text, which has no other language.
    faults: list[Annotated[str, SkipValidation]] = Field(
        description="what is wrong, for the home network, and what to do",
        examples=[["port 8010 on 192.168.1.20 is in use by another program; choose another port"]],
    )


class AddressesReport(NetworkResponse):
    """The same, for whoever asks on the command line."""

    site: str
    basis: str = Field(description="“daemon”, or “site file” where none answers: then as it would be")
