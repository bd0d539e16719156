"""Transformers drawn from a seed: several taps and commons, rings, parallel cables, every kind of lamp."""

from __future__ import annotations

from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Network
from tests.controller.networks import GAUGES, LEADS


def draw_transformer(rng, *, most_nodes=20, load=(0.1, 1.0)):
    """One to three networks of a transformer; nearly all have rings, and two of three have regulation."""
    rated_va = rng.choice((75.0, 150.0, 300.0, 600.0))
    regulation = rng.choice((None, 0.0, *(rng.uniform(0.02, 0.15) for _ in range(4))))
    full_load = rng.choice((1.0, 1.0, rng.uniform(0.95, 1.02)))
    count = rng.choice((1, 1, 2, 3))
    share_w = rng.uniform(*load) * rated_va / count
    networks = []
    for number in range(count):
        feed = Feed(
            node=f"feed {number}",
            transformer="shed",
            rated_va=rated_va,
            source_v=rng.choice((12.0, 12.0, 13.0, 14.0, 15.0)),
            common=number + 1,
            regulation=regulation,
            full_load=full_load,
        )
        networks.append(draw_network(rng, feed, watts=share_w, most_nodes=most_nodes))
    return tuple(networks)


def draw_network(rng, feed, *, watts, most_nodes=20):
    """A network with as many as six cables beyond a tree: rings, bridges, and cables side by side."""
    count = rng.randint(1, most_nodes)
    nodes = [feed.node, *(f"n{place}" for place in range(1, count + 1))]
    ends = [(nodes[rng.randint(max(0, place - 6), place - 1)], nodes[place]) for place in range(1, count + 1)]
    for _ in range(rng.choice((0, 1, 1, 2, 3, 6))):
        near = rng.randint(0, count)
        ends.append(
            (nodes[near], nodes[rng.choice([each for each in range(1, count + 1) if each != near] or [1])])
        )
    ends += [rng.choice(ends)] if rng.random() < 0.3 else []
    cables = [
        CableSegment(
            from_node=near,
            to_node=far,
            gauge=rng.choice(GAUGES),
            length_m=rng.choice((rng.uniform(0.3, 12.0), rng.uniform(0.3, 12.0), 0.01)),
            splice_ohm=rng.choice((0.0, 0.0, 0.002)),
        )
        for near, far in ends
        if near != far
    ]
    rng.shuffle(cables)
    lit = [node for node in nodes if rng.random() < 0.7] or [nodes[-1]]
    fixtures = []
    for node in lit:
        number = rng.choice((1, 1, 1, 2, 3))
        fixture = FixtureAt(
            node=node,
            zone=rng.choice(("beds", "path")),
            watts=rng.uniform(0.3, 1.7) * watts / len(lit) / number,
            lamp=rng.choice(tuple(Lamp)),
            rated_v=12.0,
            count=number,
            lead=rng.choice(LEADS),
            power_factor=rng.choice((1.0, 1.0, 0.9, 0.6)),
        )
        fixtures.append(fixture)
    return Network(
        feed=feed,
        segments=tuple(cables),
        fixtures=tuple(fixtures),
        temperature_c=rng.choice((10.0, 20.0, 75.0)),
    )
