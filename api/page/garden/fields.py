"""The fields of the garden's forms: what stands in a table of the site file, as text, and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, Literal, NamedTuple

from api.render.words import N_

NEEDED = N_("This is needed.")
Kind = Literal["text", "number", "whole", "numbers", "date", "choice", "place", "time zone"]


class FieldError(ValueError):
    """What somebody wrote cannot stand in that field; the text is for the catalogue."""

    def __init__(self, key: str, words: str) -> None:
        self.key = key
        super().__init__(words)


class Choice(NamedTuple):
    """One of the values of a field, and how it is called: for the catalogue, or as it is."""

    value: str
    label: str
    is_name: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Field:
    """One field: its key in the site file, and what it is called.

    Attributes:
        label, hint: for the catalogue.
        default: what holds where the key is missing.
    """

    key: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    choices: Sequence[Choice] = ()
    default: str = ""
    required: bool = False

    def show(self, table: Mapping[str, Any]) -> str:
        """Give what a table has here, as text."""
        if self.key not in table:
            return self.default
        value = table[self.key]
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, list):
            return ", ".join(map(str, value))
        return str(value)

    def read(self, text: str) -> Any:  # noqa: ANN401 - text, number, date or list
        """Read what somebody wrote; None where the key is not needed.

        Raises:
            FieldError: it is not of the kind that belongs here.
        """
        text = text.strip()
        if not text:
            if self.required:
                raise FieldError(self.key, NEEDED)
            return None
        if self.kind == "choice" and text in ("true", "false"):
            return text == "true"
        if self.kind == "date":
            return self._date(text)
        if self.kind == "numbers":
            return [self._number(each) for each in text.replace(";", ",").split(",") if each.strip()]
        if self.kind in ("number", "whole"):
            return self._number(text)
        return text

    def _number(self, text: str) -> Decimal | int:
        plain = text.strip()
        if plain.count(",") == 1 and "." not in plain:
            plain = plain.replace(",", ".")
        if self.kind == "whole" and plain.isdecimal():
            return int(plain)
        try:
            number = Decimal(plain)
        except InvalidOperation:
            number = Decimal("nan")
        if self.kind == "whole" or not number.is_finite() or "e" in plain.lower():
            words = (
                N_("Write a whole number.") if self.kind == "whole" else N_("Write a number, such as 4.5.")
            )
            raise FieldError(self.key, words)
        return int(plain) if plain.lstrip("-").isdecimal() else number

    def _date(self, text: str) -> date:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise FieldError(self.key, N_("Write a date, such as 2027-04-15.")) from None


CUSTOMER = (
    Field(key="name", label=N_("Name"), required=True),
    Field(key="address", label=N_("Address")),
)
INSTALLER = (
    Field(key="name", label=N_("Name"), required=True),
    Field(key="telephone", label=N_("Telephone")),
    Field(key="email", label=N_("E-mail")),
)
TARIFF = (
    Field(
        key="currency", label=N_("Currency"), hint=N_("Its three letters, such as USD or EUR"), required=True
    ),
    Field(key="per_kwh", label=N_("Price of a kilowatt-hour"), kind="number", required=True),
)
NAME = (Field(key="name", label=N_("What the garden is called"), required=True),)
PLACE = (
    Field(
        key="place",
        label=N_("Where it is"),
        kind="place",
        hint=N_("Coordinates, the link of a map, or a larger city nearby"),
        required=True,
    ),
    Field(
        key="time_zone",
        label=N_("Its time zone"),
        kind="time zone",
        hint=N_("An area and a city, such as Europe/Oslo; empty: that of the place"),
    ),
)
TRANSFORMER = (
    Field(key="name", label=N_("What it is called"), required=True),
    Field(
        key="rated_va", label=N_("Its rating in VA"), kind="number", hint=N_("From its plate"), required=True
    ),
    Field(
        key="relay_side",
        label=N_("Where the relays are"),
        kind="choice",
        choices=(
            Choice("low voltage", N_("on its output: low voltage")),
            Choice("mains", N_("before it: they switch the mains")),
        ),
        default="low voltage",
    ),
    Field(key="tap", label=N_("Volts of the tap in use"), kind="number"),
    Field(
        key="taps", label=N_("Volts of all its taps"), kind="numbers", hint=N_("With commas: 12, 13, 14, 15")
    ),
    Field(key="no_load_w", label=N_("Watts that it takes with nothing lit"), kind="number"),
    Field(key="copper_w", label=N_("Watts that its windings lose at its rating"), kind="number"),
    Field(
        key="efficiency",
        label=N_("Or its efficiency"),
        kind="number",
        hint=N_("What it gives over what it takes, such as 0.88"),
    ),
    Field(key="mains_volts", label=N_("Volts of the mains"), kind="number"),
    Field(key="measured_volts", label=N_("Volts measured at the tap, all lit"), kind="number"),
)
FIXTURE = (
    Field(
        key="kind",
        label=N_("Kind"),
        kind="choice",
        required=True,
        choices=(
            Choice("path", N_("path light")),
            Choice("spot", N_("spotlight")),
            Choice("wash", N_("wash light")),
            Choice("step", N_("step light")),
            Choice("well", N_("well light")),
            Choice("bollard", N_("bollard")),
            Choice("string", N_("string of bulbs")),
            Choice("tape", N_("tape")),
            Choice("pendant", N_("pendant")),
            Choice("underwater", N_("underwater light")),
            Choice("other", N_("another kind")),
        ),
    ),
    Field(key="name", label=N_("What they are called, if you like")),
    Field(key="count", label=N_("How many"), kind="whole", required=True),
    Field(key="watts", label=N_("Watts of one lamp"), kind="number", required=True),
    Field(
        key="lamp",
        label=N_("Lamp"),
        kind="choice",
        choices=(Choice("led", N_("LED")), Choice("filament", N_("with a filament, such as halogen"))),
        default="led",
    ),
    Field(key="rated_volts", label=N_("Its rated volts"), kind="number", default="12"),
    Field(key="rated_life_h", label=N_("Its rated life in hours"), kind="number"),
    Field(key="fitted", label=N_("Fitted on"), kind="date"),
)
NODE = Field(
    key="node",
    label=N_("Where on the cables"),
    hint=N_("A node, a line or a hub of the site file; empty: the line or hub of this zone"),
)
ACTIVE_HIGH = Field(
    key="active_high",
    label=N_("Its relay closes on"),
    kind="choice",
    choices=(Choice("false", N_("low, as most relay boards do")), Choice("true", N_("high"))),
    default="false",
)
ZONE_NAME = Field(key="name", label=N_("What the zone is called"), required=True)
OUT_OF_SERVICE = Field(
    key="out_of_service",
    label=N_("Out of service, because"),
    hint=N_("A reason keeps it dark; empty: in service"),
)
ZONE_WATTS = (
    Field(
        key="rated_watts",
        label=N_("Watts of the whole zone"),
        kind="number",
        hint=N_("Where its lamps are not listed"),
    ),
    Field(key="measured_watts", label=N_("Watts measured on site"), kind="number"),
)
ZONE_ID = Field(
    key="id",
    label=N_("Its short name in the site file"),
    hint=N_("Lower case letters, digits and hyphens. Its history goes on under another one, too."),
    required=True,
)
