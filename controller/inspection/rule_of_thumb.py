"""The trade's rule of thumb beside the truth: 12-gauge cable, 100 ft at most, the transformer at 80 %.

The rule is common practice and has no source. It is a reach limit for a modest load: 120 W from a 12 V tap
are too much for it in any arrangement, so it is only ever shown beside what was computed. The closed forms
here are the hand calculation: every lamp takes the current of its rated watts, whatever its volts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from config.errors import Severity
from controller.inspection.findings import InspectionResult, SolvedStates, Topic
from controller.wiring.cable import DEFAULT_TEMPERATURE_C, M_PER_FT, Gauge, loop_ohm, parse_gauge
from controller.wiring.network import way_to
from controller.wiring.solver import NoSolution

REACH_M: Final = 100.0 * M_PER_FT
LEAST_AREA_MM2: Final = parse_gauge("12 AWG").area_mm2
LOAD_PART: Final = 0.80
LAMP_TOPICS: Final = frozenset({Topic.LAMP_LOW, Topic.LAMP_HIGH, Topic.SOLUTION})


@dataclass(frozen=True, kw_only=True, slots=True)
class RuleOfThumbCheck:
    """What the rule of thumb says of one network, and what was computed.

    Attributes:
        feed: node of the feed.
        farthest_m: cable from the feed to the farthest lamp.
        thinnest_mm2: copper of the thinnest cable on the ways to lamps.
        rated_part: rated watts of the lamps as a part of the transformer's rating.
        rule_says: whether all three parts of the rule are kept.
        truth: whether every lamp is inside its range.
        words: one sentence with both.
    """

    feed: str
    farthest_m: float
    thinnest_mm2: float
    rated_part: float
    rule_says: bool
    truth: bool
    words: str


def carried_w(
    gauge: Gauge,
    length_m: float,
    *,
    source_v: float = 12.0,
    drop_percent: float = 5.0,
    lamps: int = 1,
    temperature_c: float = DEFAULT_TEMPERATURE_C,
) -> float:
    """Watts that a cable carries within a drop, by hand.

    Args:
        gauge: of the cable.
        length_m: of the cable.
        source_v: volts at the feed, for which the lamps are rated.
        drop_percent: greatest drop to the far lamp, of the feed's volts.
        lamps: equal lamps spread evenly, the last at the end; 1 is all of it at the end.
        temperature_c: of the copper.

    Source: V = 2 I R L, the drop of an even spread being (n + 1) ÷ 2n of that of the same load at the end;
    held by tests/controller/inspection/test_rule_of_thumb.py.
    """
    drop_v = source_v * drop_percent / 100.0
    return source_v * drop_v / (loop_ohm(gauge, length_m, temperature_c) * _spread(lamps))


def reach_m(
    gauge: Gauge,
    watts: float,
    *,
    source_v: float = 12.0,
    drop_percent: float = 5.0,
    lamps: int = 1,
    temperature_c: float = DEFAULT_TEMPERATURE_C,
) -> float:
    """Metres that a cable reaches with a load within a drop, by hand; see ``carried_w``."""
    return (
        carried_w(
            gauge, 1.0, source_v=source_v, drop_percent=drop_percent, lamps=lamps, temperature_c=temperature_c
        )
        / watts
    )


def _spread(lamps: int) -> float:
    return (lamps + 1) / (2 * lamps)


def check_rule_of_thumb(judgement: InspectionResult) -> tuple[RuleOfThumbCheck, ...]:
    """Set the rule beside the truth for each network of a transformer that has lamps."""
    networks = [one.lit.network for one in judgement.surveys]
    watts = sum(fixture.count * fixture.watts for network in networks for fixture in network.fixtures)
    return tuple(
        _compare(one, judgement, watts / one.lit.network.feed.rated_va)
        for one in judgement.surveys
        if one.lit.network.fixtures and one.lit.network.stretches
    )


def _compare(one: SolvedStates, judgement: InspectionResult, rated_part: float) -> RuleOfThumbCheck:
    network = one.lit.network
    ways = [way_to(network, fixture.node) for fixture in network.fixtures]
    farthest_m = max(sum(cable.length_m for cable in way) for way in ways)
    thinnest_mm2 = min((cable.gauge.area_mm2 for way in ways for cable in way), default=LEAST_AREA_MM2)
    # A hair of rounding must not break a rule that says "about".
    reached = farthest_m <= REACH_M * 1.001 and thinnest_mm2 >= LEAST_AREA_MM2 * 0.999
    rule_says = reached and rated_part <= LOAD_PART
    truth = not any(
        v.feed == one.feed and v.topic in LAMP_TOPICS and v.level is Severity.ERROR
        for v in judgement.verdicts
    )
    kept = "kept" if rule_says else "not kept"
    rule = f"12 AWG or thicker, 100 ft at most, 80 % of the rating at most: {kept}"
    return RuleOfThumbCheck(
        feed=one.feed,
        farthest_m=farthest_m,
        thinnest_mm2=thinnest_mm2,
        rated_part=rated_part,
        rule_says=rule_says,
        truth=truth,
        words=f"rule of thumb ({rule}); computed: {_truth_in_words(one, truth=truth)}",
    )


def _truth_in_words(one: SolvedStates, *, truth: bool) -> str:
    if isinstance(one.lit, NoSolution):
        return str(one.lit)
    worst = one.lit.worst
    gets = f"{worst.fixture.label} gets {worst.volts:.2f} V, the fewest" if worst else "no lamp is lit"
    return f"{'every lamp is inside its range' if truth else 'not every lamp is inside its range'}; {gets}"
