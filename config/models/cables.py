"""What the site file says of cables: the [[cables]] and [wiring] tables, and the wiring keys of two others.

A cable is written from the transformer outwards. It ends at one node (``to``), or it is one of two simple
forms: a ``line``, whose lights are spread evenly along it, and a ``hub`` with legs.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal

from pydantic import Field
from pydantic_core import PydanticKnownError

from config.models.base import Name, Number, Table, read_by

# The sizes for which the tables of resistances have a figure: NEC chapter 9 table 8, and IEC 60228. A test
# holds these readers against the tables' own, which are a floor above.
_AWG_SIZES: Final = (18, 16, 14, 12, 10, 8, 6)
_AWG_BUILDS: Final = ("solid", "stranded")
_MM2_SIZES: Final = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0)
_NO_SOLID_AWG: Final = 6
_GAUGE: Final = re.compile(
    r"\s*(\d{1,3}(?:\.\d{1,3})?)\s*(awg|mm2|mm²)(?:\s+(solid|stranded|flexible))?\s*", re.IGNORECASE
)
_LENGTH: Final = re.compile(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*(ft|m)\s*", re.IGNORECASE)
_M_PER_FT: Final = 0.3048
# Twice round the largest garden: beyond this a unit is wrong.
_LONGEST_M: Final = 3000.0
_MOST_VOLTS: Final = 60.0

_A_GAUGE = "a gauge such as “12 AWG”, “12 AWG solid” or “2.5 mm2”"
_A_LENGTH = "a length such as “100 ft” or “30 m”"
_A_RANGE = "the lowest and the highest volts by its plate, such as [10, 15]"
_READINGS = (
    "the volts measured at the last of its lights, such as 11.6, or a list with one number for each light"
)


def _take_gauge(value: Any) -> str:  # noqa: ANN401 (anything may stand in a file)
    """Read a gauge; the text is kept as it is."""
    if not isinstance(value, str):
        raise PydanticKnownError("string_type")
    found = _GAUGE.fullmatch(value)
    if found is None:
        raise ValueError("is no gauge")
    size, build = float(found[1]), (found[3] or "").lower()
    if found[2].lower() == "awg":
        if size not in _AWG_SIZES:
            raise ValueError(f"has no table; there are {', '.join(map(str, _AWG_SIZES))} AWG")
        if build and build not in _AWG_BUILDS:
            raise ValueError("has no table; AWG is solid or stranded")
        if size == _NO_SOLID_AWG and build == "solid":
            raise ValueError("has no table; 6 AWG is stranded")
    elif size not in _MM2_SIZES:
        raise ValueError(f"has no table; there are {', '.join(f'{each:g}' for each in _MM2_SIZES)} mm²")
    return value


def _take_length(value: Any) -> str:  # noqa: ANN401 (anything may stand in a file)
    """Read a length; the text is kept as it is."""
    if not isinstance(value, str):
        raise PydanticKnownError("string_type")
    found = _LENGTH.fullmatch(value)
    if found is None:
        raise ValueError("is no length with its unit")
    length_m = float(found[1]) * (_M_PER_FT if found[2].lower() == "ft" else 1.0)
    if not 0.0 < length_m <= _LONGEST_M:
        raise ValueError("is not above zero" if length_m <= 0.0 else f"is longer than {_LONGEST_M:g} m")
    return value


def _take_volts(value: Any) -> float:  # noqa: ANN401 (anything may stand in a file)
    """Read a number of volts inside a list."""
    volts = None if isinstance(value, bool | str) else _float_of(value)
    if volts is None or not 0.0 <= volts <= _MOST_VOLTS:
        raise ValueError(f"has something that is no volts from 0 to {_MOST_VOLTS:g}")
    return volts


def _float_of(value: Any) -> float | None:  # noqa: ANN401 (as above)
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return None


def _take_range(value: Any) -> tuple[float, float]:  # noqa: ANN401 (anything may stand in a file)
    """Read the lowest and the highest volts of a plate."""
    if not isinstance(value, list | tuple) or len(value) != 2:  # noqa: PLR2004 (lowest and highest)
        raise ValueError("is not two numbers in square brackets")
    low_v, high_v = (_take_volts(each) for each in value)
    if low_v >= high_v:
        raise ValueError("does not have the lower volts first")
    return low_v, high_v


def _take_readings(value: Any) -> tuple[float, ...]:  # noqa: ANN401 (anything may stand in a file)
    """Read one reading, or one for each light."""
    if not isinstance(value, list | tuple):
        return (_take_volts(value),)
    if not value:
        raise ValueError("is an empty list")
    return tuple(_take_volts(each) for each in value)


def _take_taps(value: Any) -> tuple[float, ...]:  # noqa: ANN401 (anything may stand in a file)
    """Read the volts of all taps."""
    if not isinstance(value, list | tuple) or not value:
        raise ValueError("is not a list of volts in square brackets")
    taps = tuple(_take_volts(each) for each in value)
    if 0.0 in taps or len(set(taps)) != len(taps):
        raise ValueError("has a tap twice, or one of 0 V")
    return taps


GaugeText = Annotated[str, read_by(_take_gauge), Field(description=_A_GAUGE)]
LengthText = Annotated[str, read_by(_take_length), Field(description=_A_LENGTH)]


class WiringSettings(Table):
    """What holds for all cables of the site."""

    copper_c: Number = Field(
        75.0,
        ge=-40,
        le=105,
        description="the temperature of the copper in °C, -40 to 105; 75 is that of the tables",
    )
    drop_percent: Number | None = Field(
        None, gt=0, le=50, description="the greatest voltage drop you accept in percent, over 0 up to 50"
    )
    spare_percent: Number = Field(
        10.0, ge=0, le=100, description="how much more cable to buy than is laid, in percent, 0 to 100"
    )


class TappedTransformer(Table):
    """What the wiring wants to know of a transformer."""

    tap: Number | None = Field(
        None, gt=0, le=_MOST_VOLTS, description="the volts of the tap in use, over 0 up to 60, such as 12"
    )
    taps: Annotated[tuple[float, ...], read_by(_take_taps)] = Field(
        (), description="the volts of all its taps, such as [12, 13, 14, 15]"
    )
    measured_volts: Number | None = Field(
        None,
        gt=0,
        le=_MOST_VOLTS,
        description="the volts measured at the tap in use with everything lit, such as 12.3",
    )


class WiredFixture(Table):
    """What the wiring wants to know of a fixture."""

    node: Name | None = Field(
        None, description="the node, line or hub that it hangs on, such as “hub” or “jetty 3”"
    )
    lead: LengthText | None = Field(None, description=_A_LENGTH)
    lead_gauge: GaugeText | None = Field(None, description=_A_GAUGE)
    driver: Literal["regulated", "linear", "resistor"] = Field(
        "regulated",
        description="“regulated” where an LED takes the same watts at any volts, “linear” the same amperes,"
        " “resistor” amperes in proportion",
    )
    volts: Annotated[tuple[float, float], read_by(_take_range)] | None = Field(None, description=_A_RANGE)
    power_factor: Number = Field(
        1.0, gt=0, le=1, description="watts over volt-amperes by its plate, over 0 up to 1, such as 0.9"
    )
    measured_volts: Annotated[tuple[float, ...], read_by(_take_readings)] | None = Field(
        None, description=_READINGS
    )


class Cable(Table):
    """Two-conductor cable: to one node, along a line of lights, or to a hub with legs."""

    begins: Name = Field(alias="from", description="the transformer or the node that it begins at")
    to: Name | None = Field(None, description="the node that it ends at, such as “hub”")
    line: Name | None = Field(
        None, description="the name of a line whose lights are spread evenly along it, such as “jetty”"
    )
    hub: Name | None = Field(None, description="the name of a hub with legs, such as “oak”")
    gauge: GaugeText
    length: LengthText
    legs: tuple[LengthText, ...] = Field(
        (), strict=False, description='the length of each leg, such as ["10 ft", "25 ft"]'
    )
    leg_gauge: GaugeText | None = Field(None, description=_A_GAUGE)
    tap: Number | None = Field(
        None, gt=0, le=_MOST_VOLTS, description="the volts of its tap, where it is another than the usual"
    )
    splice_ohm: Number = Field(
        0.0, ge=0, le=10, description="the ohms of the splice at its far end, 0 to 10; 0 leaves it out"
    )
    rated_a: Number | None = Field(
        None, gt=0, le=200, description="the amperes printed on the cable or its plate, over 0 up to 200"
    )


def name_places(name: str, count: int) -> tuple[str, ...]:
    """Name the places of a line, or the ends of a hub's legs: ``jetty 1``, ``jetty 2`` and so on."""
    return tuple(f"{name} {place}" for place in range(1, count + 1))
