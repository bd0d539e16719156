"""Check what the lamps get: their volts, the drop to them, how even their light is, how long they last.

The fewest volts are those with everything lit and the cable at the network's temperature; the most are those
with a lamp's zone lit alone on cool cable.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from config.errors import Severity
from controller.inspection.findings import Finding, Rule, SolvedStates, Topic, part_of
from controller.lamps.physics import filament_life_h, filament_light
from controller.wiring.network import FixtureAt, Lamp, Limits
from controller.wiring.solver import LampState, Solution

BRANCH_PERCENT: Final = 3.0
"""NEC 210.19(A) informational note: the drop to the farthest outlet; recommended, not enforceable (90.5)."""

LIGHTING_PERCENT: Final = 5.0
"""IEC 60364-7-715: the drop between transformer and lamps that should not be exceeded."""

_BY_PLATE: Final = "the lamp's own range"
_BY_BAND: Final = "0.90 to 1.05 of its rated volts, common practice"
_BY_NEC: Final = "NEC 210.19(A) informational note (quoted): 3 % for reasonable efficiency, not enforceable"
_BY_715: Final = "IEC 60364-7-715 (quoted from a summary): 5 % should not be exceeded"
_BY_SITE: Final = "what this site asks for"
_EVENNESS: Final = Rule(
    Topic.SPREAD,
    "of the brightest",
    "light by V^3.4 (Standard Handbook for Electrical Engineers); the limit is common practice",
    "feed it nearer to the middle, or lay thicker cable to the dim end",
)
_LIFE: Final = Rule(
    Topic.LIFE,
    "of its rated life",
    "life by V^-13 (Standard Handbook for Electrical Engineers); the limit is common practice",
    "use a lower tap, or a lamp rated for more volts",
)


def check_volts(one: SolvedStates) -> list[Finding]:
    """Every lamp that gets too few or too many volts, and the worst of each kind where none does."""
    if not isinstance(one.lit, Solution):
        return []
    low, high = [], []
    for state, most_v in zip(one.lit.lamps, one.most_v, strict=True):
        low_v, high_v = state.fixture.range_v
        low.append((state.volts / low_v if low_v > 0.0 else 2.0, _check_low(one.feed, state)))
        if most_v is not None:
            high.append((high_v / most_v, _check_high(one.feed, state.fixture, most_v)))
    return [*_worst_or_outside(low), *_worst_or_outside(high)]


def _worst_or_outside(checked: list[tuple[float, Finding]]) -> Iterable[Finding]:
    """The findings outside a range (a part below 1), else the nearest to its end; the worst first."""
    checked.sort(key=lambda entry: entry[0])
    return (finding for rank, (part, finding) in enumerate(checked) if rank == 0 or part < 1.0)


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


def check_drop(solution: Solution, limits: Limits) -> list[Finding]:
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


def check_evenness(solved: Sequence[SolvedStates], limits: Limits) -> list[Finding]:
    """Light of the dimmest filament lamp as a part of the brightest, over the whole transformer."""
    lights = [
        (filament_light(state.volts, state.fixture.rated_v), state.fixture)
        for one in solved
        if isinstance(one.lit, Solution)
        for state in one.lit.lamps
        if state.fixture.lamp is Lamp.FILAMENT
    ]
    if not lights:
        return []
    dim, dimmest = min(lights, key=lambda pair: pair[0])
    bright, brightest = max(lights, key=lambda pair: pair[0])
    part = dim / bright
    level = Severity.WARNING if part < limits.low_light else Severity.OK
    percent = f"{100.0 * part:.0f} % of the light of the brightest, {brightest.label}"
    words = f"the dimmest, {dimmest.label}, gives {percent}"
    return [_EVENNESS.find(level, dimmest.node, part, limits.low_light, words)]


def check_life(solved: Sequence[SolvedStates], limits: Limits) -> list[Finding]:
    """Life of the filament lamp with the most volts in proportion, as a part of its rated life."""
    lives = [
        (filament_life_h(1.0, volts, fixture.rated_v), volts, one.feed, fixture)
        for one in solved
        for volts, fixture in zip(one.most_v, one.lit.network.fixtures, strict=True)
        if fixture.lamp is Lamp.FILAMENT and volts is not None
    ]
    if not lives:
        return []
    life, volts, feed, fixture = min(lives, key=lambda entry: entry[0])
    level = Severity.WARNING if life < limits.low_life else Severity.OK
    words = f"{fixture.label} lasts about {part_of(life, 'its rated life')} at {volts:.2f} V"
    return [_LIFE.find(level, fixture.node, life, limits.low_life, words, feed=feed)]
