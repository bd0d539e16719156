"""Two-conductor cable: its gauge, its ohms per metre by the published tables, and the current it may carry.

The resistances are those of the tables, not of a formula: NEC chapter 9 table 8 for American sizes and
IEC 60228 for metric ones. Both are brought to the same temperature, 75 °C unless stated otherwise, so that a
2.5 mm² and a 14 AWG cable can be compared. Cool buried cable has 16 to 18 % less: 75 °C is the safe side.
"""

import math
from typing import Final, NamedTuple

from config.errors import WiringError
from config.models.cables import M_PER_FT, Build, Gauge, Unit
from config.phrase import Phrase

DEFAULT_TEMPERATURE_C: Final = 75.0
"""NEC chapter 9 table 8 is stated at 75 °C; metric sizes are brought to it too."""

COPPER_PER_K_AT_75_C: Final = 0.00323
"""Note to NEC chapter 9 table 8: R2 = R1 (1 + 0.00323 (T − 75))."""

COPPER_PER_K_AT_20_C: Final = 0.00393
"""Annealed copper at 20 °C, NBS Handbook 100 (from memory, used in several texts)."""

TEMPERATURE_RANGE_C: Final = (-40.0, 105.0)
"""Outside these no garden cable is rated, and the straight line through the resistances is not meant."""

# NEC chapter 9 table 8, uncoated copper, 75 °C: ohms per 1000 ft of ONE conductor. No solid 6 or 4 AWG is
# listed; 4 AWG is from memory, within 0.1 % of the resistivity of copper and the usual 2 % for stranding.
_OHM_PER_KFT: Final = {
    (18, Build.SOLID): 7.77, (18, Build.STRANDED): 7.95,
    (16, Build.SOLID): 4.89, (16, Build.STRANDED): 4.99,
    (14, Build.SOLID): 3.07, (14, Build.STRANDED): 3.14,
    (12, Build.SOLID): 1.93, (12, Build.STRANDED): 1.98,
    (10, Build.SOLID): 1.21, (10, Build.STRANDED): 1.24,
    (8, Build.SOLID): 0.764, (8, Build.STRANDED): 0.778,
    (6, Build.STRANDED): 0.491, (4, Build.STRANDED): 0.308,
}  # fmt: skip

# IEC 60228, plain copper, 20 °C: the most ohms per km that ONE conductor may have; 16 mm² from memory.
_CLASS_1_AND_2: Final = {
    0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83, 16.0: 1.15,
}  # fmt: skip
_CLASS_5: Final = {
    0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21,
}  # fmt: skip
_OHM_PER_KM: Final = {
    **{(area, Build.SOLID): ohm for area, ohm in _CLASS_1_AND_2.items()},
    **{(area, Build.STRANDED): ohm for area, ohm in _CLASS_1_AND_2.items()},
    **{(area, Build.FLEXIBLE): ohm for area, ohm in _CLASS_5.items()},
}

_NEC_CORD: Final = Phrase(
    "NEC table 400.5(A), cord with two current-carrying conductors (quoted in a second text)"
)
_NEC_BURIED: Final = Phrase(
    "NEC table 310.16, 60 °C column, for UF cable (quoted in several agreeing copies)"
)
_IEC_CORD: Final = Phrase("common practice for two-core cords of this size, no source")
_IEC_BURIED: Final = Phrase(
    "IEC 60364-5-52 table B.52.2, method D2, two cores, PVC, 20 °C ground (from memory)"
)

# Amperes, and where the figure comes from. The cable's own plate prevails: a segment may state its own.
_AMPACITY: Final = {
    (Unit.AWG, 18.0): (10.0, _NEC_CORD), (Unit.AWG, 16.0): (13.0, _NEC_CORD),
    (Unit.AWG, 14.0): (15.0, _NEC_BURIED), (Unit.AWG, 12.0): (20.0, _NEC_BURIED),
    (Unit.AWG, 10.0): (30.0, _NEC_BURIED), (Unit.AWG, 8.0): (40.0, _NEC_BURIED),
    (Unit.AWG, 6.0): (55.0, _NEC_BURIED), (Unit.AWG, 4.0): (70.0, _NEC_BURIED),
    (Unit.MM2, 0.75): (6.0, _IEC_CORD), (Unit.MM2, 1.0): (10.0, _IEC_CORD),
    (Unit.MM2, 1.5): (22.0, _IEC_BURIED), (Unit.MM2, 2.5): (28.0, _IEC_BURIED),
    (Unit.MM2, 4.0): (38.0, _IEC_BURIED), (Unit.MM2, 6.0): (48.0, _IEC_BURIED),
    (Unit.MM2, 10.0): (64.0, _IEC_BURIED), (Unit.MM2, 16.0): (83.0, _IEC_BURIED),
}  # fmt: skip


# What is left of it where conductors warm each other, by the number of current-carrying ones, up to this.
_NEC_BUNCHED: Final = {3: 1.0, 6: 0.80, 9: 0.70, 20: 0.50, 30: 0.45, 40: 0.40, 10_000: 0.35}
_BY_310: Final = Phrase("NEC 310.15(C)(1) for more than three conductors in one conduit (from memory)")
# The same by the number of circuits, each a two-core cable here.
_IEC_BUNCHED: Final = {
    1: 1.0, 2: 0.80, 3: 0.70, 4: 0.65, 5: 0.60, 6: 0.57, 7: 0.54, 8: 0.52, 9: 0.50, 12: 0.45, 16: 0.41,
    10_000: 0.38,
}  # fmt: skip
_BY_B_52_17: Final = Phrase("IEC 60364-5-52 table B.52.17 for bunched cables (from memory)")


class Ampacity(NamedTuple):
    """The current a conductor may carry, in amperes, and which table or practice says so."""

    amperes: float
    source: str


def ampacity(gauge: Gauge) -> Ampacity:
    """Return the usual current limit of a garden cable of this gauge; the cable's own plate prevails."""
    return Ampacity(*_AMPACITY[gauge.unit, float(gauge.size)])


def bunched(limit: Ampacity, gauge: Gauge, cables: int) -> Ampacity:
    """Return what is left of a limit where some two-conductor cables lie in one conduit or bundle."""
    if cables == 1:
        return limit
    if gauge.unit is Unit.AWG:
        part, rule = _least(_NEC_BUNCHED, 2 * cables), _BY_310
    else:
        part, rule = _least(_IEC_BUNCHED, cables), _BY_B_52_17
    source = Phrase(
        "{source}, {percent:.0f} % of it by {rule}", source=limit.source, percent=100 * part, rule=rule
    )
    return Ampacity(part * limit.amperes, source)


def _least(table: dict[int, float], count: int) -> float:
    """The factor of the first row that reaches as far as this count, else that of the last."""
    return next((part for most, part in table.items() if count <= most), min(table.values()))


def ohm_per_m(gauge: Gauge, temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Resistance of ONE conductor, in ohms per metre, with its copper at −40 to 105 °C.

    Raises:
        WiringError: the temperature is outside that range.

    Source: NEC chapter 9 table 8 with its note on temperature; IEC 60228 table values at 20 °C with
    copper's 0.00393 per kelvin. Held by tests/controller/wiring/test_cable.py, which also computes both from
    the resistivity of copper.
    """
    lowest_c, highest_c = TEMPERATURE_RANGE_C
    if not (math.isfinite(temperature_c) and lowest_c <= temperature_c <= highest_c):
        limits = f"{lowest_c:g} to {highest_c:g} °C"
        raise WiringError(f"{temperature_c:g} °C is no cable's temperature; use {limits}")
    if gauge.unit is Unit.AWG:
        at_75_c = _OHM_PER_KFT[int(gauge.size), gauge.build] / (1000.0 * M_PER_FT)
        return at_75_c * (1.0 + COPPER_PER_K_AT_75_C * (temperature_c - 75.0))
    at_20_c = _OHM_PER_KM[gauge.size, gauge.build] / 1000.0
    return at_20_c * (1.0 + COPPER_PER_K_AT_20_C * (temperature_c - 20.0))


def loop_ohm(gauge: Gauge, length_m: float, temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Resistance out and back over a cable's length: twice that of one conductor, in ohms."""
    return 2.0 * length_m * ohm_per_m(gauge, temperature_c)


def same_kind(gauge: Gauge) -> tuple[Gauge, ...]:
    """All gauges of the same unit and build, the thinnest first, this one among them."""
    table = _OHM_PER_KFT if gauge.unit is Unit.AWG else _OHM_PER_KM
    kind = [Gauge(size=size, unit=gauge.unit, build=build) for size, build in table if build is gauge.build]
    return tuple(sorted(kind, key=lambda each: each.area_mm2))
