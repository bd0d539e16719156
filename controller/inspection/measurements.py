"""Volts and watts measured on site, compared with those computed.

A reading agrees where it lies between what warm and cool cable give, with a meter's tolerance on both sides.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from config.phrase import Phrase, count_phrase
from controller.diagnosis.faults import MeasuredVolts
from controller.wiring.network import Network
from controller.wiring.solver import LampState, Solution, solve

METER_V: Final = 0.15
"""Tolerance of a reading: 1 % of 12 V and a hand meter's last digits (common practice, no source)."""

WATTS_PART: Final = 0.10
"""Tolerance of measured watts as a part of those computed: a plug-in meter and the spread of the lamps
(common practice, no source)."""

COOL_C: Final = 10.0
WARM_C: Final = 75.0
"""Cool ground, and the temperature of the tables: the drop differs by about a fifth between them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """One reading and what was computed with warm and with cool cable.

    Attributes:
        beyond_v: how far the reading lies outside, above zero where it is too high; 0 where it agrees.
    """

    node: str
    zone: str
    measured_v: float
    cool_v: float
    warm_v: float
    beyond_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class VoltageComparison:
    """All readings of a network."""

    differences: tuple[Difference, ...]

    @property
    def agrees(self) -> bool:
        """Whether every reading agrees."""
        return all(difference.beyond_v == 0.0 for difference in self.differences)


@dataclass(frozen=True, kw_only=True, slots=True)
class WattsComparison:
    """Measured and computed watts of a zone."""

    zone: str
    measured_w: float
    computed_w: float
    agrees: bool
    words: str


def compare_volts(network: Network, readings: Sequence[MeasuredVolts]) -> VoltageComparison | None:
    """Compare readings with computed volts; None where the network has no solution.

    The readings are those of the network's lamps, all lit. The tolerances are common practice, without a
    source.
    """
    warm, cool = (solve(replace(network, temperature_c=copper_c)) for copper_c in (WARM_C, COOL_C))
    if not (isinstance(warm, Solution) and isinstance(cool, Solution)):
        return None
    differences = (_differ(one, warm.lamps[one.fixture], cool.lamps[one.fixture]) for one in readings)
    return VoltageComparison(differences=tuple(differences))


def _differ(reading: MeasuredVolts, warm: LampState, cool: LampState) -> Difference:
    low_v, high_v = min(warm.volts, cool.volts) - METER_V, max(warm.volts, cool.volts) + METER_V
    return Difference(
        node=warm.fixture.node,
        zone=warm.fixture.zone,
        measured_v=reading.volts,
        cool_v=cool.volts,
        warm_v=warm.volts,
        beyond_v=max(0.0, reading.volts - high_v) + min(0.0, reading.volts - low_v),
    )


def compare_watts(
    zone: str, measured_w: float, computed_w: float, lamps: Mapping[float, int]
) -> WattsComparison:
    """Compare the watts of a zone lit alone with those computed at the place of the meter.

    ``lamps`` says how many lamps of each watts are fitted, to tell how many may be out.
    """
    lacking_w = computed_w - measured_w
    agrees = abs(lacking_w) <= WATTS_PART * computed_w
    took: dict[str, Any] = {"zone": zone, "measured": measured_w, "computed": computed_w}
    if agrees:
        words = Phrase("zone “{zone}” takes {measured:.1f} W, computed {computed:.1f} W: they agree", **took)
    elif lacking_w < 0.0:
        words = Phrase(
            "zone “{zone}” takes {measured:.1f} W, computed {computed:.1f} W: more or larger lamps than"
            " noted, or the meter counts the transformer's own losses",
            **took,
        )
    else:
        words = Phrase(
            "zone “{zone}” takes {measured:.1f} W, computed {computed:.1f} W: {why}",
            why=_lamps_out(lacking_w, lamps, WATTS_PART * computed_w),
            **took,
        )
    return WattsComparison(
        zone=zone, measured_w=measured_w, computed_w=computed_w, agrees=agrees, words=words
    )


def _lamps_out(lacking_w: float, lamps: Mapping[float, int], tolerance_w: float) -> Phrase:
    """Say how many equal lamps, of those that are fitted, come nearest to what is lacking."""
    choices = [
        (min(fitted, max(1, round(lacking_w / watts))), watts) for watts, fitted in sorted(lamps.items())
    ]
    count, watts = min(choices, key=lambda choice: abs(choice[0] * choice[1] - lacking_w))
    if abs(count * watts - lacking_w) > tolerance_w:
        return Phrase(
            "{lacking:.1f} W lack, which no lamps of one kind make up: lamps of several kinds may be out, or"
            " smaller than noted",
            lacking=lacking_w,
        )
    if count == lamps[watts]:
        return count_phrase(
            "the lamp of {watts:g} W may be out, or lamps are smaller than noted",
            "all {n} lamps of {watts:g} W may be out, or lamps are smaller than noted",
            count,
            watts=watts,
        )
    return count_phrase(
        "{n} of its {fitted} lamps of {watts:g} W may be out, or lamps are smaller than noted",
        "{n} of its {fitted} lamps of {watts:g} W may be out, or lamps are smaller than noted",
        count,
        fitted=lamps[watts],
        watts=watts,
    )
