"""Who a site belongs to and who looks after it, for the head of what is printed."""

from typing import Annotated

from pydantic import Field

from config.models.base import Name, Table, Words
from config.phrase import Phrase

# Digits in groups, after a plus sign where the country is given (ITU-T E.123).
_Telephone = Annotated[str, Field(pattern=r"^\+?[0-9(][0-9 ().-]{1,28}[0-9]$")]
_Email = Annotated[str, Field(pattern=r"^[^\s@<>,;]+@[^\s@<>,;]+\.[^\s@<>,;.]+$", max_length=254)]


class Customer(Table):
    """Whose property it is."""

    name: Name
    address: Words | None = Field(
        None, description=Phrase("an address in one line of at most 200 characters")
    )


class Installer(Table):
    """Who looks after the lights."""

    name: Name
    telephone: _Telephone | None = Field(
        None,
        description=Phrase("a telephone number of digits, blanks and hyphens, such as “+1 802 555 0142”"),
    )
    email: _Email | None = Field(None, description=Phrase("an e-mail address such as “garden@example.com”"))
