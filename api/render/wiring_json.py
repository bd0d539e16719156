"""The wiring of a site as JSON: the same from the command line and over the web.

Lengths are in metres, temperatures in °C; a number that cannot be told is null. Nothing is rounded so far
that a voltmeter could see it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from config.errors import Severity
from config.models.site import Site
from controller.inspection.advice import Proposal
from controller.inspection.circuit_checks import CONTINUOUS
from controller.inspection.findings import Finding, SolvedStates
from controller.inspection.measurements import VoltageComparison
from controller.inspection.report import WiringReport, ZoneLoad
from controller.inspection.rule_of_thumb import RuleOfThumbCheck
from controller.lamps.light import filament_light
from controller.lamps.physics import filament_life_h
from controller.wiring.cable import ampacity
from controller.wiring.fixtures import PlacedLight
from controller.wiring.from_site import Circuit
from controller.wiring.network import Lamp
from controller.wiring.solver import LampState, Solution

# The solver's kinds of lamp in the words of the site file: its lamp, and its driver.
_LAMPS = {
    Lamp.POWER: ("led", "regulated"),
    Lamp.CURRENT: ("led", "linear"),
    Lamp.RESISTANCE: ("led", "resistor"),
    Lamp.FILAMENT: ("filament", None),
}
NO_TRANSFORMER = "the site has no [[transformers]] table, so there is no load and no wiring to tell of"


def worst_level(reports: Iterable[WiringReport]) -> Severity:
    """Give the worst level of some reports; well where there are none."""
    return max((report.level for report in reports), key=lambda level: level.rank, default=Severity.OK)


def wiring_as_json(site: Site, reports: Sequence[WiringReport]) -> dict[str, Any]:
    """Give the wiring of some transformers of a site."""
    return {
        "site": site.name,
        "level": worst_level(reports).value,
        "copper_c": site.wiring.copper_c,
        "transformers": [_transformer(report) for report in reports],
        "unknown": [] if site.transformers else [NO_TRANSFORMER],
    }


def _transformer(report: WiringReport) -> dict[str, Any]:
    wiring = report.wiring
    feeds = zip(wiring.circuits, report.inspection.solved, report.volts, strict=True)
    return {
        "id": wiring.transformer.id,
        "name": wiring.transformer.name,
        "level": report.level.value,
        "load": _load(report),
        "taps_v": list(wiring.taps_v),
        "relay_side": wiring.transformer.relay_side,
        "circuits": [_circuit(*each, tap_known=wiring.tap_known) for each in feeds],
        "findings": [finding_as_json(finding) for finding in report.inspection.findings],
        "advice": [_proposal(proposal) for proposal in report.proposals],
        "rule_of_thumb": [_rule(rule) for rule in report.rules],
        "measured_watts": [
            {
                "zone": each.zone,
                "measured_w": each.measured_w,
                "computed_w": _rounded(each.computed_w, 3),
                "agrees": each.agrees,
                "words": each.words,
            }
            for each in report.watts
        ],
        "unknown": list(report.unknown),
    }


def _load(report: WiringReport) -> dict[str, Any]:
    rated_va = report.wiring.transformer.rated_va
    load_va = report.load.value
    return {
        "va": _rounded(load_va, 3),
        "rated_va": rated_va,
        "part": _rounded(load_va / rated_va, 4),
        "line_va": CONTINUOUS * rated_va,
        "left_va": _rounded(CONTINUOUS * rated_va - load_va, 3),
        "zones": [_zone(load) for load in report.loads],
    }


def _zone(load: ZoneLoad) -> dict[str, Any]:
    return {
        "zone": load.zone.id,
        "name": load.zone.name,
        "lights": sum(fixture.count for fixture in load.zone.fixtures),
        "rated_w": load.rated_w,
        "rated_by": load.zone.rated_load.origin or None,
        "alone_va": _rounded(load.alone_va, 3),
        "alone_w": _rounded(load.alone_w, 3),
        "on_cables": load.placed,
    }


def _circuit(
    circuit: Circuit, one: SolvedStates, measured: VoltageComparison | None, *, tap_known: bool
) -> dict[str, Any]:
    """Give one tap: its nodes and lights with their volts, or why there are none."""
    network, lit = circuit.network, one.lit
    solved = isinstance(lit, Solution)
    return {
        "node": network.feed.node,
        "tap_v": network.feed.source_v if tap_known else None,
        "measured_tap_v": circuit.measured_v,
        "solved": solved,
        "why_not": None if solved else str(lit),
        "amperes": _rounded(lit.source_a, 4) if isinstance(lit, Solution) and tap_known else None,
        "cable_loss_w": _rounded(lit.loss_w, 4) if isinstance(lit, Solution) else None,
        "cables": _cables(circuit, one),
        "lights": _lights(circuit, one),
        "measured": _measured(circuit, measured),
    }


def _cables(circuit: Circuit, one: SolvedStates) -> list[dict[str, Any]]:
    lit = one.lit
    states = {state.stretch: state for state in lit.stretches} if isinstance(lit, Solution) else {}
    rows = []
    for cable in circuit.network.walk():
        state = states.get(cable)
        rows.append(
            {
                "from": cable.from_node,
                "to": cable.to_node,
                "gauge": str(cable.gauge),
                "length_m": _rounded(cable.length_m, 4),
                "amperes": _rounded(state.amperes, 4) if state else None,
                "limit_a": cable.ampacity_a or ampacity(cable.gauge).amperes,
                "drop_v": _rounded(state.drop_v, 6) if state else None,
                "loss_w": _rounded(state.loss_w, 4) if state else None,
                "volts": _rounded(lit.volts[cable.to_node], 6) if isinstance(lit, Solution) else None,
            }
        )
    return rows


def _lights(circuit: Circuit, one: SolvedStates) -> list[dict[str, Any]]:
    lit = one.lit
    states: Sequence[LampState | None] = (
        lit.lamps if isinstance(lit, Solution) else [None] * len(circuit.lights)
    )
    return [
        _light(light, state, most_v)
        for light, state, most_v in zip(circuit.lights, states, one.most_v, strict=True)
    ]


def _light(light: PlacedLight, state: LampState | None, most_v: float | None) -> dict[str, Any]:
    fixture, placed = light.at, light.placed
    low_v, high_v = fixture.range_v
    return {
        "zone": light.zone,
        "fixture": light.fixture or None,
        "number": light.number,
        "kind": light.kind or None,
        "name": light.name or None,
        "node": fixture.node if placed else None,
        "count": fixture.count,
        "watts": fixture.watts,
        "lamp": _LAMPS[fixture.lamp][0] if placed else None,
        "driver": _LAMPS[fixture.lamp][1] if placed else None,
        "volts": _rounded(state.volts, 6) if state and placed else None,
        "most_v": _rounded(most_v, 6) if placed else None,
        "range_v": [_rounded(low_v, 4), _rounded(high_v, 4)] if placed else None,
        "range_stated": fixture.min_v is not None if placed else None,
        "amperes": _rounded(state.amperes, 6) if state and placed else None,
        "light": _filament(filament_light(state.volts, fixture.rated_v), fixture.lamp) if state else None,
        "life": (_filament(filament_life_h(1.0, most_v, fixture.rated_v), fixture.lamp) if most_v else None),
        "drops_out": state.drops_out if state and placed else None,
        "measured_v": light.measured_v,
    }


def _filament(part: float, lamp: Lamp) -> float | None:
    """Give a part of the rated light or life, which only a filament lamp changes with its volts."""
    return round(part, 4) if lamp is Lamp.FILAMENT else None


def finding_as_json(finding: Finding) -> dict[str, Any]:
    """Give one finding with its number, its limit, its source, and what would do."""
    return {
        "level": finding.level.value,
        "topic": finding.topic.value,
        "circuit": finding.feed or None,
        "place": finding.place,
        "value": _rounded(finding.value, 6),
        "limit": _rounded(finding.limit, 6),
        "unit": finding.unit,
        "source": finding.source,
        "words": finding.words,
        "remedy": finding.remedy or None,
    }


def _proposal(proposal: Proposal) -> dict[str, Any]:
    change, worst = proposal.change, proposal.worst
    return {
        "kind": change.kind.value,
        "words": change.words,
        "buys": [{"gauge": str(each.gauge), "length_m": _rounded(each.length_m, 3)} for each in change.buys],
        "copper_kg": _rounded(change.copper_kg, 3),
        "tap_v": change.tap_v,
        "worst": {"node": worst.fixture.node, "name": worst.fixture.name, "volts": _rounded(worst.volts, 6)},
        "warnings": [finding.words for finding in proposal.warnings],
        "remains": [finding.words for finding in proposal.remains],
    }


def _rule(rule: RuleOfThumbCheck) -> dict[str, Any]:
    return {
        "circuit": rule.feed,
        "farthest_m": _rounded(rule.farthest_m, 3),
        "thinnest_mm2": rule.thinnest_mm2,
        "rated_part": _rounded(rule.rated_part, 4),
        "rule_kept": rule.rule_says,
        "every_lamp_in_range": rule.truth,
        "words": rule.words,
    }


def _measured(circuit: Circuit, measured: VoltageComparison | None) -> dict[str, Any] | None:
    if measured is None:
        return None
    return {
        "agrees": measured.agrees,
        "readings": [
            {
                "node": circuit.lights[each.reading.fixture].at.node,
                "zone": circuit.lights[each.reading.fixture].zone,
                "measured_v": each.reading.volts,
                "cool_v": _rounded(each.cool_v, 6),
                "warm_v": _rounded(each.warm_v, 6),
                "beyond_v": _rounded(each.beyond_v, 6),
            }
            for each in measured.differences
        ],
        "suggests": [
            {"fault": each.fault.value, "places": list(each.places), "words": each.words}
            for each in measured.explanations
        ],
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
