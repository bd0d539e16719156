"""Check the wiring of one transformer: loads, currents and conductors; ``lamp_checks`` does the lamps.

Each rule gives a finding for everything that passes a limit, and one for the worst where nothing does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import repeat
from typing import Final

from config.errors import Severity
from config.models.cables import Build, Gauge, Unit
from controller.inspection.findings import (
    Finding,
    InspectionResult,
    Rule,
    SolvedStates,
    Topic,
    in_percent,
)
from controller.inspection.lamp_checks import check_drop, check_evenness, check_life, check_volts
from controller.wiring.cable import Ampacity, ampacity
from controller.wiring.network import Limits, Network
from controller.wiring.solver import Outcome, Solution, solve

CONTINUOUS: Final = 0.80
"""1 ÷ 1.25: NEC 210.19(A)(1), 210.20(A), 215.2 and 215.3 ask for 125 % of a load of three hours or more."""

CIRCUIT_A: Final = 25.0
"""NEC 411: the most current of a secondary circuit; taken per tap, the stricter of two readings."""

SUPPLY_V: Final = 30.0
"""NEC 411: the most volts of a low-voltage lighting system, AC."""

_BY_411: Final = "NEC 411 (quoted in a second text)"
_LEAST_MM2, _LEAST_FLEXIBLE_MM2, _FLEXIBLE_UP_TO_M = 1.5, 1.0, 3.0

_DELIVERY: Final = Rule(
    Topic.SOLUTION,
    "W",
    "computed from the cables' resistance (V² ÷ 4R for one lamp)",
    "use fewer or smaller lamps, a higher tap, thicker or shorter cable",
)
_SUPPLY: Final = Rule(Topic.SUPPLY, "V", _BY_411, f"use a tap of {SUPPLY_V:g} V or less")
_CIRCUIT: Final = Rule(
    Topic.CIRCUIT,
    "A",
    f"{_BY_411}; 80 % of it for hours on end is common practice",
    "move part of the lamps to another tap or transformer",
)
_CONDUCTOR: Final = Rule(
    Topic.CONDUCTOR, "mm2", "IEC 60364-7-715 (quoted from a summary)", "use 1.5 mm² or more"
)


def solve_states(network: Network, limits: Limits) -> SolvedStates:
    """Solve a network with everything lit, and each zone alone on cool cable."""
    cool = replace(network, temperature_c=limits.cool_c)
    alone = {zone: solve(cool.lit((zone,))) for zone in network.zones}
    volts = {zone: _lamp_volts(outcome) for zone, outcome in alone.items()}
    # A zone alone keeps the order of its fixtures, so each zone's volts are taken in turn.
    most_v = tuple(next(volts[fixture.zone]) for fixture in network.fixtures)
    return SolvedStates(lit=solve(network), alone=alone, most_v=most_v)


def _lamp_volts(outcome: Outcome) -> Iterator[float | None]:
    if isinstance(outcome, Solution):
        return iter([lamp.volts for lamp in outcome.lamps])
    return repeat(None)


def inspect(networks: Sequence[Network], limits: Limits | None = None) -> InspectionResult:
    """Check everything behind one transformer: its networks, one for each tap in use."""
    limits = limits or Limits()
    solved = tuple(solve_states(network, limits) for network in networks)
    findings = [finding for one in solved for finding in _check_delivery(one)]
    findings += _check_transformer(solved)
    for one in solved:
        findings.append(_check_supply(one.lit.network))
        findings += _check_conductors(one.lit.network)
        if isinstance(one.lit, Solution):
            findings.append(_check_circuit(one.lit))
            findings += _check_cables(one.lit)
            findings += check_volts(one)
            findings += check_drop(one.lit, limits)
    findings += check_evenness(solved, limits)
    findings += check_life(solved, limits)
    return InspectionResult(solved=solved, findings=tuple(findings))


def _check_delivery(one: SolvedStates) -> list[Finding]:
    lit, feed = one.lit, one.feed
    if isinstance(lit, Solution):
        return []
    words = f"“{feed}”: {lit}"
    return [_DELIVERY.find(Severity.ERROR, lit.farthest, lit.asked_w, lit.deliverable_w, words, feed=feed)]


def _check_transformer(solved: Sequence[SolvedStates]) -> list[Finding]:
    """Load of all networks together and of each zone alone; the lamps' own where there is no solution."""
    if not solved:
        return []
    feed = solved[0].lit.network.feed
    zones: dict[str, float] = {}
    for one in solved:
        for zone, outcome in one.alone.items():
            if isinstance(outcome, Solution):
                zones[zone] = zones.get(zone, 0.0) + outcome.source_va
    load_va = sum(
        one.lit.source_va if isinstance(one.lit, Solution) else _rated_va(one.lit.network) for one in solved
    )
    findings = [_check_load(Topic.TRANSFORMER, f"“{feed.transformer}”", load_va, feed.rated_va)]
    if len(zones) > 1:
        findings += [
            _check_load(Topic.ZONE, f"zone “{zone}” alone", va, feed.rated_va) for zone, va in zones.items()
        ]
    return findings


def _rated_va(network: Network) -> float:
    return sum(lamp.count * lamp.watts / lamp.power_factor for lamp in network.fixtures)


def _check_load(topic: Topic, place: str, load_va: float, rated_va: float) -> Finding:
    needed_va = math.ceil(load_va / CONTINUOUS / 5.0) * 5
    rule = Rule(
        topic,
        "VA",
        "the transformer's rating; the 80 % line is common practice after NEC 210.20(A) and 215.3",
        f"use a transformer of {needed_va} VA or more, or move lamps to another",
    )
    words = f"{place}: {load_in_words(load_va, rated_va)}"
    return rule.check(place, load_va, words, warning=CONTINUOUS * rated_va, error=rated_va)


def load_in_words(load_va: float, rated_va: float) -> str:
    """Say what a transformer carries of its rating, and how far that is from the 80 % line."""
    left_va = CONTINUOUS * rated_va - load_va
    side = "below" if left_va >= 0.0 else "above"
    percent = in_percent(load_va / rated_va)
    return f"{load_va:.1f} of {rated_va:g} VA ({percent}), {abs(left_va):.0f} VA {side} the 80 % line"


def _check_supply(network: Network) -> Finding:
    node, volts = network.feed.node, network.feed.source_v
    words = f"“{node}” supplies {volts:g} V; low-voltage lighting has {SUPPLY_V:g} V or less"
    return _SUPPLY.check(node, volts, words, warning=SUPPLY_V, error=SUPPLY_V, feed=node)


def _check_circuit(solution: Solution) -> Finding:
    node, amperes = solution.network.feed.node, solution.source_a
    words = f"the circuit of “{node}” carries {amperes:.2f} A of {CIRCUIT_A:g} A"
    return _CIRCUIT.check(node, amperes, words, warning=CONTINUOUS * CIRCUIT_A, error=CIRCUIT_A, feed=node)


def _check_cables(solution: Solution) -> list[Finding]:
    """Current of each cable and lead against its ampacity, and 80 % of it for long hours."""
    carried: list[tuple[str, Gauge, float, Ampacity]] = []
    for state in solution.segments:
        cable = state.segment
        limit = ampacity(cable.gauge)
        if cable.ampacity_a is not None:
            limit = Ampacity(amperes=cable.ampacity_a, source="the cable's own plate")
        carried.append((f"{cable.from_node} to {cable.to_node}", cable.gauge, state.amperes, limit))
    for lamp in solution.lamps:
        if lamp.fixture.lead is not None:
            gauge = lamp.fixture.lead.gauge
            carried.append((f"lead at {lamp.fixture.node}", gauge, lamp.amperes, ampacity(gauge)))
    carried.sort(key=lambda one: one[2] / one[3].amperes, reverse=True)
    findings = [_check_current(*one, feed=solution.network.feed.node) for one in carried]
    return [each for rank, each in enumerate(findings) if rank == 0 or each.level is not Severity.OK]


def _check_current(place: str, gauge: Gauge, amperes: float, limit: Ampacity, *, feed: str) -> Finding:
    rule = Rule(
        Topic.CABLE,
        "A",
        f"{limit.source}; 80 % of it for three hours or more by NEC 210.19(A)(1)",
        "lay thicker cable there, or move part of the lamps to another run",
    )
    words = f"{gauge} from {place} carries {amperes:.2f} A of {limit.amperes:g} A"
    return rule.check(
        place, amperes, words, warning=CONTINUOUS * limit.amperes, error=limit.amperes, feed=feed
    )


def _check_conductors(network: Network) -> list[Finding]:
    """Metric conductors against the least size; the rule is not one of the American code."""
    laid = [(f"{c.from_node} to {c.to_node}", c.gauge, c.length_m) for c in network.segments]
    laid += [
        (f"lead at {fixture.node}", fixture.lead.gauge, fixture.lead.length_m)
        for fixture in network.fixtures
        if fixture.lead is not None
    ]
    size = (
        "copper of extra-low-voltage lighting has 1.5 mm², or 1 mm² where it is flexible and 3 m or shorter"
    )
    return [
        _CONDUCTOR.find(
            Severity.WARNING,
            place,
            gauge.area_mm2,
            _LEAST_MM2,
            f"{gauge} from {place}: {size}",
            feed=network.feed.node,
        )
        for place, gauge, length_m in laid
        if gauge.unit is Unit.MM2 and gauge.area_mm2 < _least_mm2(gauge, length_m)
    ]


def _least_mm2(gauge: Gauge, length_m: float) -> float:
    short = gauge.build is Build.FLEXIBLE and length_m <= _FLEXIBLE_UP_TO_M
    return _LEAST_FLEXIBLE_MM2 if short else _LEAST_MM2
