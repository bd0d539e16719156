"""Random transformers with rings, commons and regulation, against ngspice and scipy."""

from __future__ import annotations

import os
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import root

from controller.wiring.cable import loop_ohm
from controller.wiring.network import Lamp
from controller.wiring.solver import NoSolution, Solution, solve, solve_all
from tests.controller.networks import EVENLY_FT, chain
from tests.controller.nodal import NodalEquations
from tests.controller.random_transformers import draw_transformer
from tests.controller.spice import needs_ngspice, run_ngspice
from tests.controller.wiring.test_power_flow import greatest_factor_by_scipy

TOLERANCE_V = 1e-3
# 300 networks in ten batches; in CI two batches suffice.
BATCHES, OF_EACH = (2 if os.environ.get("CI") else 10), 30


def draw_solved(batch):
    """Thirty random transformers that have a solution, with it."""
    rng = random.Random(1200 + batch)
    while True:
        networks = draw_transformer(rng)
        outcomes = solve_all(networks)
        if all(isinstance(outcome, Solution) for outcome in outcomes):
            yield networks, outcomes


class Transformer:
    """Nodal equations of all networks of a transformer, and of its regulation, for scipy."""

    def __init__(self, networks):
        self.parts = [NodalEquations(network) for network in networks]
        self.feeds = [network.feed for network in networks]
        sizes = [2 * (part.count - 1) for part in self.parts]
        self.cuts = np.cumsum(sizes)

    def residual(self, unknown):
        """Amperes missing at every node, then the part by which the regulation is not kept."""
        rise = unknown[-1]
        missing, load_va = [], 0.0
        for part, feed, own in zip(
            self.parts, self.feeds, np.split(unknown[:-1], self.cuts[:-1]), strict=True
        ):
            rated_v = feed.source_v * feed.full_load
            part.source_v = rated_v * rise
            missing.append(part.residual(own))
            supply = np.concatenate(([part.source_v], own[: part.count - 1]))
            back = np.concatenate(([0.0], own[part.count - 1 :]))
            load_va += rated_v * part.amperes(supply - back).sum()
        feed = self.feeds[0]
        part = 1.0 + (feed.regulation or 0.0) * (1.0 - load_va / feed.rated_va)
        return np.concatenate((*missing, [rise - part]))

    def solve(self, starts=None):
        """Volts between the conductors at every place of every network; None where scipy finds no root."""
        begin = []
        for at, (part, feed) in enumerate(zip(self.parts, self.feeds, strict=True)):
            drop_v = np.zeros(part.count - 1) if starts is None else (feed.source_v - starts[at][1:]) / 2.0
            begin += [feed.source_v - drop_v, drop_v]
        found = root(self.residual, np.concatenate((*begin, [1.0])), method="hybr", tol=1e-11)
        if not found.success and np.abs(found.fun).max() > 1e-8:
            return None
        volts = []
        for part, feed, own in zip(
            self.parts, self.feeds, np.split(found.x[:-1], self.cuts[:-1]), strict=True
        ):
            at_feed = feed.source_v * feed.full_load * found.x[-1]
            volts.append(np.concatenate(([at_feed], own[: part.count - 1] - own[part.count - 1 :])))
        return volts


@needs_ngspice
@pytest.mark.parametrize("batch", range(BATCHES))
def test_rings_commons_and_regulation_agree_with_ngspice(batch, tmp_path):
    """Thirty transformers agree with the circuit simulator within 1 mV at every node and every lamp."""
    for _, (networks, outcomes) in zip(range(OF_EACH), draw_solved(batch), strict=False):
        expected = run_ngspice(networks, tmp_path)
        for number, outcome in enumerate(outcomes):
            for node, volts in outcome.volts.items():
                assert volts == pytest.approx(expected[number, node], abs=TOLERANCE_V)
            for place, lamp in enumerate(outcome.lamps):
                assert lamp.volts == pytest.approx(expected[number, place], abs=TOLERANCE_V)


@pytest.mark.parametrize("batch", range(BATCHES))
def test_rings_commons_and_regulation_agree_with_scipy(batch):
    """The same transformers agree with scipy's general root finder within 1 mV."""
    for _, (networks, outcomes) in zip(range(OF_EACH), draw_solved(batch), strict=False):
        equations = Transformer(networks)
        ours = [
            part.pair_volts(outcome.volts, [lamp.volts for lamp in outcome.lamps])
            for part, outcome in zip(equations.parts, outcomes, strict=True)
        ]
        found = equations.solve()
        if found is None or max(np.abs(a - b).max() for a, b in zip(found, ours, strict=True)) > 0.5:
            # It may fail, or find volts on the low branch; beside the high one it must stay there.
            found = equations.solve([0.99 * volts for volts in ours])
        assert found is not None
        for volts, own in zip(found, ours, strict=True):
            assert np.abs(volts - own).max() < TOLERANCE_V


@pytest.mark.parametrize("batch", range(BATCHES))
def test_the_account_of_a_ring_closes(batch):
    """What leaves the feeds is what lamps take and cables lose, and at every node the currents add up."""
    for _, (_, outcomes) in zip(range(OF_EACH), draw_solved(batch), strict=False):
        for outcome in outcomes:
            assert outcome.source_va - outcome.lamp_va - outcome.loss_w == pytest.approx(0.0, abs=1e-6)
            left_a = dict.fromkeys(outcome.volts, 0.0)
            left_a[outcome.network.feed.node] = outcome.source_a
            for state in outcome.segments:
                near, far = state.segment.from_node, state.segment.to_node
                flow = -state.amperes if state.backwards else state.amperes
                left_a[near] -= flow
                left_a[far] += flow
                assert state.drop_v == pytest.approx(abs(outcome.volts[near] - outcome.volts[far]), abs=1e-9)
            for lamp in outcome.lamps:
                left_a[lamp.fixture.node] -= lamp.fixture.count * lamp.amperes
            assert max(map(abs, left_a.values())) < 1e-6


def draw_refused(count, **more):
    """Single networks with rings, some with regulation, whose lamps ask for more than there is."""
    rng = random.Random(5)
    while count:
        networks = draw_transformer(rng, load=(3.0, 12.0), **more)
        [outcome, *others] = solve_all(networks)
        if not others and not networks[0].is_tree and isinstance(outcome, NoSolution):
            count -= 1
            yield networks[0], outcome.deliverable_w / outcome.asked_w


def scaled(network, factor):
    """The same network with the lamps that ask for fixed watts or amperes larger or smaller."""
    fixtures = tuple(
        replace(each, watts=factor * each.watts) if each.lamp in {Lamp.POWER, Lamp.CURRENT} else each
        for each in network.fixtures
    )
    return replace(network, fixtures=fixtures)


@needs_ngspice
def test_a_ring_with_too_much_load_works_with_less(tmp_path):
    """5 % below what a refused ring could carry ngspice holds the same volts; a hair above it is refused."""
    for network, factor in draw_refused(12, most_nodes=8):
        assert 0.0 < factor < 1.0
        solution = solve(scaled(network, 0.95 * factor))
        assert isinstance(solution, Solution)
        # Begun at the usual volts it may run away to the low branch, which is another solution.
        expected = run_ngspice((scaled(network, 0.95 * factor),), tmp_path, begin=(solution,))
        for node, volts in solution.volts.items():
            assert volts == pytest.approx(expected[0, node], abs=TOLERANCE_V)
        assert isinstance(solve(scaled(network, 0.9999 * factor)), Solution)
        assert isinstance(solve(scaled(network, 1.0001 * factor)), NoSolution)


def test_the_greatest_load_of_a_ring_is_scipys_maximum():
    """Ten regulated lamps on a ring of 12 AWG carry what scipy's maximiser finds, within 0.01 %."""
    line = chain(source_v=12.0, at_ft=EVENLY_FT, watts=120.0, lamp=Lamp.POWER)
    ring = replace(line, segments=(*line.segments, replace(line.segments[0], to_node="n10")))
    outcome = solve(ring)
    assert isinstance(outcome, NoSolution)
    factor = outcome.deliverable_w / outcome.asked_w
    found = greatest_factor_by_scipy(NodalEquations(ring), 0.8 * factor)
    assert found == pytest.approx(factor, rel=1e-4)


def test_two_equal_cables_side_by_side_carry_twice_the_load():
    """One lamp behind two parallel cables of 0.396 ohm gets V² ÷ 4R of half the ohms: 181.8 W at 12 V."""
    single = chain(source_v=12.0, watts=200.0, lamp=Lamp.POWER)
    outcome = solve(replace(single, segments=single.segments * 2))
    assert isinstance(outcome, NoSolution)
    assert outcome.deliverable_w == pytest.approx(12.0**2 / (4.0 * 0.396 / 2.0), abs=1e-3)
    half = solve(chain(source_v=12.0, watts=50.0, lamp=Lamp.POWER))
    both = chain(source_v=12.0, watts=100.0, lamp=Lamp.POWER)
    both = solve(replace(both, segments=both.segments * 2))
    assert both.volts["n1"] == pytest.approx(half.volts["n1"], abs=1e-9)
    assert [state.amperes for state in both.segments] == pytest.approx([half.source_a] * 2, abs=1e-9)


def test_a_line_fed_at_both_ends_has_its_fewest_volts_in_the_middle():
    """Five 12 W lamps of fixed current on a ring have less than a third of the drop of the same line.

    By hand, with R for one of the six stretches and 1 A a lamp: fed at both ends 2.5 + 1.5 + 0.5 = 4.5 R to
    the middle one, fed at one end 5 + 4 + 3 + 2 + 1 = 15 R to the last one.
    """
    line = chain(source_v=12.0, at_ft=(10.0, 20.0, 30.0, 40.0, 50.0), watts=12.0, lamp=Lamp.CURRENT)
    closing = replace(line.segments[0], from_node="feed", to_node="n5")
    ring = solve(replace(line, segments=(*line.segments, closing)))
    ohm = loop_ohm(closing.gauge, closing.length_m)
    assert 12.0 - ring.volts["n3"] == pytest.approx(4.5 * ohm, abs=1e-9)
    assert ring.worst.fixture.node == "n3"
    assert [state.backwards for state in ring.segments] == [False, False, False, True, True, False]
    assert 12.0 - solve(line).volts["n5"] == pytest.approx(15.0 * ohm, abs=1e-9)


@pytest.mark.parametrize(("load_va", "volts"), [(0.0, 13.2), (75.0, 12.6), (150.0, 12.0), (180.0, 11.76)])
def test_volts_rise_at_light_load(load_va, volts):
    """A tap of 12 V with 10 % regulation and 150 VA: 13.2 V without load, 12 V at the rated load, by hand.

    Half the rated current is 6.25 A, and 180 VA of 12 V are 15 A; lamps of fixed current at the terminals.
    """
    network = chain(source_v=12.0, at_ft=(100.0,), watts=1e-9, lamp=Lamp.CURRENT)
    lamp = replace(network.fixtures[0], node="feed", watts=max(load_va, 1e-9))
    feed = replace(network.feed, regulation=0.1)
    assert solve(replace(network, feed=feed, fixtures=(lamp,))).feed_v == pytest.approx(volts, abs=1e-6)


def test_the_load_of_one_tap_lowers_the_volts_of_the_other():
    """5 A on a 12 V tap and 6 A on a 15 V tap of 300 VA and 8 %: half of the rated load, half of the rise."""
    near, far = (
        chain(source_v=tap_v, at_ft=(0.001,), watts=12.0 * amperes, lamp=Lamp.CURRENT, rated_va=300.0)
        for tap_v, amperes in ((12.0, 5.0), (15.0, 6.0))
    )
    feeds = [replace(network.feed, regulation=0.08, node="feed") for network in (near, far)]
    both = [replace(network, feed=feed) for network, feed in zip((near, far), feeds, strict=True)]
    assert [each.feed_v for each in solve_all(both)] == pytest.approx([12.48, 15.6], abs=1e-9)
    assert solve(both[0]).feed_v == pytest.approx(12.0 * (1.0 + 0.08 * (1.0 - 60.0 / 300.0)), abs=1e-9)


def test_a_tap_that_asks_for_too_much_does_not_darken_the_others():
    """Where one tap has no solution, the other is solved as if that one were off."""
    good = chain(source_v=12.0, watts=20.0, lamp=Lamp.POWER)
    good = replace(good, feed=replace(good.feed, regulation=0.1))
    bad = chain(source_v=12.0, watts=500.0, lamp=Lamp.POWER)
    bad = replace(bad, feed=replace(bad.feed, regulation=0.1))
    lit, refused = solve_all((good, bad))
    assert isinstance(refused, NoSolution)
    assert refused == solve(bad)
    assert lit == solve(good)
