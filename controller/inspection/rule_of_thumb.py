"""The rule of thumb and the calculation: 12-gauge cable, up to 100 ft, the transformer at 80 %.

The rule is common practice and has no source. It is a reach limit for a modest load: 120 W from a 12 V tap
are too much for it in any arrangement, so it is only ever shown together with what was computed.
"""

from collections.abc import Set
from dataclasses import dataclass
from typing import Any, Final

from config.errors import Severity
from config.models.cables import M_PER_FT, parse_gauge
from config.phrase import Phrase
from controller.inspection.findings import LAMP_TOPICS, InspectionResult, Topic
from controller.inspection.states import SolvedStates
from controller.wiring.network import way_to
from controller.wiring.solver import NoSolution, Solution

REACH_M: Final = 100.0 * M_PER_FT
LEAST_AREA_MM2: Final = parse_gauge("12 AWG").area_mm2
LOAD_PART: Final = 0.80


@dataclass(frozen=True, kw_only=True, slots=True)
class RuleOfThumbCheck:
    """What the rule of thumb says of one network, and what was computed.

    ``farthest_m`` is the cable from the feed to the farthest lamp, ``thinnest_mm2`` the copper of the
    thinnest cable on the ways to lamps, ``rated_part`` the lamps' watts as a part of the rating.
    """

    circuit: str
    farthest_m: float
    thinnest_mm2: float
    rated_part: float
    rule_kept: bool
    every_lamp_in_range: bool
    words: str


def check_rule_of_thumb(inspection: InspectionResult) -> tuple[RuleOfThumbCheck, ...]:
    """Hold the rule against the calculation for each network of a transformer that has lamps."""
    networks = [one.lit.network for one in inspection.solved]
    watts = sum(fixture.count * fixture.watts for network in networks for fixture in network.fixtures)
    return tuple(
        _compare(one, inspection, watts / one.lit.network.feed.rated_va)
        for one in inspection.solved
        if one.lit.network.fixtures and one.lit.network.segments
    )


def _compare(one: SolvedStates, inspection: InspectionResult, rated_part: float) -> RuleOfThumbCheck:
    network = one.lit.network
    ways = [way_to(network, fixture.node) for fixture in network.fixtures]
    farthest_m = max(sum(cable.length_m for cable in way) for way in ways)
    thinnest_mm2 = min((cable.gauge.area_mm2 for way in ways for cable in way), default=LEAST_AREA_MM2)
    # A hair of rounding must not break a rule that says "about".
    reached = farthest_m <= REACH_M * 1.001 and thinnest_mm2 >= LEAST_AREA_MM2 * 0.999
    rule_kept = reached and rated_part <= LOAD_PART
    outside = {
        each.topic
        for each in inspection.findings
        if each.feed == one.feed
        and each.topic in {*LAMP_TOPICS, Topic.READING}
        and each.level is not Severity.OK
    }
    computed = one.lit.words if isinstance(one.lit, NoSolution) else _say_range(one.lit, outside)
    if rule_kept:
        words = Phrase(
            "rule of thumb (12 AWG or thicker, up to 100 ft, up to 80 % of the rating): kept;"
            " computed: {computed}",
            computed=computed,
        )
    else:
        words = Phrase(
            "rule of thumb (12 AWG or thicker, up to 100 ft, up to 80 % of the rating): not kept;"
            " computed: {computed}",
            computed=computed,
        )
    return RuleOfThumbCheck(
        circuit=one.feed,
        farthest_m=farthest_m,
        thinnest_mm2=thinnest_mm2,
        rated_part=rated_part,
        rule_kept=rule_kept,
        every_lamp_in_range=not outside,
        words=words,
    )


def _say_range(lit: Solution, outside: Set[Topic]) -> Phrase:
    """Say whether every lamp is inside its range, and what the worst of them gets."""
    worst = lit.worst
    if worst is None:
        return Phrase("no lamp is lit")
    gets: dict[str, Any] = {"lamp": worst.fixture.label, "volts": worst.volts}
    if outside == {Topic.READING}:
        return Phrase(
            "every lamp is inside its range, but not as measured; {lamp} gets {volts:.2f} V, the fewest",
            **gets,
        )
    if not outside:
        return Phrase("every lamp is inside its range; {lamp} gets {volts:.2f} V, the fewest", **gets)
    return Phrase("not every lamp is inside its range; {lamp} gets {volts:.2f} V, the fewest", **gets)
