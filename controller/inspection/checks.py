"""Check the wiring of one transformer: loads, currents, conductors, and what each lamp gets.

Each rule gives a finding for everything that passes a limit, and one for the worst where nothing does. The
fewest volts are those with everything lit and the cable at the network's temperature; the most are those with
a lamp's zone lit alone on cool cable.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from config.errors import Severity
from config.models.cables import Build, Gauge, Unit
from config.models.site import CONTINUOUS_SHARE
from controller.inspection.findings import (
    Finding,
    InspectionResult,
    Rule,
    SolvedStates,
    Topic,
    in_percent,
    part_of,
)
from controller.lamps.physics import filament_life_h, filament_light
from controller.wiring.cable import Ampacity, ampacity
from controller.wiring.network import FixtureAt, Lamp, Limits, Network
from controller.wiring.solver import LampState, NoSolution, Solution, solve

CIRCUIT_A: Final = 25.0
"""NEC 411: the most current of a secondary circuit; taken per tap, the stricter of two readings."""

SUPPLY_V: Final = 30.0
"""NEC 411: the most volts of a low-voltage lighting system, AC."""

_BY_411: Final = "NEC 411 (quoted in a second text)"
_LEAST_MM2, _LEAST_FLEXIBLE_MM2, _FLEXIBLE_UP_TO_M = 1.5, 1.0, 3.0

BRANCH_PERCENT: Final = 3.0
"""NEC 210.19(A) informational note: the drop to the farthest outlet; recommended, not enforceable (90.5)."""

LIGHTING_PERCENT: Final = 5.0
"""IEC 60364-7-715: the drop between transformer and lamps that should not be exceeded."""

_BY_PLATE: Final = "the lamp's own range"
_BY_BAND: Final = "0.90 to 1.05 of its rated volts, common practice"
_BY_NEC: Final = "NEC 210.19(A) informational note (quoted): 3 % for reasonable efficiency, not enforceable"
_BY_715: Final = "IEC 60364-7-715 (quoted from a summary): 5 % should not be exceeded"
_BY_SITE: Final = "what this site asks for"


def solve_states(network: Network, limits: Limits) -> SolvedStates:
    """Solve a network with everything lit, and each zone alone on cool cable."""
    cool = replace(network, temperature_c=limits.cool_c)
    alone = {zone: solve(cool.lit((zone,))) for zone in network.zones}
    # A zone alone keeps the order of its fixtures, so each zone's volts are taken in turn.
    volts = {
        zone: iter([lamp.volts for lamp in outcome.lamps] if isinstance(outcome, Solution) else ())
        for zone, outcome in alone.items()
    }
    most_v = tuple(next(volts[fixture.zone], None) for fixture in network.fixtures)
    return SolvedStates(lit=solve(network), alone=alone, most_v=most_v)


def inspect(networks: Sequence[Network], limits: Limits | None = None) -> InspectionResult:
    """Check everything behind one transformer: its networks, one for each tap in use."""
    limits = limits or Limits()
    solved = tuple(solve_states(network, limits) for network in networks)
    findings = [_check_delivery(one.lit) for one in solved if not isinstance(one.lit, Solution)]
    findings += _check_transformer(solved)
    for one in solved:
        findings.append(_check_supply(one.lit.network))
        findings += _check_conductors(one.lit.network)
        if isinstance(one.lit, Solution):
            findings.append(_check_circuit(one.lit))
            findings += _check_cables(one.lit)
            findings += _check_volts(one.lit, one.most_v)
            findings += _check_drop(one.lit, limits)
    findings += _check_evenness(solved, limits)
    findings += _check_life(solved, limits)
    return InspectionResult(solved=solved, findings=tuple(findings))


def _check_delivery(lit: NoSolution) -> Finding:
    feed = lit.network.feed.node
    rule = Rule(
        Topic.SOLUTION,
        "W",
        "computed from the cables' resistance (V² ÷ 4R for one lamp)",
        "use fewer or smaller lamps, a higher tap, thicker or shorter cable",
    )
    words = f"“{feed}”: {lit}"
    return rule.find(Severity.ERROR, lit.farthest, lit.asked_w, lit.deliverable_w, words, feed=feed)


def _check_transformer(solved: Sequence[SolvedStates]) -> list[Finding]:
    """Load of all networks together and of each zone alone; the lamps' own where there is no solution."""
    if not solved:
        return []
    feed = solved[0].lit.network.feed
    zones: dict[str, float] = {}
    load_va = 0.0
    for one in solved:
        fixtures = one.lit.network.fixtures
        rated_va = sum(lamp.count * lamp.watts / lamp.power_factor for lamp in fixtures)
        load_va += one.lit.source_va if isinstance(one.lit, Solution) else rated_va
        for zone, outcome in one.alone.items():
            if isinstance(outcome, Solution):
                zones[zone] = zones.get(zone, 0.0) + outcome.source_va
    findings = [_check_load(Topic.TRANSFORMER, f"“{feed.transformer}”", load_va, feed.rated_va)]
    if len(zones) > 1:
        findings += [
            _check_load(Topic.ZONE, f"zone “{zone}” alone", va, feed.rated_va) for zone, va in zones.items()
        ]
    return findings


def _check_load(topic: Topic, place: str, load_va: float, rated_va: float) -> Finding:
    needed_va = math.ceil(load_va / CONTINUOUS_SHARE / 5.0) * 5
    rule = Rule(
        topic,
        "VA",
        "the transformer's rating; the 80 % line is common practice after NEC 210.20(A) and 215.3",
        f"use a transformer of {needed_va} VA or more, or move lamps to another",
    )
    words = f"{place}: {load_in_words(load_va, rated_va)}"
    return rule.check(place, load_va, words, warning=CONTINUOUS_SHARE * rated_va, error=rated_va)


def load_in_words(load_va: float, rated_va: float) -> str:
    """Say what a transformer carries of its rating, and how far that is from the 80 % line."""
    left_va = CONTINUOUS_SHARE * rated_va - load_va
    side = "below" if left_va >= 0.0 else "above"
    percent = in_percent(load_va / rated_va)
    return f"{load_va:.1f} of {rated_va:g} VA ({percent}), {abs(left_va):.0f} VA {side} the 80 % line"


def _check_supply(network: Network) -> Finding:
    rule = Rule(Topic.SUPPLY, "V", _BY_411, f"use a tap of {SUPPLY_V:g} V or less")
    node, volts = network.feed.node, network.feed.source_v
    words = f"“{node}” supplies {volts:g} V; low-voltage lighting has {SUPPLY_V:g} V or less"
    return rule.check(node, volts, words, warning=SUPPLY_V, error=SUPPLY_V, feed=node)


def _check_circuit(solution: Solution) -> Finding:
    rule = Rule(
        Topic.CIRCUIT,
        "A",
        f"{_BY_411}; 80 % of it for hours on end is common practice",
        "move part of the lamps to another tap or transformer",
    )
    node, amperes = solution.network.feed.node, solution.source_a
    words = f"the circuit of “{node}” carries {amperes:.2f} A of {CIRCUIT_A:g} A"
    return rule.check(node, amperes, words, warning=CONTINUOUS_SHARE * CIRCUIT_A, error=CIRCUIT_A, feed=node)


def _check_cables(solution: Solution) -> Iterator[Finding]:
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
    for rank, (place, gauge, amperes, limit) in enumerate(carried):
        rule = Rule(
            Topic.CABLE,
            "A",
            f"{limit.source}; 80 % of it for three hours or more by NEC 210.19(A)(1)",
            "lay thicker cable there, or move part of the lamps to another run",
        )
        words = f"{gauge} from {place} carries {amperes:.2f} A of {limit.amperes:g} A"
        warning, error = CONTINUOUS_SHARE * limit.amperes, limit.amperes
        feed = solution.network.feed.node
        finding = rule.check(place, amperes, words, warning=warning, error=error, feed=feed)
        if rank == 0 or finding.level is not Severity.OK:
            yield finding


def _check_conductors(network: Network) -> Iterator[Finding]:
    """Metric conductors against the least size; the rule is not one of the American code."""
    source, remedy = "IEC 60364-7-715 (quoted from a summary)", "use 1.5 mm² or more"
    rule = Rule(Topic.CONDUCTOR, "mm2", source, remedy)
    size = (
        "copper of extra-low-voltage lighting has 1.5 mm², or 1 mm² where it is flexible and 3 m or shorter"
    )
    laid = [(f"{c.from_node} to {c.to_node}", c.gauge, c.length_m) for c in network.segments]
    leads = [(fixture.node, fixture.lead) for fixture in network.fixtures]
    laid += [(f"lead at {node}", lead.gauge, lead.length_m) for node, lead in leads if lead is not None]
    for place, gauge, length_m in laid:
        short = gauge.build is Build.FLEXIBLE and length_m <= _FLEXIBLE_UP_TO_M
        mm2, least_mm2 = gauge.area_mm2, _LEAST_FLEXIBLE_MM2 if short else _LEAST_MM2
        if gauge.unit is Unit.MM2 and mm2 < least_mm2:
            words = f"{gauge} from {place}: {size}"
            yield rule.find(Severity.WARNING, place, mm2, _LEAST_MM2, words, feed=network.feed.node)


def _check_volts(lit: Solution, most_v: Sequence[float | None]) -> Iterator[Finding]:
    """Every lamp that gets too few or too many volts, and the worst of each kind where none does."""
    feed = lit.network.feed.node
    low, high = [], []
    for state, at_most_v in zip(lit.lamps, most_v, strict=True):
        low_v, high_v = state.fixture.range_v
        low.append((state.volts / low_v if low_v > 0.0 else 2.0, _check_low(feed, state)))
        if at_most_v is not None:
            high.append((high_v / at_most_v, _check_high(feed, state.fixture, at_most_v)))
    for checked in (low, high):
        checked.sort(key=lambda entry: entry[0])
        # A part below 1 is outside the range.
        yield from (finding for rank, (part, finding) in enumerate(checked) if rank == 0 or part < 1.0)


def _check_low(feed: str, state: LampState) -> Finding:
    fixture, volts = state.fixture, state.volts
    low_v, stated = fixture.range_v[0], fixture.min_v is not None
    dim = ""
    if fixture.lamp is Lamp.FILAMENT:
        dim = f", {part_of(filament_light(volts, fixture.rated_v), 'its light')}"
    out = "; below it the driver drops out" if state.drops_out else ""
    remedy = "use a higher tap, thicker cable, a feed nearer to the middle, or a second run"
    if fixture.lamp is Lamp.POWER and not stated:
        remedy = "read the LED's input range on its plate and write it into the file as “volts”"
    rule = Rule(Topic.LAMP_LOW, "V", _BY_PLATE if stated else _BY_BAND, remedy)
    words = f"{fixture.label} gets {volts:.2f} V with everything lit{dim}; it needs {low_v:.4g} V{out}"
    level = _level(fixture, outside=volts < low_v, stated=stated)
    return rule.find(level, fixture.node, volts, low_v, words, feed=feed)


def _check_high(feed: str, fixture: FixtureAt, volts: float) -> Finding:
    high_v, stated = fixture.range_v[1], fixture.max_v is not None
    life = ""
    if fixture.lamp is Lamp.FILAMENT:
        life = f", {part_of(filament_life_h(1.0, volts, fixture.rated_v), 'its rated life')}"
    remedy = "use a lower tap for the lamps near the transformer"
    rule = Rule(Topic.LAMP_HIGH, "V", _BY_PLATE if stated else _BY_BAND, remedy)
    gets = f"{fixture.label} gets up to {volts:.2f} V with its zone lit alone and the cable cool{life}"
    level = _level(fixture, outside=volts > high_v, stated=stated)
    return rule.find(level, fixture.node, volts, high_v, f"{gets}; it is allowed {high_v:.4g} V", feed=feed)


def _level(fixture: FixtureAt, *, outside: bool, stated: bool) -> Severity:
    """Outside its range is an error; but only a warning for an LED whose range is not known."""
    unsure = fixture.lamp is Lamp.POWER and not stated
    return Severity.OK if not outside else Severity.WARNING if unsure else Severity.ERROR


def _check_drop(solution: Solution, limits: Limits) -> list[Finding]:
    """The greatest drop from the feed to a lamp, in percent of the feed's volts, against each limit."""
    if not solution.lamps:
        return []
    feed = solution.network.feed
    worst = min(solution.lamps, key=lambda state: state.volts)
    drop_v = feed.source_v - worst.volts
    percent = 100.0 * drop_v / feed.source_v
    against = [(BRANCH_PERCENT, math.inf, _BY_NEC), (LIGHTING_PERCENT, math.inf, _BY_715)]
    if limits.drop_percent is not None:
        against.append((limits.drop_percent, limits.drop_percent, _BY_SITE))
    remedy = "lay thicker or shorter cable, or feed it nearer to the middle"
    words = f"the drop to {worst.fixture.label} is {drop_v:.2f} V, {percent:.1f} % of {feed.source_v:g} V"
    return [
        Rule(Topic.DROP, "%", source, remedy).check(
            worst.fixture.node,
            percent,
            f"{words} (limit {warning:g} %)",
            warning=warning,
            error=error,
            feed=feed.node,
        )
        for warning, error, source in against
    ]


def _check_evenness(solved: Sequence[SolvedStates], limits: Limits) -> Iterator[Finding]:
    """Light of the dimmest filament lamp as a part of the brightest, over the whole transformer."""
    lights = [
        (filament_light(state.volts, state.fixture.rated_v), state.fixture)
        for one in solved
        if isinstance(one.lit, Solution)
        for state in one.lit.lamps
        if state.fixture.lamp is Lamp.FILAMENT
    ]
    if not lights:
        return
    dim, dimmest = min(lights, key=lambda pair: pair[0])
    bright, brightest = max(lights, key=lambda pair: pair[0])
    part = dim / bright
    rule = Rule(
        Topic.SPREAD,
        "of the brightest",
        "light by V^3.4 (Standard Handbook for Electrical Engineers); the limit is common practice",
        "feed it nearer to the middle, or lay thicker cable to the dim end",
    )
    level = Severity.WARNING if part < limits.low_light else Severity.OK
    percent = f"{100.0 * part:.0f} % of the light of the brightest, {brightest.label}"
    words = f"the dimmest, {dimmest.label}, gives {percent}"
    yield rule.find(level, dimmest.node, part, limits.low_light, words)


def _check_life(solved: Sequence[SolvedStates], limits: Limits) -> Iterator[Finding]:
    """Life of the filament lamp with the most volts in proportion, as a part of its rated life."""
    lives = [
        (filament_life_h(1.0, volts, fixture.rated_v), volts, one.feed, fixture)
        for one in solved
        for volts, fixture in zip(one.most_v, one.lit.network.fixtures, strict=True)
        if fixture.lamp is Lamp.FILAMENT and volts is not None
    ]
    if not lives:
        return
    life, volts, feed, fixture = min(lives, key=lambda entry: entry[0])
    rule = Rule(
        Topic.LIFE,
        "of its rated life",
        "life by V^-13 (Standard Handbook for Electrical Engineers); the limit is common practice",
        "use a lower tap, or a lamp rated for more volts",
    )
    level = Severity.WARNING if life < limits.low_life else Severity.OK
    words = f"{fixture.label} lasts about {part_of(life, 'its rated life')} at {volts:.2f} V"
    yield rule.find(level, fixture.node, life, limits.low_life, words, feed=feed)
