"""Check what the lamps get: their volts, the drop to them, how even their light is, how long they last.

The fewest volts are those with everything lit and the cable at the network's temperature; the most are those
with a lamp's zone lit alone on cool cable.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from config.errors import Severity
from controller.inspection.findings import Finding, SolvedStates, Topic, hold_against, part_of
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
_BY_LIGHT: Final = "light by V^3.4 (Standard Handbook for Electrical Engineers); the limit is common practice"
_BY_LIFE: Final = "life by V^-13 (Standard Handbook for Electrical Engineers); the limit is common practice"


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
    return _lamp_finding(
        Topic.LAMP_LOW,
        feed,
        fixture,
        volts,
        low_v,
        outside=volts < low_v,
        stated=stated,
        words=f"{fixture.label} gets {volts:.2f} V with everything lit{dim}; it needs {low_v:.4g} V{out}",
        remedy=remedy,
    )


def _check_high(feed: str, fixture: FixtureAt, volts: float) -> Finding:
    high_v = fixture.range_v[1]
    life = ""
    if fixture.lamp is Lamp.FILAMENT:
        life = f", {part_of(filament_life_h(1.0, volts, fixture.rated_v), 'its rated life')}"
    return _lamp_finding(
        Topic.LAMP_HIGH,
        feed,
        fixture,
        volts,
        high_v,
        outside=volts > high_v,
        stated=fixture.max_v is not None,
        words=f"{fixture.label} gets up to {volts:.2f} V with its zone lit alone and the cable cool{life};"
        f" it is allowed {high_v:.4g} V",
        remedy="use a lower tap for the lamps near the transformer",
    )


def _lamp_finding(
    topic: Topic,
    feed: str,
    fixture: FixtureAt,
    volts: float,
    limit_v: float,
    *,
    outside: bool,
    stated: bool,
    words: str,
    remedy: str,
) -> Finding:
    """Outside its range is an error; but an LED whose plate nobody read may well take it."""
    unsure = fixture.lamp is Lamp.POWER and not stated
    level = Severity.OK if not outside else Severity.WARNING if unsure else Severity.ERROR
    return Finding(
        topic=topic,
        level=level,
        feed=feed,
        place=fixture.node,
        value=volts,
        limit=limit_v,
        unit="V",
        source=_BY_PLATE if stated else _BY_BAND,
        words=words,
        remedy=remedy if outside else "",
    )


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
    return [
        hold_against(
            Topic.DROP,
            worst.fixture.node,
            percent,
            "%",
            warning=warning,
            error=error,
            words=f"the drop to {worst.fixture.label} is {drop_v:.2f} V, {percent:.1f} % of"
            f" {feed.source_v:g} V (limit {warning:g} %)",
            source=source,
            remedy="lay thicker or shorter cable, or feed it nearer to the middle",
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
    uneven = dim / bright < limits.low_light
    return [
        Finding(
            topic=Topic.SPREAD,
            level=Severity.WARNING if uneven else Severity.OK,
            feed="",
            place=dimmest.node,
            value=dim / bright,
            limit=limits.low_light,
            unit="of the brightest",
            source=_BY_LIGHT,
            words=f"the dimmest, {dimmest.label}, gives {100.0 * dim / bright:.0f} % of the light of"
            f" the brightest, {brightest.label}",
            remedy="feed it nearer to the middle, or lay thicker cable to the dim end" if uneven else "",
        )
    ]


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
            words=f"{fixture.label} lasts about {part_of(life, 'its rated life')} at {volts:.2f} V",
            remedy="use a lower tap, or a lamp rated for more volts" if short else "",
        )
    ]
