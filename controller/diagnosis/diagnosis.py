"""The faults that would explain some readings: how likely each is, where it is, and whether one stands out.

Faults are weighed against each other (``search``). The weights say too much where a garden is not quite what
its file says, so they are blunted: a fault is called clear only where all others together are far less likely
than the readings alone would make them, and where what is left over is no more than the meter's noise.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from config.phrase import Phrase
from controller.diagnosis.faults import MeasuredVolts, WiringFault
from controller.diagnosis.likelihood import METER_NOISE_V, log_sum
from controller.diagnosis.search import Solved, search
from controller.diagnosis.words import cautions, place_of, remedy, sentence
from controller.wiring.network import Network

BLUNTED: Final = 0.5
"""Power to which weights are raised for a probability that is said: as with 1.4 times the meter's noise."""

CLEAR: Final = 0.98
"""Probability from which a fault stands out."""

WORTH_NAMING: Final = 0.03
"""A fault this much less likely than the first is not named."""

NEARLY: Final = 0.2
"""Places whose weights are this part of the first's are named in one sentence with it."""

LEAST_OHM: Final = 0.01
"""A splice with less is a good one (common practice, no source)."""

MOST_LEFT_V: Final = 0.15
"""Where more is left over, root mean square, no single fault explains the readings (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FaultPlace:
    """One place where a fault may be.

    Attributes:
        where: as part of a sentence.
        circuit: the place of its network among those of the transformer.
        cables: the cables that it is in, each with the nodes at which it begins and ends.
        fixture: place of the lamp that it is at among the network's; None elsewhere.
        size, unit: ohms too many, volts at the tap, watts of a lamp, or mm² of a gauge.
        gauge: what the cables really are; None where it is no matter of that.
        other_zone: the zone to which the lamp is wired.
        probability: over all faults and places, blunted.
    """

    where: Phrase
    circuit: int
    cables: tuple[tuple[str, str], ...] = ()
    fixture: int | None = None
    size: float | None
    unit: Literal["ohm", "V", "W", "mm2"] | None
    gauge: str | None = None
    other_zone: str | None = None
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Explanation:
    """A kind of fault that would explain the readings.

    Attributes:
        places: where it may be, the likeliest first; none where nothing is wrong.
        words: what is wrong, and where.
        remedy: what to do; empty where nothing is wrong.
        left_v: root mean square of what it does not explain.
    """

    fault: WiringFault
    places: tuple[FaultPlace, ...]
    probability: float
    words: Phrase
    remedy: str
    cautions: tuple[Phrase, ...]
    left_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Diagnosis:
    """What would explain some readings.

    Attributes:
        explanations: one for each kind of fault, the likeliest first; none where no single fault does.
        clear: whether the first, at its first place, stands out from all others.
        confidence: the probability of that, blunted.
        copper_c: temperature of the copper with which it fits.
    """

    explanations: tuple[Explanation, ...]
    clear: bool
    confidence: float
    copper_c: float

    @property
    def fault(self) -> WiringFault | None:
        """The likeliest kind of fault; None where no single fault explains the readings."""
        return self.explanations[0].fault if self.explanations else None

    @property
    def all_well(self) -> bool:
        """Whether it is likeliest that nothing is wrong."""
        return self.fault is WiringFault.NONE

    @property
    def words(self) -> Phrase:
        """How sure it is."""
        if not self.explanations:
            return Phrase(
                "No single fault that was tried explains these readings: there may be more than one, or LED"
                " drivers below their range, which take other amperes than computed. Look for loose splices,"
                " and read again with everything lit"
            )
        if self.all_well:
            if self.clear:
                return Phrase(
                    "Nothing is wrong by these readings; the copper is at about {copper:.0f} °C",
                    copper=self.copper_c,
                )
            return Phrase(
                "Probably nothing is wrong: the readings agree with the cables as noted and the copper at"
                " about {copper:.0f} °C, though a small fault would not show",
                copper=self.copper_c,
            )
        if self.clear:
            return Phrase("One fault explains these readings, and no other does as well:")
        if len(self.explanations) == 1:
            return Phrase("This explains the readings best; read more lamps to be sure:")
        return Phrase("These explain the readings, the likeliest first; read more lamps to tell them apart:")


def diagnose(
    networks: Sequence[Network],
    readings: Sequence[MeasuredVolts],
    taps_v: Sequence[float] = (),
    tap_readings: Mapping[int, float] | None = None,
) -> Diagnosis | None:
    """Name the faults that would explain some readings; None without readings, or without a solution.

    Args:
        networks: as noted, those of one transformer.
        readings: volts at lamps, with everything lit or with their zone alone.
        taps_v: the volts of the transformer's taps.
        tap_readings: volts measured at the feeds with everything lit, by the place of their network.
    """
    found = search(networks, readings, taps_v, tap_readings) if readings else []
    if not found:
        return None
    claims = _gather(found)
    first = claims[0]
    blunted = [math.exp(BLUNTED * (each.log_weight - first.log_weight)) for each in claims]
    total = sum(blunted)
    best = min(found, key=lambda each: each.fit.misfit)
    count = len(readings)
    if _left_v(best, count) > MOST_LEFT_V:
        return Diagnosis(explanations=(), clear=False, confidence=0.0, copper_c=best.fit.copper_c)
    kinds: dict[WiringFault, list[tuple[Solved, float, float]]] = {}
    for claim, weight in zip(claims, blunted, strict=True):
        share = math.exp(claim.log_weight - first.log_weight)
        good = claim.fault.kind is WiringFault.SPLICE and claim.fit.size < LEAST_OHM
        if share >= WORTH_NAMING and not good:
            kinds.setdefault(claim.fault.kind, []).append((claim, share, weight / total))
    confidence = blunted[0] / total
    noise = first.fit.misfit <= count + 3.0 * math.sqrt(2.0 * count)
    return Diagnosis(
        explanations=tuple(_explain(networks, alike, count) for alike in kinds.values()),
        clear=confidence >= CLEAR and noise,
        confidence=confidence,
        copper_c=first.fit.copper_c,
    )


def _gather(found: Sequence[Solved]) -> list[Solved]:
    """Add up what is said alike: a cable's other gauges, and the nodes of one zone that a lamp may be on."""
    claims: dict[object, list[Solved]] = {}
    for each in found:
        fault = each.fault
        other = None if fault.goes_to is None else fault.goes_to[2]
        key = fault.kind, fault.circuit, fault.cables, fault.fixture, fault.tap_v, other
        claims.setdefault(key, []).append(each)
    gathered = []
    for alike in claims.values():
        best = max(alike, key=lambda each: each.log_weight)
        log_weight = log_sum([each.log_weight for each in alike])
        gathered.append(Solved(fault=best.fault, fit=best.fit, log_weight=log_weight))
    return sorted(gathered, key=lambda each: -each.log_weight)


def _left_v(solved: Solved, count: int) -> float:
    return METER_NOISE_V * math.sqrt(max(solved.fit.misfit, 0.0) / count)


def _explain(
    networks: Sequence[Network], alike: Sequence[tuple[Solved, float, float]], count: int
) -> Explanation:
    """Put the claims of one kind together."""
    first, first_share, _ = alike[0]
    places = tuple(_place(networks[each.fault.circuit], each, part) for each, _, part in alike)
    nearly = [
        place.where
        for place, (_, share, _) in zip(places, alike, strict=True)
        if share >= NEARLY * first_share
    ]
    network, kind = networks[first.fault.circuit], first.fault.kind
    return Explanation(
        fault=kind,
        places=() if kind is WiringFault.NONE else places,
        probability=sum(part for _, _, part in alike),
        words=sentence(network, first.fault, first.fit.size, nearly),
        remedy=remedy(kind),
        cautions=cautions(kind),
        left_v=_left_v(first, count),
    )


def _place(network: Network, solved: Solved, probability: float) -> FaultPlace:
    fault, size = solved.fault, solved.fit.size
    fixture = None if fault.fixture is None else network.fixtures[fault.fixture]
    sizes: dict[WiringFault, tuple[float | None, Literal["ohm", "V", "W", "mm2"]]] = {
        WiringFault.SPLICE: (size, "ohm"),
        WiringFault.SUPPLY: (network.feed.source_v + size, "V"),
        WiringFault.TAP: (fault.tap_v, "V"),
        WiringFault.GAUGE: (fault.gauge.area_mm2 if fault.gauge else None, "mm2"),
        WiringFault.LAMP_OUT: (fixture.watts if fixture else None, "W"),
    }
    amount, unit = sizes.get(fault.kind, (None, None))
    cables = (network.segments[at] for at in fault.cables)
    return FaultPlace(
        where=place_of(network, fault),
        circuit=fault.circuit,
        cables=tuple((cable.from_node, cable.to_node) for cable in cables),
        fixture=fault.fixture,
        size=amount,
        unit=unit,
        gauge=str(fault.gauge) if fault.gauge else None,
        other_zone=fault.goes_to[2] if fault.goes_to else None,
        probability=probability,
    )
