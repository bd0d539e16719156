"""The fields of the garden's forms: what stands in a table of the site file, as text, and back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, Literal, NamedTuple

from api.render.words import N_, Words
from config.errors import ProgramError
from config.program.parser import parse_clock
from config.program.special_nights import Nights, Weekdays, parse_nights

NEEDED = N_("This is needed.")
# fmt: off
Kind = Literal[
    "text", "texts", "number", "whole", "numbers", "readings", "date", "clock", "days", "season",
    "choice", "place", "time zone",
]
# fmt: on
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_ENDS = ("first", "last")
_SEASON = re.compile(r"\d\d-\d\d to \d\d-\d\d")


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
        more: whether few people need it, so that it stands behind “More”.
        suggestions: what it may be, beside anything else.
    """

    key: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    choices: Sequence[Choice] = ()
    default: str = ""
    required: bool = False
    more: bool = False
    suggestions: Sequence[str] = ()

    def show(self, table: Mapping[str, Any]) -> str:
        """Give what a table has here, as text."""
        if self.key not in table:
            return self.default
        value = table[self.key]
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, list):
            return ", ".join(map(str, value))
        if self.kind == "clock":
            return _read_clock(str(value))
        if self.kind in ("days", "season"):
            nights = _read_nights(str(value))
            return str(value) if nights is None else str(nights)
        return str(value)

    def written(self, form: Mapping[str, str]) -> str:
        """Give what somebody wrote into a form here, also into several boxes, as text."""
        if self.key in form or self.kind not in ("days", "season"):
            return form.get(self.key, "")
        if self.kind == "days":
            return ", ".join(day for day in DAYS if f"{self.key}-{day}" in form)
        if form.get(f"{self.key}-kind") != "stretch":
            return ""
        first, last = (
            f"{form.get(f'{self.key}-{end}-month', '')}-{form.get(f'{self.key}-{end}-day', '')}"
            for end in _ENDS
        )
        return f"{first} to {last}"

    def say(self, text: str, words: Words) -> str:
        """Say what it is, as the form does: a choice by its name."""
        for choice in self.choices:
            if choice.value == text:
                return choice.label if choice.is_name else words.gettext(choice.label)
        return text

    def is_split(self, text: str) -> bool:
        """Whether a text of days or a season can be shown in several boxes."""
        if self.kind == "days":
            return not text or isinstance(_read_nights(text), Weekdays)
        return self.kind == "season" and (not text or _SEASON.fullmatch(text) is not None)

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
        if self.kind == "choice":
            return {"true": True, "false": False}.get(text, text)
        if self.kind in ("numbers", "readings"):
            numbers = [self._number(each) for each in _parts(text)]
            return numbers[0] if self.kind == "readings" and len(numbers) == 1 else numbers
        read = {"date": self._date, "texts": _parts, "number": self._number, "whole": self._number}
        return read.get(self.kind, str)(text)

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


def _parts(text: str) -> list[str]:
    """Split a list: at commas, or at semicolons where there are any, so that a number may have a comma."""
    return [each.strip() for each in text.split(";" if ";" in text else ",") if each.strip()]


def _read_nights(text: str) -> Nights | None:
    try:
        return parse_nights(text)
    except ProgramError:
        return None


def _read_clock(text: str) -> str:
    """Give a time of day as a box for times has it; one that is not valid as it is."""
    try:
        return f"{parse_clock(text):%H:%M}"
    except ProgramError:
        return text


CONTACT_LOAD = Field(
    key="contact_load",
    label=N_("That rating is for"),
    kind="choice",
    choices=(
        Choice("resistive", N_("resistive loads")),
        Choice("lamps", N_("lamps, with their inrush")),
    ),
    default="resistive",
    more=True,
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
    Field(key="no_load_w", label=N_("Watts that it takes with nothing lit"), kind="number", more=True),
    Field(key="copper_w", label=N_("Watts that its windings lose at its rating"), kind="number", more=True),
    Field(
        key="efficiency",
        label=N_("Or its efficiency"),
        kind="number",
        hint=N_("What it gives over what it takes, such as 0.88"),
        more=True,
    ),
    Field(key="mains_volts", label=N_("Volts of the mains"), kind="number", more=True),
    Field(key="commons", label=N_("How many commons it has"), kind="whole", default="1", more=True),
    Field(
        key="common_limit_a",
        label=N_("Amperes that each common may carry"),
        kind="number",
        default="25",
        more=True,
    ),
    Field(
        key="regulation_percent",
        label=N_("How much its volts rise with nothing lit, in percent"),
        kind="number",
        hint=N_("Its regulation, from the plate or the makers' sheet"),
        more=True,
    ),
    Field(
        key="no_load_volts",
        label=N_("Or as measured: volts with nothing lit"),
        kind="number",
        hint=N_("At the tap in use"),
        more=True,
    ),
    Field(
        key="full_load_volts",
        label=N_("And volts at its rated load"),
        kind="number",
        hint=N_("Empty: those of the tap"),
        more=True,
    ),
    Field(key="measured_volts", label=N_("Volts measured at the tap, all lit"), kind="number", more=True),
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
    Field(key="rated_life_h", label=N_("Its rated life in hours"), kind="number"),
    Field(key="fitted", label=N_("Fitted on"), kind="date"),
    Field(key="rated_volts", label=N_("Its rated volts"), kind="number", default="12", more=True),
    Field(
        key="volts",
        label=N_("Volts that it allows"),
        kind="numbers",
        hint=N_("The lowest and the highest, from its plate: 10, 15"),
        more=True,
    ),
    Field(
        key="driver",
        label=N_("Driver of an LED"),
        kind="choice",
        choices=(
            Choice("regulated", N_("regulated: always the same watts")),
            Choice("linear", N_("linear: always the same amperes")),
            Choice("resistor", N_("resistor: amperes as the volts")),
        ),
        default="regulated",
        more=True,
    ),
    Field(
        key="power_factor",
        label=N_("Power factor"),
        kind="number",
        hint=N_("From its plate, such as 0.9"),
        default="1",
        more=True,
    ),
    Field(
        key="dimmed",
        label=N_("A dimmer is in front of it"),
        kind="choice",
        choices=(Choice("true", N_("yes")), Choice("false", N_("no"))),
        default="false",
        more=True,
    ),
    Field(key="lead", label=N_("Length of its own lead"), hint=N_("With its unit: 3 ft or 1 m"), more=True),
    Field(key="lead_gauge", label=N_("Gauge of its own lead"), hint=N_("Empty: 18 AWG"), more=True),
    Field(
        key="measured_volts",
        label=N_("Volts measured, all lit"),
        kind="readings",
        hint=N_("At the last of them; or one for each, with commas"),
        more=True,
    ),
    Field(
        key="id",
        label=N_("Its short name in the site file"),
        hint=N_("Replaced lamps are recorded under it. Its history goes on under another one, too."),
        more=True,
    ),
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
ZONE_CONTACT = (
    Field(
        key="contact_a",
        label=N_("Amperes that its relay's contact is rated for"),
        kind="number",
        hint=N_("Where it is another relay than the others"),
        more=True,
    ),
    Field(
        key="contact_inrush_a",
        label=N_("Amperes that it can take for a moment"),
        kind="number",
        hint=N_("From its data sheet"),
        more=True,
    ),
    CONTACT_LOAD,
)
ZONE_ID = Field(
    key="id",
    label=N_("Its short name in the site file"),
    hint=N_("Lower case letters, digits and hyphens. Its history goes on under another one, too."),
    required=True,
    more=True,
)
