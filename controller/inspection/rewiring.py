"""Changes to a network, each giving a new one: thicker cable, the feed at another node, a second run.

Lengths of new cable are those of the old way from the feed, so that it can go into the same trench; a shorter
way across the garden is better still.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from config.models.cables import Gauge
from controller.wiring.network import CableSegment, Network, way_to

COPPER_G_PER_CM3 = 8.89
"""Density of copper, NBS Handbook 100."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Purchase:
    """New two-conductor cable to lay."""

    gauge: Gauge
    length_m: float

    @property
    def copper_kg(self) -> float:
        """Copper in both conductors: what the cable costs, before any price is known."""
        return 2.0 * self.gauge.area_mm2 * self.length_m * COPPER_G_PER_CM3 / 1000.0


def thicken(network: Network, gauges: Mapping[str, Gauge]) -> Network:
    """Lay other gauges into the cables that end at these nodes; the old plate's ampacity goes with them."""
    cables = tuple(
        replace(cable, gauge=gauges[cable.to_node], ampacity_a=None) if cable.to_node in gauges else cable
        for cable in network.segments
    )
    return replace(network, segments=cables)


def feed_at(network: Network, node: str, gauge: Gauge) -> tuple[Network, Purchase]:
    """Bring a home run to this node, turn the cables between round, and take away the first of the old way.

    The node is neither the feed nor the end of its first cable.
    """
    way = way_to(network, node)
    first, turned = way[0], {cable.to_node for cable in way[1:]}
    purchase = Purchase(gauge=gauge, length_m=sum(cable.length_m for cable in way))
    home_run = CableSegment(
        from_node=network.feed.node, to_node=node, gauge=gauge, length_m=purchase.length_m
    )
    cables = [home_run]
    for cable in network.segments:
        if cable.to_node in turned:
            cables.append(replace(cable, from_node=cable.to_node, to_node=cable.from_node))
        elif cable.to_node != first.to_node:
            cables.append(cable)
    return replace(network, segments=tuple(cables)), purchase


def second_run(network: Network, node: str, gauge: Gauge) -> tuple[Network, Purchase]:
    """Cut the cable into a node and feed what is behind it by a run of its own from the same tap."""
    way = way_to(network, node)
    purchase = Purchase(gauge=gauge, length_m=sum(cable.length_m for cable in way))
    run = CableSegment(from_node=network.feed.node, to_node=node, gauge=gauge, length_m=purchase.length_m)
    cables = tuple(run if cable.to_node == node else cable for cable in network.segments)
    return replace(network, segments=cables), purchase


def second_circuit(
    network: Network, node: str, gauge: Gauge, tap_v: float
) -> tuple[tuple[Network, Network], Purchase]:
    """Cut the cable into a node and feed what is behind it from another tap of the transformer."""
    joined, purchase = second_run(network, node, gauge)
    return move_branch(joined, node, tap_v), purchase


def move_branch(network: Network, node: str, tap_v: float) -> tuple[Network, Network]:
    """Move the cable from the feed to this node, with all behind it, to another tap of the transformer."""
    behind = {node}
    for cable in network.walk():
        if cable.from_node in behind:
            behind.add(cable.to_node)
    feed = replace(network.feed, node=f"{network.feed.node}, {tap_v:g} V", source_v=tap_v, tap=f"{tap_v:g} V")
    kept = replace(
        network,
        segments=tuple(c for c in network.segments if c.to_node not in behind),
        fixtures=tuple(f for f in network.fixtures if f.node not in behind),
    )
    moved = replace(
        network,
        feed=feed,
        segments=tuple(
            replace(c, from_node=feed.node) if c.to_node == node else c
            for c in network.segments
            if c.to_node in behind
        ),
        fixtures=tuple(f for f in network.fixtures if f.node in behind),
    )
    return kept, moved


def attach(standing: Network, other: Network) -> Network:
    """Attach what is on another network to the tap of an existing one: one tap is one circuit."""
    old, new = other.feed.node, standing.feed.node
    cables = (replace(c, from_node=new) if c.from_node == old else c for c in other.segments)
    lamps = (replace(f, node=new) if f.node == old else f for f in other.fixtures)
    return replace(
        standing,
        segments=(*standing.segments, *cables),
        fixtures=(*standing.fixtures, *lamps),
    )
