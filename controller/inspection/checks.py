"""Check the wiring of one transformer: loads, currents, conductors, and what each lamp gets.

Each rule gives a finding for everything that passes a limit, and one for the worst where nothing does. Loads
and currents are those of the worst case: everything lit or one zone alone, on warm or on cool cable. The
fewest volts are those with everything lit and the cable at the network's temperature; the most are those with
a lamp's zone lit alone on cool cable.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

from config.errors import Severity
from config.models.cables import Build, Gauge, Unit
from config.models.site import CONTINUOUS_SHARE
from config.phrase import Phrase
from controller.inspection.findings import Finding, InspectionResult, Rule, Topic, in_percent
from controller.inspection.states import Case, SolvedStates, solve_states
from controller.inspection.volts import check_evenness, check_life, check_volts
from controller.wiring.cable import Ampacity, ampacity
from controller.wiring.network import CableSegment, FixtureAt, Limits, Network
from controller.wiring.solver import NoSolution, Solution

SUPPLY_V: Final = 30.0
"""NEC 411: the most volts of a low-voltage lighting system, AC."""

_BY_411: Final = Phrase("NEC 411 (quoted in a second text)")
_LEAST_MM2, _LEAST_FLEXIBLE_MM2, _FLEXIBLE_UP_TO_M = 1.5, 1.0, 3.0

BRANCH_PERCENT: Final = 3.0
"""NEC 210.19(A) informational note: the drop to the farthest outlet; recommended, not enforceable (90.5)."""

LIGHTING_PERCENT: Final = 5.0
"""IEC 60364-7-715: the drop between transformer and lamps that should not be exceeded."""

_BY_NEC: Final = Phrase(
    "NEC 210.19(A) informational note (quoted): 3 % for reasonable efficiency, not enforceable"
)
_BY_715: Final = Phrase("IEC 60364-7-715 (quoted from a summary): 5 % should not be exceeded")
_BY_SITE: Final = Phrase("what this site asks for")


def inspect(networks: Sequence[Network], limits: Limits | None = None) -> InspectionResult:
    """Check everything behind one transformer: its networks, one for each tap in use."""
    limits = limits or Limits()
    solved = solve_states(networks, limits)
    findings = [_check_delivery(one.lit) for one in solved if not isinstance(one.lit, Solution)]
    findings += _check_transformer(solved)
    for one in solved:
        findings.append(_check_supply(one.lit.network))
        findings += _check_conductors(one.lit.network)
        findings += _check_cables(one)
        if isinstance(one.lit, Solution):
            findings += check_volts(one, one.lit)
            findings += _check_drop(one.lit, limits)
    findings += _check_circuits(solved)
    findings += check_evenness(solved, limits)
    findings += check_life(solved, limits)
    return InspectionResult(solved=solved, findings=tuple(findings))


def _check_delivery(lit: NoSolution) -> Finding:
    feed = lit.network.feed.node
    rule = Rule(
        Topic.SOLUTION,
        "W",
        Phrase("computed from the cables' resistance (V² ÷ 4R for one lamp)"),
        Phrase("use fewer or smaller lamps, a higher tap, thicker or shorter cable"),
    )
    words = Phrase("“{feed}”: {why}", feed=feed, why=lit.words)
    return rule.find(Severity.ERROR, lit.worst_node, lit.asked_w, lit.deliverable_w, words, feed=feed)


def _check_transformer(solved: Sequence[SolvedStates]) -> list[Finding]:
    """Load of all networks together and of each zone alone, each in its worst case."""
    if not solved:
        return []
    feed = solved[0].lit.network.feed
    everything, *zones = _worst_loads(solved).values()
    case, load_va = everything
    words = Phrase(
        "“{transformer}”: {load}, {case}",
        transformer=feed.transformer,
        load=load_in_words(load_va, feed.rated_va),
        case=case.words,
    )
    whole = Phrase("“{transformer}”", transformer=feed.transformer)
    findings = [_check_load(Topic.TRANSFORMER, whole, load_va, feed.rated_va, words)]
    for case, load_va in zones if len(zones) > 1 else ():
        place = Phrase("zone “{zone}” alone", zone=case.zone)
        words = Phrase(
            "zone “{zone}” alone: {load}, the cable at {temperature:g} °C",
            zone=case.zone,
            load=load_in_words(load_va, feed.rated_va),
            temperature=case.temperature_c,
        )
        findings.append(_check_load(Topic.ZONE, place, load_va, feed.rated_va, words))
    return findings


def _worst_loads(solved: Sequence[SolvedStates]) -> dict[str | None, tuple[Case, float]]:
    """The most volt-amperes of everything, under None, and of each zone alone, with the case in which.

    Where everything together has no solution, the lamps' own count. A zone alone without one is left out.
    """
    loads: dict[Case, float] = {}
    unsolved = set()
    for one in solved:
        for case, outcome in one.cases.items():
            if isinstance(outcome, Solution):
                load_va = outcome.source_va
            else:
                lamps = outcome.network.fixtures
                load_va = sum(lamp.rated_va for lamp in lamps)
                unsolved.add(case)
            loads[case] = loads.get(case, 0.0) + load_va
    worst: dict[str | None, tuple[Case, float]] = {}
    for case, load_va in loads.items():
        if case.zone is not None and case in unsolved:
            continue
        if case.zone not in worst or load_va > worst[case.zone][1]:
            worst[case.zone] = (case, load_va)
    return worst


def _check_load(topic: Topic, place: Phrase, load_va: float, rated_va: float, words: Phrase) -> Finding:
    rule = Rule(
        topic,
        "VA",
        Phrase("the transformer's rating; the 80 % line is common practice after NEC 210.20(A) and 215.3"),
        Phrase(
            "use a transformer of {needed:g} VA or more, or move lamps to another",
            needed=math.ceil(load_va / CONTINUOUS_SHARE / 5.0) * 5,
        ),
    )
    return rule.check(place, load_va, words, warning=CONTINUOUS_SHARE * rated_va, error=rated_va)


def load_in_words(load_va: float, rated_va: float) -> Phrase:
    """Say what a transformer carries of its rating, and how far that is from the 80 % line."""
    left_va = CONTINUOUS_SHARE * rated_va - load_va
    values: dict[str, Any] = {"load": load_va, "rated": rated_va, "percent": in_percent(load_va / rated_va)}
    if left_va >= 0.0:
        return Phrase(
            "{load:.1f} of {rated:g} VA ({percent}), {left:.0f} VA below the 80 % line",
            left=left_va,
            **values,
        )
    return Phrase(
        "{load:.1f} of {rated:g} VA ({percent}), {over:.0f} VA above the 80 % line", over=-left_va, **values
    )


def _check_supply(network: Network) -> Finding:
    remedy = Phrase("use a tap of {limit:g} V or less", limit=SUPPLY_V)
    rule = Rule(Topic.SUPPLY, "V", _BY_411, remedy)
    node, volts = network.feed.node, max(network.feed.source_v, network.feed.full_load_v)
    words = Phrase(
        "“{node}” supplies {volts:g} V; low-voltage lighting has {limit:g} V or less",
        node=node,
        volts=volts,
        limit=SUPPLY_V,
    )
    return rule.check(node, volts, words, warning=SUPPLY_V, error=SUPPLY_V, feed=node)


def _check_circuits(solved: Sequence[SolvedStates]) -> Iterator[Finding]:
    """The most current of each common over all its taps; of each tap where the commons are not known."""
    circuits: dict[str | int, list[SolvedStates]] = {}
    for one in solved:
        circuits.setdefault(one.lit.network.feed.circuit, []).append(one)
    for circuit, members in circuits.items():
        carried: dict[Case, float] = {}
        unsolved = set()
        for case, outcome in (each for one in members for each in one.cases.items()):
            if isinstance(outcome, Solution):
                carried[case] = carried.get(case, 0.0) + outcome.source_a
            else:
                unsolved.add(case)
        if solvable := {case: amperes for case, amperes in carried.items() if case not in unsolved}:
            case = max(solvable, key=lambda each: solvable[each])
            yield _check_circuit(circuit, members, case, solvable[case])


def _check_circuit(
    circuit: str | int, members: Sequence[SolvedStates], case: Case, amperes: float
) -> Finding:
    largest = max(members, key=lambda one: _amperes_in(one, case))
    feed = largest.lit.network.feed
    rule = Rule(
        Topic.CIRCUIT,
        "A",
        Phrase("NEC 411 (quoted in a second text); 80 % of it for hours on end is common practice"),
        Phrase("move part of the lamps to another tap or transformer")
        if isinstance(circuit, str)
        else Phrase("move part of the lamps to another common or transformer"),
    )
    values: dict[str, Any] = {"amperes": amperes, "limit": feed.limit_a, "case": case.words}
    if len(members) == 1:
        words = Phrase(
            "the circuit of “{node}” carries {amperes:.2f} A of {limit:g} A, {case}", node=feed.node, **values
        )
    else:
        words = Phrase(
            "common {common} of “{transformer}” carries {amperes:.2f} A of {limit:g} A over its taps, {case}",
            common=str(circuit),
            transformer=feed.transformer,
            **values,
        )
    warning, error = CONTINUOUS_SHARE * feed.limit_a, feed.limit_a
    return rule.check(feed.node, amperes, words, warning=warning, error=error, feed=feed.node)


def _amperes_in(one: SolvedStates, case: Case) -> float:
    outcome = one.cases.get(case)
    return outcome.source_a if isinstance(outcome, Solution) else 0.0


def _check_cables(one: SolvedStates) -> Iterator[Finding]:
    """The most current of each cable, lead and connector against what it may carry."""
    cables, leads = _most_amperes(one)
    network = one.lit.network
    carried: list[tuple[Ampacity, CableSegment | FixtureAt, float, Case]] = [
        (cable.limit, cable, *cables[id(cable)]) for cable in network.segments if id(cable) in cables
    ]
    carried += [
        (ampacity(lamp.lead.gauge), lamp, *leads[id(lamp)])
        for lamp in network.fixtures
        if lamp.lead is not None and id(lamp) in leads
    ]
    carried.sort(key=lambda each: each[2] / each[0].amperes, reverse=True)
    for rank, (limit, what, amperes, case) in enumerate(carried):
        if rank == 0 or amperes > CONTINUOUS_SHARE * limit.amperes:
            yield _check_current(one.feed, what, amperes, limit, case)
    connected = [
        (cable.connector_a, cable, *cables[id(cable)])
        for cable in network.segments
        if cable.connector_a is not None and id(cable) in cables
    ]
    connected.sort(key=lambda each: each[2] / each[0], reverse=True)
    for rank, (limit_a, cable, amperes, case) in enumerate(connected):
        if rank == 0 or amperes > limit_a:
            yield _check_connector(one.feed, cable, amperes, limit_a, case)


def _most_amperes(one: SolvedStates) -> tuple[dict[int, tuple[float, Case]], dict[int, tuple[float, Case]]]:
    """The most that each cable and the lead of each fixture carries, by its identity, and in which case."""
    cables: dict[int, tuple[float, Case]] = {}
    leads: dict[int, tuple[float, Case]] = {}
    for case, outcome in one.cases.items():
        if isinstance(outcome, Solution):
            for segment in outcome.segments:
                if segment.amperes > cables.get(id(segment.segment), (-1.0, case))[0]:
                    cables[id(segment.segment)] = (segment.amperes, case)
            for lamp in outcome.lamps:
                if lamp.amperes > leads.get(id(lamp.fixture), (-1.0, case))[0]:
                    leads[id(lamp.fixture)] = (lamp.amperes, case)
    return cables, leads


def _check_current(
    feed: str, what: CableSegment | FixtureAt, amperes: float, limit: Ampacity, case: Case
) -> Finding:
    """One cable or lead against its ampacity, and 80 % of it for long hours."""
    rule = Rule(
        Topic.CABLE,
        "A",
        Phrase("{source}; 80 % of it for three hours or more by NEC 210.19(A)(1)", source=limit.source),
        Phrase("lay thicker cable there, or move part of the lamps to another run"),
    )
    words = Phrase(
        "{what} carries {amperes:.2f} A of {limit:.4g} A, {case}",
        what=_name(what),
        amperes=amperes,
        limit=limit.amperes,
        case=case.words,
    )
    warning, error = CONTINUOUS_SHARE * limit.amperes, limit.amperes
    return rule.check(_place_of(what), amperes, words, warning=warning, error=error, feed=feed)


def _check_connector(feed: str, cable: CableSegment, amperes: float, limit_a: float, case: Case) -> Finding:
    rule = Rule(
        Topic.CONNECTOR,
        "A",
        Phrase("the rating of the connectors, from the site file"),
        Phrase("use connectors for more amperes, or move part of the lamps to another run"),
    )
    words = Phrase(
        "the connectors of the cable from {begins} to {ends} carry {amperes:.2f} A of {limit:g} A, {case}",
        begins=cable.from_node,
        ends=cable.to_node,
        amperes=amperes,
        limit=limit_a,
        case=case.words,
    )
    return rule.check(_place_of(cable), amperes, words, warning=limit_a, error=limit_a, feed=feed)


def _place_of(what: CableSegment | FixtureAt) -> Phrase:
    if isinstance(what, FixtureAt):
        return Phrase("lead at {node}", node=what.node)
    return Phrase("{begins} to {ends}", begins=what.from_node, ends=what.to_node)


def _name(what: CableSegment | FixtureAt) -> Phrase:
    """Name a cable, or the lead of a fixture, in a sentence."""
    if isinstance(what, FixtureAt):
        gauge = what.lead.gauge if what.lead else ""
        return Phrase("the lead of {gauge} at {node}", gauge=str(gauge), node=what.node)
    values: dict[str, Any] = {"gauge": str(what.gauge), "begins": what.from_node, "ends": what.to_node}
    if what.cables_in_conduit > 1:
        return Phrase(
            "{gauge} from {begins} to {ends}, one of {cables} cables in a conduit,",
            cables=what.cables_in_conduit,
            **values,
        )
    return Phrase("{gauge} from {begins} to {ends}", **values)


def _check_conductors(network: Network) -> Iterator[Finding]:
    """Metric conductors against the least size; the rule is not one of the American code."""
    laid: list[tuple[CableSegment | FixtureAt, Gauge, float]] = [
        (each, each.gauge, each.length_m) for each in network.segments
    ]
    laid += [
        (each, each.lead.gauge, each.lead.length_m) for each in network.fixtures if each.lead is not None
    ]
    for what, gauge, length_m in laid:
        short = gauge.build is Build.FLEXIBLE and length_m <= _FLEXIBLE_UP_TO_M
        mm2, least_mm2 = gauge.area_mm2, _LEAST_FLEXIBLE_MM2 if short else _LEAST_MM2
        if gauge.unit is Unit.MM2 and mm2 < least_mm2:
            words = Phrase(
                "{what}: copper of extra-low-voltage lighting has 1.5 mm², or 1 mm² where it is flexible and"
                " 3 m or shorter",
                what=_name(what),
            )
            rule = Rule(
                Topic.CONDUCTOR,
                "mm2",
                Phrase("IEC 60364-7-715 (quoted from a summary)"),
                Phrase("use 1.5 mm² or more"),
            )
            place, feed = _place_of(what), network.feed.node
            yield rule.find(Severity.WARNING, place, mm2, _LEAST_MM2, words, feed=feed)


def _check_drop(solution: Solution, limits: Limits) -> list[Finding]:
    """The greatest drop from the feed to a lamp, in percent of the feed's volts, against each limit."""
    if not solution.lamps:
        return []
    feed = solution.network.feed
    worst = min(solution.lamps, key=lambda state: state.volts)
    source_v = solution.feed_v
    drop_v = source_v - worst.volts
    percent = 100.0 * drop_v / source_v
    against = [(BRANCH_PERCENT, math.inf, _BY_NEC), (LIGHTING_PERCENT, math.inf, _BY_715)]
    if limits.drop_percent is not None:
        against.append((limits.drop_percent, limits.drop_percent, _BY_SITE))
    remedy = Phrase("lay thicker or shorter cable, or feed it nearer to the middle")
    return [
        Rule(Topic.DROP, "%", source, remedy).check(
            worst.fixture.node,
            percent,
            Phrase(
                "the drop to {lamp} is {drop:.2f} V, {percent:.1f} % of {source:g} V (limit {limit:g} %)",
                lamp=worst.fixture.label,
                drop=drop_v,
                percent=percent,
                source=round(source_v, 2),
                limit=warning,
            ),
            warning=warning,
            error=error,
            feed=feed.node,
        )
        for warning, error, source in against
    ]
