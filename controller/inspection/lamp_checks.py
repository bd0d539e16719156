"""Judge what the lamps get: their volts, the drop to them, how even their light is, how long they last.

The fewest volts are those with everything lit and the cable at the network's temperature; the most are those
with a lamp's zone lit alone on cool cable. A lamp must be inside its range in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from config.errors import Severity
from controller.inspection.findings import Finding, SolvedStates, Topic
from controller.lamps.light import filament_light
from controller.lamps.physics import filament_life_h
from controller.wiring.limits import Limits
from controller.wiring.network import FixtureAt, Lamp
from controller.wiring.solver import LampState, Solution

BRANCH_PERCENT: Final = 3.0
"""NEC 210.19(A) informational note: the drop to the farthest outlet; recommended, not enforceable (90.5)."""

LIGHTING_PERCENT: Final = 5.0
"""IEC 60364-7-715: the drop between transformer and lamps that should not be exceeded."""

_BY_PLATE: Final = "the lamp's own range"
_BY_BAND: Final = "0.90 to 1.05 of its rated volts, common practice"
_BY_NEC: Final = "NEC 210.19(A) informational note (quoted): reasonable efficiency, not enforceable"
_BY_715: Final = "IEC 60364-7-715 (quoted from a summary): should not be exceeded"
_BY_SITE: Final = "what this site asks for"
_BY_LIGHT: Final = "light by V^3.4 (Standard Handbook for Electrical Engineers); the limit is common practice"
_BY_LIFE: Final = "life by V^-13 (Standard Handbook for Electrical Engineers); the limit is common practice"


def check_volts(one: SolvedStates) -> list[Finding]:
    """Every lamp that gets too few or too many volts, and the worst of each kind where none does."""
    if not isinstance(one.lit, Solution) or not one.lit.lamps:
        return []
    low, high = [], []
    for place, state in enumerate(one.lit.lamps):
        low_v, high_v = state.fixture.range_v
        most_v = one.most_v[place]
        low.append((state.volts / low_v if low_v > 0.0 else 2.0, state, state.volts))
        if most_v is not None:
            high.append((high_v / most_v, state, most_v))
    low.sort(key=lambda entry: entry[0])
    high.sort(key=lambda entry: entry[0])
    findings = [
        _check_low(one.feed, state, volts)
        for rank, (part, state, volts) in enumerate(low)
        if rank == 0 or part < 1.0
    ]
    findings += [
        _check_high(one.feed, state, volts)
        for rank, (part, state, volts) in enumerate(high)
        if rank == 0 or part < 1.0
    ]
    return findings


def _level_of_volts(fixture: FixtureAt, *, outside: bool, stated: bool) -> Severity:
    """Outside a range is wrong; but an LED whose plate nobody read may well take it."""
    if not outside:
        return Severity.OK
    return Severity.WARNING if fixture.lamp is Lamp.POWER and not stated else Severity.ERROR


def _check_low(feed: str, state: LampState, volts: float) -> Finding:
    fixture = state.fixture
    low_v, _ = fixture.range_v
    stated = fixture.min_v is not None
    level = _level_of_volts(fixture, outside=volts < low_v, stated=stated)
    dim = ""
    if fixture.lamp is Lamp.FILAMENT:
        dim = f", {100.0 * filament_light(volts, fixture.rated_v):.0f} % of its light"
    out = "; below it the driver drops out" if state.drops_out else ""
    return Finding(
        topic=Topic.LAMP_LOW,
        level=level,
        feed=feed,
        place=fixture.node,
        value=volts,
        limit=low_v,
        unit="V",
        source=_BY_PLATE if stated else _BY_BAND,
        words=f"{fixture.label} gets {volts:.2f} V with everything lit{dim}; it needs {low_v:.4g} V{out}",
        remedy="" if level is Severity.OK else _remedy_low(fixture, stated=stated),
    )


def _remedy_low(fixture: FixtureAt, *, stated: bool) -> str:
    if fixture.lamp is Lamp.POWER and not stated:
        return "read the LED's input range on its plate and state it"
    return "a higher tap, thicker cable, a feed nearer to the middle, or a second run"


def _check_high(feed: str, state: LampState, volts: float) -> Finding:
    fixture = state.fixture
    _, high_v = fixture.range_v
    stated = fixture.max_v is not None
    level = _level_of_volts(fixture, outside=volts > high_v, stated=stated)
    life = ""
    if fixture.lamp is Lamp.FILAMENT:
        life = f", {100.0 * filament_life_h(1.0, volts, fixture.rated_v):.0f} % of its rated life"
    return Finding(
        topic=Topic.LAMP_HIGH,
        level=level,
        feed=feed,
        place=fixture.node,
        value=volts,
        limit=high_v,
        unit="V",
        source=_BY_PLATE if stated else _BY_BAND,
        words=f"{fixture.label} gets up to {volts:.2f} V with its zone lit alone and the cable cool{life};"
        f" it takes {high_v:.4g} V",
        remedy="" if level is Severity.OK else "a lower tap for the lamps near the transformer",
    )


def check_drop(solution: Solution, limits: Limits) -> list[Finding]:
    """The greatest drop from the feed to a lamp, in percent of the feed's volts, against each limit."""
    if not solution.lamps:
        return []
    source_v = solution.network.feed.source_v
    worst = min(solution.lamps, key=lambda state: state.volts)
    drop_v = source_v - worst.volts
    percent = 100.0 * drop_v / source_v
    against = [(BRANCH_PERCENT, _BY_NEC, Severity.WARNING), (LIGHTING_PERCENT, _BY_715, Severity.WARNING)]
    if limits.drop_percent is not None:
        against.append((limits.drop_percent, _BY_SITE, Severity.ERROR))
    return [
        Finding(
            topic=Topic.DROP,
            level=beyond if percent > limit else Severity.OK,
            feed=solution.network.feed.node,
            place=worst.fixture.node,
            value=percent,
            limit=limit,
            unit="%",
            source=source,
            words=f"the drop to {worst.fixture.label} is {drop_v:.2f} V, {percent:.1f} % of {source_v:g} V"
            f" (limit {limit:g} %)",
            remedy="thicker or shorter cable, a feed nearer to the middle" if percent > limit else "",
        )
        for limit, source, beyond in against
    ]


def check_evenness(solved: Sequence[SolvedStates], limits: Limits) -> list[Finding]:
    """Light of the dimmest filament lamp as a part of the brightest, over the whole transformer."""
    states = [
        state
        for one in solved
        if isinstance(one.lit, Solution)
        for state in one.lit.lamps
        if state.fixture.lamp is Lamp.FILAMENT
    ]
    if not states:
        return []
    lights = [(filament_light(state.volts, state.fixture.rated_v), state) for state in states]
    dim, dimmest = min(lights, key=lambda pair: pair[0])
    bright, brightest = max(lights, key=lambda pair: pair[0])
    part = dim / bright
    uneven = part < limits.low_light
    return [
        Finding(
            topic=Topic.SPREAD,
            level=Severity.WARNING if uneven else Severity.OK,
            feed="",
            place=dimmest.fixture.node,
            value=part,
            limit=limits.low_light,
            unit="of the brightest",
            source=_BY_LIGHT,
            words=f"the dimmest, {dimmest.fixture.label}, gives {100.0 * part:.0f} % of the light of"
            f" the brightest, {brightest.fixture.label}",
            remedy="feed it nearer to the middle, or thicker cable towards the dim end" if uneven else "",
        )
    ]


def check_life(solved: Sequence[SolvedStates], limits: Limits) -> list[Finding]:
    """Life of the filament lamp with the most volts in proportion, as a part of its rated life."""
    lives = []
    for one in solved:
        for place, fixture in enumerate(one.lit.network.fixtures):
            volts = one.most_v[place]
            if fixture.lamp is Lamp.FILAMENT and volts is not None:
                lives.append((filament_life_h(1.0, volts, fixture.rated_v), volts, one.feed, fixture))
    if not lives:
        return []
    life, volts, feed, fixture = min(lives, key=lambda entry: entry[0])
    short = life < limits.low_life
    return [
        Finding(
            topic=Topic.LIFE,
            level=Severity.WARNING if short else Severity.OK,
            feed=feed,
            place=fixture.node,
            value=life,
            limit=limits.low_life,
            unit="of its rated life",
            source=_BY_LIFE,
            words=f"{fixture.label} lasts about {100.0 * life:.0f} % of its rated life at {volts:.2f} V",
            remedy="a lower tap, or a lamp rated for more volts" if short else "",
        )
    ]
