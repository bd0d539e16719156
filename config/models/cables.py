"""What the site file says of cables: the [[cables]] and [wiring] tables, and the wiring keys of two others.

A cable is written from the transformer outwards. It ends at one node (``to``), or it is one of two simple
forms: a ``line``, whose lights are spread evenly along it, and a ``hub`` with legs. Several cables make up a
line where each says how many of its ``lights`` it has, in the order of the file. One that leads ``to`` a
node of another cable closes a ring, or lies beside that cable.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Any, Final, Literal

from pydantic import Field

from config.errors import CableTextError
from config.models.base import Name, Number, Share, Table, Volts, read_by, text_of
from config.phrase import Phrase

M_PER_FT: Final = 0.3048
"""International foot, exact."""

# The sizes that have a published resistance, the American ones with the area of their copper: NEC chapter 9
# table 8 and IEC 60228. Held against the tables of resistances by tests/config/models/test_cables.py.
_AWG_AREA_MM2: Final = {
    18: 0.8230, 16: 1.3087, 14: 2.0809, 12: 3.3088, 10: 5.2612, 8: 8.3656, 6: 13.3018, 4: 21.1506,
}  # fmt: skip
_MM2_SIZES: Final = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)
_STRANDED_ONLY: Final = (6, 4)
_NUMBER: Final = r"\d{1,3}(?:\.\d{1,3})?"
_BUILD: Final = r"(?:\s+(?P<build>solid|stranded|flexible))?\s*"
# 12 AWG, AWG 12, #12, 12 ga, 12 gauge, and with the number of conductors 12/2 or 12-2.
_AWG: Final = re.compile(
    rf"\s*(?P<mark>awg\s*|\#\s*)?(?P<size>{_NUMBER})\s*(?P<unit>awg|gauge|ga\.?)?\s*"
    rf"(?:[/-]\s*(?P<cores>\d{{1,2}}))?\s*(?P<after>awg|gauge|ga\.?)?{_BUILD}",
    re.IGNORECASE,
)
# 2.5 mm2, 2.5 mm², 2.5 sq mm, and with the number of conductors 2 x 2.5 mm2.
_MM2: Final = re.compile(
    rf"\s*(?:(?P<cores>\d{{1,2}})\s*[x×]\s*)?(?P<size>{_NUMBER})\s*(?P<unit>mm2|mm²|mm\^2|sq\.?\s*mm)?{_BUILD}",
    re.IGNORECASE,
)
_LENGTH: Final = re.compile(
    r"""\s*(?:(?P<m>\d{1,6}(?:\.\d{1,6})?)\s*(?:m|meters?|metres?)
      | (?:(?P<ft>\d{1,6}(?:\.\d{1,6})?)\s*(?:ft\.?|feet|foot|['’′]))?
        (?(ft)[\s,-]*)
        (?:(?P<inch>\d{1,6}(?:\.\d{1,6})?)\s*(?:inch(?:es)?|in\.?|["”″]|''))?)\s*""",
    re.IGNORECASE | re.VERBOSE,
)
# Twice round the largest garden: beyond this a unit is wrong.
_LONGEST_M: Final = 3000.0
MOST_VOLTS: Final = 60.0
COMMON_LIMIT_A: Final = 25.0
"""NEC 411 (quoted): the most current of a secondary circuit; taken for each common."""

_A_GAUGE = Phrase("a gauge such as “12 AWG”, “12/2”, “12 AWG solid” or “2.5 mm2”")
_A_LENGTH = Phrase("a length such as “100 ft”, “8 ft 6 in” or “30 m”")
_WRITE_A_GAUGE = Phrase("write {right}", right=_A_GAUGE)
_WRITE_A_LENGTH = Phrase("write {right}", right=_A_LENGTH)


class Unit(StrEnum):
    """How a gauge is counted."""

    AWG = "AWG"
    MM2 = "mm2"


class Build(StrEnum):
    """How a conductor is made: IEC 60228 class 1, 2 and 5; the NEC table has the first two."""

    SOLID = "solid"
    STRANDED = "stranded"
    FLEXIBLE = "flexible"


# Where nothing is said: stranded for AWG, fine-stranded class 5 for mm²; each the higher of its table.
_USUAL_BUILD: Final = {Unit.AWG: Build.STRANDED, Unit.MM2: Build.FLEXIBLE}
# At least one of these says that a number is a gauge, and of which kind.
_MARKS: Final = {Unit.MM2: ("unit",), Unit.AWG: ("mark", "unit", "cores", "after")}
_CONDUCTORS: Final = 2
_SIZES_TO_USE: Final = {
    Unit.AWG: Phrase("use 18, 16, 14, 12, 10 or 8 AWG, stranded or solid, or 6 or 4 AWG stranded"),
    Unit.MM2: Phrase("use 0.75, 1, 1.5, 2.5, 4, 6, 10 or 16 mm2"),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Gauge:
    """The thickness and make of one conductor; ``size`` is the AWG number, or the area in mm².

    Raises:
        CableTextError: no table has a resistance for it.
    """

    size: float
    unit: Unit
    build: Build

    def __post_init__(self) -> None:
        if self.unit is Unit.MM2:
            known = self.size in _MM2_SIZES
        else:
            known = self.size in _AWG_AREA_MM2 and self.build is not Build.FLEXIBLE
            known = known and not (self.size in _STRANDED_ONLY and self.build is Build.SOLID)
        if not known:
            what = Phrase("is not in any table of resistances")
            raise CableTextError(str(self), what, _SIZES_TO_USE[self.unit])

    def __str__(self) -> str:
        text = f"{self.size:g} {self.unit}"
        return text if self.build is _USUAL_BUILD[self.unit] else f"{text} {self.build}"

    @property
    def area_mm2(self) -> float:
        """Area of the copper of one conductor, in mm²."""
        return _AWG_AREA_MM2[int(self.size)] if self.unit is Unit.AWG else self.size


def parse_gauge(text: str) -> Gauge:
    """Read a gauge as a person writes it: ``12 AWG``, ``12/2``, ``12 ga solid``, ``2.5 mm²``.

    Raises:
        CableTextError: the text is not a gauge, has another number of conductors than two, or its size is in
            no table.
    """
    for unit, pattern in ((Unit.MM2, _MM2), (Unit.AWG, _AWG)):
        found = pattern.fullmatch(text)
        if found is not None and any(found.group(key) for key in _MARKS[unit]):
            break
    else:
        raise _refuse(text, Phrase("is not a gauge"), _WRITE_A_GAUGE)
    if found["cores"] and int(found["cores"]) != _CONDUCTORS:
        what = Phrase("has {count} conductors, and the lamps are fed by two", count=found["cores"])
        remedy = Phrase("write the gauge alone, such as “{gauge}”", gauge=f"{found['size']} {unit}")
        raise CableTextError(text, what, remedy)
    build = Build(found["build"].lower()) if found["build"] else _USUAL_BUILD[unit]
    return Gauge(size=float(found["size"]), unit=unit, build=build)


def parse_length(text: str) -> float:
    """Read a length as a person writes it, ``100 ft``, ``8'``, ``8 ft 6 in``, ``30 m``, and return metres.

    Raises:
        CableTextError: the text is not a length, has no unit, or is not above zero.
    """
    found = _LENGTH.fullmatch(text)
    if found is None or not any(found.groups()):
        raise _refuse(text, Phrase("is not a length with its unit"), _WRITE_A_LENGTH)
    if found["m"]:
        length_m = float(found["m"])
    else:
        length_m = (float(found["ft"] or 0) + float(found["inch"] or 0) / 12.0) * M_PER_FT
    if length_m <= 0.0:
        raise CableTextError(text, Phrase("is not above zero"), _WRITE_A_LENGTH)
    return length_m


def _refuse(text: str, what: Phrase, remedy: Phrase) -> CableTextError:
    if re.search(r"\d,\d", text):
        what = Phrase("has a comma in its number")
        remedy = Phrase("decimals have a point, and thousands no sign: {remedy}", remedy=remedy)
    return CableTextError(text, what, remedy)


def _parse_cable_length(text: str) -> float:
    length_m = parse_length(text)
    if length_m > _LONGEST_M:
        raise ValueError(Phrase("is longer than {most:g} m", most=_LONGEST_M))
    return length_m


def _take_volts(value: Any) -> float:  # noqa: ANN401 (anything may stand in a file)
    try:
        volts = float(value) if isinstance(value, int | float | Decimal) else math.nan
    except OverflowError:
        volts = math.nan
    if isinstance(value, bool) or not 0.0 <= volts <= MOST_VOLTS:
        raise ValueError(Phrase("has a value that is not from 0 to {most:g} V", most=MOST_VOLTS))
    return volts


def _take_range(value: Any) -> tuple[float, float]:  # noqa: ANN401 (anything may stand in a file)
    if not isinstance(value, list | tuple) or len(value) != 2:  # noqa: PLR2004 (lowest and highest)
        raise ValueError(Phrase("is not two numbers in square brackets"))
    low_v, high_v = (_take_volts(each) for each in value)
    if low_v >= high_v:
        raise ValueError(Phrase("does not have the lower volts first"))
    return low_v, high_v


def _take_readings(value: Any) -> tuple[float, ...]:  # noqa: ANN401 (anything may stand in a file)
    if not isinstance(value, list | tuple):
        return (_take_volts(value),)
    if not value:
        raise ValueError(Phrase("is an empty list"))
    return tuple(_take_volts(each) for each in value)


def _take_taps(value: Any) -> tuple[float, ...]:  # noqa: ANN401 (anything may stand in a file)
    if not isinstance(value, list | tuple) or not value:
        raise ValueError(Phrase("is not a list of volts in square brackets"))
    taps = tuple(_take_volts(each) for each in value)
    if 0.0 in taps:
        raise ValueError(Phrase("has a tap of 0 V"))
    return taps


GaugeText = Annotated[Gauge, text_of(Gauge, parse_gauge), Field(description=_A_GAUGE)]
LengthText = Annotated[float, text_of(float, _parse_cable_length), Field(description=_A_LENGTH)]


class WiringSettings(Table):
    """What holds for all cables of the site."""

    copper_c: Number = Field(
        75.0,
        ge=-40,
        le=105,
        description=Phrase("the temperature of the copper in °C, -40 to 105; 75 is that of the tables"),
    )
    drop_percent: Number | None = Field(
        None,
        gt=0,
        le=50,
        description=Phrase("the greatest voltage drop you accept in percent, over 0 up to 50"),
    )
    spare_percent: Number = Field(
        10.0,
        ge=0,
        le=100,
        description=Phrase("how much more cable to buy than is laid, in percent, 0 to 100"),
    )
    connector_a: Number | None = Field(
        None,
        gt=0,
        le=200,
        description=Phrase("the amperes that the connectors are rated for, over 0 up to 200"),
    )
    copper_per_kg: Number = Field(
        40.0,
        gt=0,
        le=100_000,
        description=Phrase("what cable costs for each kilogram of its copper, such as 40"),
    )
    trench_per_m: Number = Field(
        6.0, ge=0, le=100_000, description=Phrase("what a metre of trench costs, such as 6")
    )


class TappedTransformer(Table):
    """What the wiring wants to know of a transformer."""

    tap: Volts | None = Field(
        None, description=Phrase("the volts of the tap in use, over 0 up to 60, such as 12")
    )
    taps: Annotated[tuple[float, ...], read_by(_take_taps)] = Field(
        (), description=Phrase("the volts of all its taps, such as [12, 13, 14, 15]")
    )
    commons: int = Field(1, ge=1, le=12, description=Phrase("how many commons it has, 1 to 12"))
    common_limit_a: Number = Field(
        COMMON_LIMIT_A,
        gt=0,
        le=100,
        description=Phrase("the amperes that each common may carry, over 0 up to 100"),
    )
    regulation_percent: Number | None = Field(
        None,
        ge=0,
        le=50,
        description=Phrase(
            "how much its volts rise from full load to no load, in percent, 0 to 50, such as 8"
        ),
    )
    no_load_volts: Volts | None = Field(
        None, description=Phrase("the volts measured at the tap in use with nothing connected, such as 12.9")
    )
    full_load_volts: Volts | None = Field(
        None, description=Phrase("the volts measured at the tap in use at the rated load, such as 11.9")
    )
    measured_volts: Volts | None = Field(
        None, description=Phrase("the volts measured at the tap in use with everything lit, such as 12.3")
    )


class WiredFixture(Table):
    """What the wiring wants to know of a fixture."""

    node: Name | None = Field(
        None, description=Phrase("the node, line or hub that it is connected to, such as “hub” or “jetty 3”")
    )
    lead_m: LengthText | None = Field(None, alias="lead", description=_A_LENGTH)
    lead_gauge: GaugeText | None = Field(None, description=_A_GAUGE)
    driver: Literal["regulated", "linear", "resistor"] = Field(
        "regulated",
        description=Phrase(
            "“regulated” where an LED takes the same watts at any volts, “linear” the same amperes,"
            " “resistor” amperes in proportion"
        ),
    )
    volts: Annotated[tuple[float, float], read_by(_take_range)] | None = Field(
        None, description=Phrase("the lowest and the highest volts from its plate, such as [10, 15]")
    )
    power_factor: Share = Field(
        1.0, description=Phrase("watts over volt-amperes from its plate, over 0 up to 1, such as 0.9")
    )
    dimmed: bool = Field(default=False, description=Phrase("true where a dimmer is in front of its lamps"))
    measured_volts: Annotated[tuple[float, ...], read_by(_take_readings)] | None = Field(
        None,
        description=Phrase(
            "the volts measured at the last of its lights, such as 11.6, or a list with one number"
            " for each light"
        ),
    )


class Cable(Table):
    """Two-conductor cable: to one node, along a line of lights, or to a hub with legs."""

    begins: Name = Field(alias="from", description=Phrase("the transformer or the node that it begins at"))
    to: Name | None = Field(None, description=Phrase("the node that it ends at, such as “hub”"))
    line: Name | None = Field(
        None,
        description=Phrase("the name of a line whose lights are spread evenly along it, such as “jetty”"),
    )
    lights: int | None = Field(
        None,
        ge=1,
        le=500,
        description=Phrase(
            "how many lights of its line are on this cable, where several cables make up the line; else the"
            " others"
        ),
    )
    hub: Name | None = Field(None, description=Phrase("the name of a hub with legs, such as “oak”"))
    gauge: GaugeText
    length_m: LengthText = Field(alias="length", description=_A_LENGTH)
    leg_lengths_m: tuple[LengthText, ...] = Field(
        (),
        alias="legs",
        strict=False,
        description=Phrase('the length of each leg, such as ["10 ft", "25 ft"]'),
    )
    leg_gauge: GaugeText | None = Field(None, description=_A_GAUGE)
    tap: Volts | None = Field(
        None, description=Phrase("the volts of its tap, where it is another than the usual")
    )
    common: int | None = Field(
        None, ge=1, description=Phrase("which of the transformer's commons it is connected to, from 1")
    )
    splice_ohm: Number = Field(
        0.0,
        ge=0,
        le=10,
        description=Phrase("the ohms of the splice at its far end, 0 to 10; 0 leaves it out"),
    )
    rated_a: Number | None = Field(
        None,
        gt=0,
        le=200,
        description=Phrase("the amperes printed on the cable or its plate, over 0 up to 200"),
    )
    connector_a: Number | None = Field(
        None,
        gt=0,
        le=200,
        description=Phrase("the amperes that its connectors are rated for, over 0 up to 200"),
    )
    cables_in_conduit: int = Field(
        1,
        ge=1,
        le=100,
        description=Phrase("how many cables lie in the same conduit, itself counted, 1 to 100"),
    )


def name_places(name: str, count: int) -> tuple[str, ...]:
    """Name the places of a line, or the ends of a hub's legs: ``jetty 1``, ``jetty 2`` and so on."""
    return tuple(f"{name} {place}" for place in range(1, count + 1))
