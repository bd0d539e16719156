"""The linear network: its answers beside those of the network solved again, and of scipy."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given

from config.models.cables import parse_gauge
from controller.diagnosis.linear import LinearNetwork
from controller.wiring.cable import loop_ohm
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Network
from controller.wiring.solver import Solution, solve
from tests.controller.networks import EVENLY_FT, chain, random_networks
from tests.controller.nodal import NodalEquations

SMALL_OHM = 1e-4


@given(network=random_networks(most_nodes=15, most_watts=80.0))
def test_a_little_more_ohm_changes_the_volts_as_the_linear_network_says(network):
    """A ten-thousandth of an ohm in any cable changes each node's volts as computed, within a thousandth."""
    base = solve(network)
    if not isinstance(base, Solution):
        return
    linear = LinearNetwork(base)
    at = len(network.segments) // 2
    cable = network.segments[at]
    spliced = replace(cable, splice_ohm=cable.splice_ohm + SMALL_OHM)
    again = solve(replace(network, segments=(*network.segments[:at], spliced, *network.segments[at + 1 :])))
    if not isinstance(again, Solution):
        return
    change = linear.inserted(at, SMALL_OHM)
    for node, place in linear.place.items():
        assert change[place] == pytest.approx(again.volts[node] - base.volts[node], rel=1e-2, abs=2e-8)


def test_resistances_alone_are_answered_exactly():
    """With resistive lamps, ohms and gauges of any size have scipy's answer: there is nothing that bends."""
    line = chain(source_v=13.0, at_ft=EVENLY_FT, lamp=Lamp.RESISTANCE, temperature_c=30.0)
    linear = LinearNetwork(solve(line))
    thin = parse_gauge("16 AWG")
    really = replace(
        line,
        segments=tuple(replace(c, gauge=thin) if 2 < at < 7 else c for at, c in enumerate(line.segments)),
    )
    ohms = {at: loop_ohm(thin, line.segments[at].length_m, 30.0) for at in range(3, 7)}
    nodal = NodalEquations(really)
    pair_v = nodal.solve()
    change = linear.exchanged(ohms)
    for node, place in linear.place.items():
        assert linear.volts[place] + change[place] == pytest.approx(pair_v[nodal.place[node]], abs=1e-6)


def test_a_ring_is_answered_too():
    """In a ring of resistive lamps half an ohm in one cable has scipy's answer at every node."""
    nodes = ["feed", "n1", "n2", "n3", "n4"]
    gauge = parse_gauge("12 AWG")
    pairs = [*pairwise(nodes), ("n1", "n4")]
    cables = tuple(CableSegment(from_node=a, to_node=b, gauge=gauge, length_m=9.0) for a, b in pairs)
    lamps = tuple(FixtureAt(node=node, zone="all", watts=20.0, lamp=Lamp.RESISTANCE) for node in nodes[1:])
    feed = Feed(node="feed", transformer="shed", rated_va=300.0, source_v=12.0)
    ring = Network(feed=feed, segments=cables, fixtures=lamps)
    linear = LinearNetwork(solve(ring))
    change = linear.inserted(2, 0.5)
    spliced = replace(ring, segments=(*cables[:2], replace(cables[2], splice_ohm=0.5), *cables[3:]))
    nodal = NodalEquations(spliced)
    pair_v = nodal.solve()
    for node, place in linear.place.items():
        assert linear.volts[place] + change[place] == pytest.approx(pair_v[nodal.place[node]], abs=1e-6)


def test_volts_that_fall_with_the_load_are_one_more_resistance():
    """With 8 % regulation, the linear network gives what solving again gives for a splice of 0.1 ohm."""
    line = chain(source_v=13.0, at_ft=EVENLY_FT, lamp=Lamp.RESISTANCE)
    line = replace(line, feed=replace(line.feed, regulation=0.08))
    base = solve(line)
    linear = LinearNetwork(base)
    spliced = (replace(line.segments[0], splice_ohm=0.1), *line.segments[1:])
    again = solve(replace(line, segments=spliced))
    change = linear.inserted(0, 0.1)
    for node, place in linear.place.items():
        assert linear.volts[place] + change[place] == pytest.approx(again.volts[node], abs=1e-3)
    # What is taken at the far end lowers the feed's volts as well.
    assert change[linear.place["feed"]] > 0.0
