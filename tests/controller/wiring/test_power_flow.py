"""Sweeps: the greatest load of a tree, against a maximisation by scipy, and the bounded number of steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from scipy.optimize import minimize

from controller.wiring.network import Lamp
from controller.wiring.power_flow import Limit, Tree, find_load_limit, solve_volts, try_volts
from controller.wiring.solver import build_tree
from tests.controller.networks import EVENLY_FT, chain, random_networks
from tests.controller.nodal import NodalEquations


def greatest_factor_by_scipy(nodal, start):
    """Maximise the common factor of the insisting loads under Kirchhoff's laws, by quadratic programming."""
    loop = nodal.conductance / 2.0

    def missing(unknown):
        volts = np.concatenate(([nodal.source_v], unknown[:-1]))
        drawn = np.bincount(nodal.at, weights=nodal.amperes(volts, factor=unknown[-1]), minlength=nodal.count)
        return (loop @ volts + drawn)[1:]

    found = minimize(
        lambda unknown: -unknown[-1],
        np.append(np.full(nodal.count - 1, 0.7 * nodal.source_v), start),
        constraints={"type": "eq", "fun": missing},
        bounds=[(0.01 * nodal.source_v, nodal.source_v)] * (nodal.count - 1) + [(0.0, None)],
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-12},
    )
    return found.x[-1] if found.success and np.abs(missing(found.x)).max() < 1e-6 else 0.0


def insisting(tree, factor):
    """The same tree with only this part of its constant-power and constant-current loads."""
    return replace(
        tree, power_va=[factor * va for va in tree.power_va], fixed_a=[factor * a for a in tree.fixed_a]
    )


@settings(deadline=None, max_examples=40)
@given(random_networks(lamps=(Lamp.POWER, Lamp.POWER, Lamp.FILAMENT), most_nodes=4, most_watts=5000.0))
def test_the_greatest_load_of_a_tree_agrees_with_scipy(network):
    """The part of a too great load that can be carried is carried, and scipy's maximum is no greater."""
    tree, at_nodes, at_lamps = build_tree(network)
    limit = solve_volts(tree, network.feed.source_v)
    assume(isinstance(limit, Limit))
    nodal = NodalEquations(network)
    carried_v = solve_volts(insisting(tree, 0.9999 * limit.factor), network.feed.source_v)
    assert not isinstance(carried_v, Limit)
    assert isinstance(solve_volts(insisting(tree, 1.0001 * limit.factor), network.feed.source_v), Limit)
    by_node = {node: carried_v[place] for node, place in at_nodes.items()}
    pair_v = nodal.pair_volts(by_node, [carried_v[place] for place in at_lamps])
    assert nodal.missing_a(pair_v, factor=0.9999 * limit.factor) < 1e-4
    # A local maximiser may stop short; the best of three starts must not beat the sweeps.
    best = max(greatest_factor_by_scipy(nodal, start * limit.factor) for start in (0.8, 0.95, 1.05))
    assert best <= 1.0001 * limit.factor


def test_the_greatest_load_of_a_chain_is_scipys_maximum():
    """Ten regulated lamps along 100 ft of 12 AWG carry what scipy's maximiser finds, within 0.01 %."""
    network = chain(source_v=12.0, at_ft=EVENLY_FT, watts=40.0, lamp=Lamp.POWER)
    tree, _, _ = build_tree(network)
    limit = solve_volts(tree, 12.0)
    assert isinstance(limit, Limit)
    expected = greatest_factor_by_scipy(NodalEquations(network), 0.8 * limit.factor)
    assert expected > 0.0
    assert limit.factor == pytest.approx(expected, rel=1e-4)


@settings(deadline=None, max_examples=30)
@given(random_networks(lamps=(Lamp.POWER, Lamp.FILAMENT, Lamp.CURRENT)))
def test_climbing_from_light_loads_comes_to_the_same_volts(network):
    """The way up from no load and the straight way meet at the same high-voltage solution."""
    tree, _, _ = build_tree(network)
    straight = try_volts(tree, network.feed.source_v)
    assume(straight is not None)
    climbed = find_load_limit(tree, network.feed.source_v)
    assert not isinstance(climbed, Limit)
    assert climbed == pytest.approx(straight, abs=1e-6)


@pytest.mark.parametrize("asked_va", [1e3, 1e9, 1e15])
def test_absurd_loads_end_with_a_limit(asked_va):
    """However much is asked for, the answer is the most, V² ÷ 4R, after a bounded number of steps."""
    tree = Tree(
        parent=[0, 0], ohm=[0.0, 0.5], fixed_a=[0.0] * 2, siemens=[0.0] * 2, filament=[0.0] * 2,
        power_va=[0.0, asked_va],
    )  # fmt: skip
    limit = solve_volts(tree, 12.0)
    assert isinstance(limit, Limit)
    assert limit.factor * asked_va == pytest.approx(72.0, rel=1e-6)


def test_the_low_voltage_root_is_never_accepted():
    """Started at the low-voltage root itself, where every equation is met, the sweeps refuse it."""
    source_v, ohm, power_va = 12.0, 0.5, 40.0
    tree = Tree(
        parent=[0, 0], ohm=[0.0, ohm], fixed_a=[0.0] * 2, siemens=[0.0] * 2, filament=[0.0] * 2,
        power_va=[0.0, power_va],
    )  # fmt: skip
    half_way_v = (source_v**2 / 4.0 - ohm * power_va) ** 0.5  # V² − 12 V + 20 = 0 by hand: 10 and 2
    low_v, high_v = source_v / 2.0 - half_way_v, source_v / 2.0 + half_way_v
    assert (low_v, high_v) == (2.0, 10.0)
    assert try_volts(tree, source_v, start_v=[source_v, low_v]) is None
    assert solve_volts(tree, source_v) == pytest.approx([source_v, high_v])


def test_exactly_the_greatest_load_is_decided_and_not_endless():
    """Asked for exactly the greatest power, the sweeps end: half the volts, or a limit of all but nothing."""
    tree = Tree(
        parent=[0, 0], ohm=[0.0, 0.5], fixed_a=[0.0] * 2, siemens=[0.0] * 2, filament=[0.0] * 2,
        power_va=[0.0, 72.0],
    )  # fmt: skip
    answer = solve_volts(tree, 12.0)
    if isinstance(answer, Limit):
        assert answer.factor == pytest.approx(1.0, abs=1e-8)
    else:
        assert answer[1] == pytest.approx(6.0, abs=1e-3)
