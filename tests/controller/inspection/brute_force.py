"""Every change there is to a small network, tried one after the other from the cheapest on.

The same changes as the advice has: each cable as it is or thicker, a second run to any node beyond the first,
the home run moved to any such node, everything on any tap. Networks are built and judged here, by the solver
alone, so that nothing of the search is used.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

from config.errors import Severity
from config.models.cables import parse_gauge
from controller.inspection.checks import inspect
from controller.wiring.cable import ampacity, same_kind
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Network, walk, way_to
from controller.wiring.solver import Solution, solve

TAPS_V = (12.0, 13.0, 14.0, 15.0)
MARGIN_V, LOAD_PART, CIRCUIT_A, COPPER_G_PER_CM3 = 0.1, 0.95, 25.0, 8.89
COPPER_PER_KG, TRENCH_PER_M = 40.0, 6.0
COOL_C = 20.0
GAUGES = tuple(parse_gauge(text) for text in ("12 AWG", "14 AWG", "12 AWG", "2.5 mm2"))


def drawn(seed, *, most_nodes=4):
    """A small tree that a gardener might lay, with lamps at most nodes; often too thin for them."""
    chance = random.Random(seed)
    count = chance.randint(2, most_nodes)
    gauge, long_m = chance.choice(GAUGES), chance.uniform(8.0, 30.0)
    kind = chance.choice(("filament", "led", "mixed"))
    cables, lamps = [], []
    for place in range(1, count + 1):
        parent = chance.randrange(max(0, place - 2), place)
        length_m = chance.uniform(0.3, 1.0) * long_m
        cables.append(
            CableSegment(from_node=f"n{parent}", to_node=f"n{place}", gauge=gauge, length_m=length_m)
        )
        filament = kind == "filament" or (kind == "mixed" and chance.random() < 0.5)
        plate = {} if filament else {"min_v": 10.0, "max_v": chance.choice((13.5, 15.0))}
        lamps.append(
            FixtureAt(
                node=f"n{place}",
                zone=chance.choice(("z", "y")),
                watts=chance.uniform(5.0, 45.0),
                lamp=Lamp.FILAMENT if filament else Lamp.POWER,
                **plate,
            )
        )
    feed = Feed(node="n0", transformer="t", rated_va=300.0, source_v=chance.choice((12.0, 12.0, 12.0, 14.0)))
    return Network(feed=feed, segments=tuple(cables), fixtures=tuple(lamps))


def failing(seed, count, **more):
    """So many drawn networks that have an error."""
    chance = random.Random(seed)
    while count:
        network = drawn(chance.randrange(1 << 30), **more)
        if inspect([network]).level is Severity.ERROR:
            count -= 1
            yield network


def cable_price(gauge, length_m):
    return 2.0 * gauge.area_mm2 * length_m * COPPER_G_PER_CM3 / 1000.0 * COPPER_PER_KG


def choices(cable):
    """The present gauge and all thicker ones."""
    return [g for g in same_kind(cable.gauge) if g.area_mm2 >= cable.gauge.area_mm2]


def new_gauges(gauge):
    return [g for g in same_kind(gauge) if str(g.unit) == "AWG" or g.area_mm2 >= 1.5]


def relaid(cables, dug):
    """Each way to lay some cables: cost, cables, which are new; what lies in ``dug`` needs no trench."""
    for gauges in itertools.product(*(choices(cable) for cable in cables)):
        cost, laid, new = 0.0, [], set()
        for cable, gauge in zip(cables, gauges, strict=True):
            if gauge != cable.gauge:
                trench = 0.0 if cable.to_node in dug else TRENCH_PER_M * cable.length_m
                cost += cable_price(gauge, cable.length_m) + trench
                new.add(cable.to_node)
            laid.append(replace(cable, gauge=gauge))
        yield cost, laid, new


def on_taps(root, cables):
    """The cables from the feed with all behind each, on every tap there is for each of them."""
    starts = [cable for cable in cables if cable.from_node == root]
    parts = [(start, *walk(start.to_node, cables)) for start in starts]
    for taps_v in itertools.product(TAPS_V, repeat=len(parts)):
        yield tuple(zip(taps_v, parts, strict=True))


def every_change(network):
    """Cost, tap of each part, and the cables of each part with the new ones among them."""
    cables, root = network.segments, network.feed.node
    for cost, laid, new in relaid(cables, ()):
        for parts in on_taps(root, laid):
            yield cost, parts, frozenset(new)
    starts = [cable for cable in cables if cable.from_node == root]
    for end in (cable.to_node for cable in cables if cable not in starts):
        way = way_to(network, end)
        dug = {cable.to_node for cable in way}
        length_m = sum(cable.length_m for cable in way)
        others = [cable for cable in cables if cable is not way[-1]]
        left = [cable for cable in cables if cable is not way[0]]
        for gauge in new_gauges(way[0].gauge):
            home = CableSegment(from_node=root, to_node=end, gauge=gauge, length_m=length_m)
            base = cable_price(gauge, length_m) + TRENCH_PER_M * length_m
            for cost, laid, new in relaid(others, dug):
                for parts in on_taps(root, [home, *laid]):
                    yield base + cost, parts, frozenset({*new, end})
            for cost, laid, new in relaid(left, dug):
                turned = [
                    replace(cable, from_node=cable.to_node, to_node=cable.from_node)
                    if cable.to_node in dug
                    else cable
                    for cable in laid
                ]
                pairs = zip(laid, turned, strict=True)
                fresh = {after.to_node for before, after in pairs if before.to_node in new}
                for parts in on_taps(root, [home, *turned]):
                    yield base + cost, parts, frozenset({*fresh, end})


def does(network, parts, new):
    """Whether every lamp, cable, tap and the transformer are inside their limits with the margin."""
    load_va = 0.0
    by_tap = {}
    for tap_v, cables in parts:
        by_tap.setdefault(tap_v, []).extend(cables)
    for tap_v, cables in by_tap.items():
        nodes = {cable.to_node for cable in cables}
        lamps = tuple(lamp for lamp in network.fixtures if lamp.node in nodes)
        part = replace(
            network,
            feed=replace(network.feed, source_v=tap_v),
            segments=tuple(cables),
            fixtures=lamps,
        )
        lit = solve(part)
        if not isinstance(lit, Solution):
            return False
        if any(state.volts < state.fixture.range_v[0] + MARGIN_V - 1e-6 for state in lit.lamps):
            return False
        for state in lit.segments:
            most_a = ampacity(state.segment.gauge).amperes
            if state.amperes > most_a * (0.8 if state.segment.to_node in new else LOAD_PART):
                return False
        if lit.source_a > LOAD_PART * CIRCUIT_A:
            return False
        load_va += lit.source_va
        if all(tap_v <= lamp.range_v[1] - MARGIN_V for lamp in lamps):
            continue
        for zone in part.zones:
            alone = solve(replace(part, temperature_c=COOL_C).lit((zone,)))
            if any(state.volts > state.fixture.range_v[1] - MARGIN_V + 1e-6 for state in alone.lamps):
                return False
    return load_va <= LOAD_PART * network.feed.rated_va


def least_cost(network, *, below=float("inf")):
    """The least cost of any change that does, among those below a cost; None where none does."""
    found = [each for each in every_change(network) if each[0] < below]
    found.sort(key=lambda each: each[0])
    return next((cost for cost, parts, new in found if does(network, parts, new)), None)
