"""Which cables to make thicker, so that every lamp has its volts with the least copper.

Along a way the drop is the sum of current times resistance. So each gram of copper helps most where the
current is greatest: near the feed. Cables on the ways to lamps with too few volts are taken in the order of
their current, and how many of them it takes is found by halving, each trial solved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from config.models.cables import Gauge
from controller.wiring.cable import ampacity, loop_ohm, thicker
from controller.wiring.network import Lamp, Network
from controller.wiring.power_flow import Tree, branch_currents, try_volts
from controller.wiring.solver import build_tree

Gauges = dict[str, Gauge]
"""New gauges by the node at which a cable ends."""


@dataclass(kw_only=True, slots=True)
class SizingTrial:
    """A network turned into arrays once, whose cables can be exchanged for one solution after another.

    Attributes:
        needed_v: for each fixture the place of its lamps and the volts that they must have.
        flows: amperes into each place, as estimated for the order of the cables.
        undervolted: ends of the cables on the ways to lamps that have too few volts now.
        short_v: the volts that the worst lamp lacks now; 0 where there is no solution.
    """

    network: Network
    tree: Tree
    places: dict[str, int]
    needed_v: tuple[tuple[int, float], ...]
    flows: list[float]
    undervolted: frozenset[str]
    short_v: float

    def suffices(self, gauges: Gauges) -> bool:
        """Whether every lamp has its volts with these cables exchanged."""
        network, ohm = self.network, list(self.tree.ohm)
        for cable in network.segments:
            if (gauge := gauges.get(cable.to_node)) is not None:
                loop = loop_ohm(gauge, cable.length_m, network.temperature_c)
                ohm[self.places[cable.to_node]] = loop + cable.splice_ohm
        volts = try_volts(replace(self.tree, ohm=ohm), network.feed.source_v)
        return volts is not None and all(volts[place] >= needed_v for place, needed_v in self.needed_v)


def needed_volts(network: Network, drop_percent: float | None) -> tuple[float, ...]:
    """The fewest volts allowed at each fixture: its range, and the drop that the site accepts."""
    floor_v = 0.0 if drop_percent is None else network.feed.source_v * (1.0 - drop_percent / 100.0)
    return tuple(
        # An LED without a stated range is never an error, so it asks for nothing here.
        floor_v if fixture.lamp is Lamp.POWER and fixture.min_v is None else max(floor_v, fixture.range_v[0])
        for fixture in network.fixtures
    )


def has_volts(network: Network, drop_percent: float | None) -> bool:
    """Whether every lamp has the volts that it needs with everything lit: a quick look at a change."""
    tree, _, at_lamps = build_tree(network)
    volts = try_volts(tree, network.feed.source_v)
    needed_v = needed_volts(network, drop_percent)
    return volts is not None and all(
        volts[place] >= needed for place, needed in zip(at_lamps, needed_v, strict=True)
    )


def within_upper_limit(network: Network, cool_c: float) -> bool:
    """Whether no lamp has too many volts with its zone lit alone on cool cable: the other quick look."""
    for zone in network.zones:
        lamps = [fixture for fixture in network.fixtures if fixture.zone == zone]
        tree, _, at_lamps = build_tree(network, lamps, cool_c)
        volts = try_volts(tree, network.feed.source_v)
        if volts is None:
            return False
        for fixture, place in zip(lamps, at_lamps, strict=True):
            forgiving = fixture.lamp is Lamp.POWER and fixture.max_v is None
            if not forgiving and volts[place] > fixture.range_v[1]:
                return False
    return True


def prepare_trial(network: Network, drop_percent: float | None) -> SizingTrial:
    """Prepare a network for trials; where it has no solution the lamps' rated currents order its cables."""
    tree, places, at_lamps = build_tree(network)
    needed_v = tuple(zip(at_lamps, needed_volts(network, drop_percent), strict=True))
    volts = try_volts(tree, network.feed.source_v)
    if volts is None:
        volts, short_v = [network.feed.source_v] * len(tree.parent), 0.0
        undervolted = {place for place, _ in needed_v}
    else:
        short_v = max((needed - volts[place] for place, needed in needed_v), default=0.0)
        undervolted = {place for place, needed in needed_v if volts[place] < needed}
    for place in range(len(tree.parent) - 1, 0, -1):
        if place in undervolted:
            undervolted.add(tree.parent[place])
    return SizingTrial(
        network=network,
        tree=tree,
        places=places,
        needed_v=needed_v,
        flows=branch_currents(tree, volts),
        undervolted=frozenset(node for node, place in places.items() if place in undervolted),
        short_v=short_v,
    )


def find_gauges(trial: SizingTrial) -> list[Gauges]:
    """Sets of thicker cables with which every lamp has its volts; none where no gauge does.

    Returns:
        One set for each gauge that does (that gauge from the feed outwards as far as it takes), the cheapest
        single cable that does alone, and the mix of gauges with the least copper.
    """
    network = trial.network
    forced = _carry_their_current(trial)
    if trial.suffices(forced):
        return [forced] if forced else []
    cables = [cable for cable in network.walk() if cable.to_node in trial.undervolted]
    cables.sort(key=lambda cable: -trial.flows[trial.places[cable.to_node]])
    choices = {cable.to_node: thicker(forced.get(cable.to_node, cable.gauge)) for cable in cables}
    found: list[Gauges] = []
    for gauge in sorted({g for gauges in choices.values() for g in gauges}, key=lambda g: g.area_mm2):
        ends = [cable.to_node for cable in cables if gauge in choices[cable.to_node]]
        _keep(found, _fewest(trial, forced, [(end, gauge) for end in ends]))
    _keep(found, _single(trial, forced, choices))
    mix = _fewest(trial, forced, _by_gain(trial, forced, choices))
    if mix is not None:
        _keep(found, _trim(trial, forced, mix))
    return found


def _keep(found: list[Gauges], gauges: Gauges | None) -> None:
    if gauges is not None and gauges not in found:
        found.append(gauges)


def _carry_their_current(trial: SizingTrial) -> Gauges:
    """The least gauges for cables that carry more than they may."""
    forced: Gauges = {}
    for cable in trial.network.segments:
        amperes = trial.flows[trial.places[cable.to_node]]
        limit_a = ampacity(cable.gauge).amperes if cable.ampacity_a is None else cable.ampacity_a
        if amperes > limit_a:
            carrying = (g for g in thicker(cable.gauge) if ampacity(g).amperes >= amperes)
            gauge = next(carrying, None)
            if gauge is not None:
                forced[cable.to_node] = gauge
    return forced


def _fewest(trial: SizingTrial, forced: Gauges, steps: Sequence[tuple[str, Gauge]]) -> Gauges | None:
    """The shortest beginning of these steps that suffices, found by halving; None where all do not."""

    def taken(count: int) -> Gauges:
        return {**forced, **dict(steps[:count])}

    low, high = 0, len(steps)
    if not trial.suffices(taken(high)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if trial.suffices(taken(middle)) else (middle, high)
    return taken(high)


def _trim(trial: SizingTrial, forced: Gauges, mix: Gauges) -> Gauges:
    """Take back from a mix what it does not need: of each cable, the most copper first, as much as can be."""
    trimmed = dict(mix)
    cables = {cable.to_node: cable for cable in trial.network.segments}
    for end in sorted(mix, key=lambda end: -cables[end].length_m * mix[end].area_mm2):
        least = forced.get(end)
        thinner = [g for g in thicker(least or cables[end].gauge) if g.area_mm2 < mix[end].area_mm2]
        for gauge in (least, *thinner):
            tried = {other: kept for other, kept in trimmed.items() if other != end}
            if gauge is not None:
                tried[end] = gauge
            if trial.suffices(tried):
                trimmed = tried
                break
    return trimmed


def _single(trial: SizingTrial, forced: Gauges, choices: dict[str, tuple[Gauge, ...]]) -> Gauges | None:
    """The one cable that does alone with the least copper; those that do not at their thickest are left."""
    temperature_c = trial.network.temperature_c
    best: tuple[float, Gauges] | None = None
    for cable in trial.network.segments:
        end, place = cable.to_node, trial.places[cable.to_node]
        if not (gauges := choices.get(end)):
            continue
        saved_ohm = trial.tree.ohm[place] - loop_ohm(gauges[-1], cable.length_m, temperature_c)
        # A regulated lamp's current falls as its volts rise: a cable may win more, but not twice as much.
        most_v = 2.0 * trial.flows[place] * saved_ohm
        if most_v < trial.short_v or not trial.suffices({**forced, end: gauges[-1]}):
            continue
        gauge = next(g for g in gauges if trial.suffices({**forced, end: g}))
        copper = cable.length_m * gauge.area_mm2
        if best is None or copper < best[0]:
            best = (copper, {**forced, end: gauge})
    return best[1] if best else None


def _by_gain(
    trial: SizingTrial, forced: Gauges, choices: dict[str, tuple[Gauge, ...]]
) -> list[tuple[str, Gauge]]:
    """Every step to a next gauge by its gain, current × ohms saved ÷ copper added, the greatest first."""
    temperature_c = trial.network.temperature_c
    steps = []
    for cable in trial.network.segments:
        end = cable.to_node
        if end not in choices:
            continue
        amperes = trial.flows[trial.places[end]]
        before = forced.get(end, cable.gauge)
        for gauge in choices[end]:
            saved_ohm = loop_ohm(before, 1.0, temperature_c) - loop_ohm(gauge, 1.0, temperature_c)
            steps.append((amperes * saved_ohm / (gauge.area_mm2 - before.area_mm2), end, gauge))
            before = gauge
    steps.sort(key=lambda step: -step[0])
    return [(end, gauge) for _, end, gauge in steps]
