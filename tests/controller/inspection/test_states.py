"""The worst case of each thing: everything lit or one zone alone, on warm or on cool cable."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from scipy.optimize import brentq

from config.errors import Severity
from controller.inspection.checks import inspect
from controller.inspection.findings import Topic
from controller.inspection.states import Case, solve_states
from controller.wiring.cable import loop_ohm
from controller.wiring.network import FixtureAt, Lamp, Limits
from controller.wiring.solver import Solution, solve
from tests.controller.networks import chain, random_networks


def about(networks, topic, limits=None):
    return [each for each in inspect(networks, limits).findings if each.topic is topic]


def test_filament_lamps_load_the_transformer_more_on_cool_cable():
    """A lamp of 160 W behind 50 ft of 12 AWG takes over 162 VA on cool cable only, and that counts."""
    network = chain(at_ft=(50.0,), watts=160.0, source_v=13.0, rated_va=162.0)
    cable = network.segments[0]

    def taken_va(temperature_c):
        """Solve V + R I = 13 V with I = 160 W ÷ 12 V × (V ÷ 12 V)^0.55, by Brent's method."""
        ohm = loop_ohm(cable.gauge, cable.length_m, temperature_c)
        volts = brentq(lambda v: v + ohm * 160 / 12 * (v / 12) ** 0.55 - 13.0, 1.0, 13.0)
        return 13.0 * (13.0 - volts) / ohm

    assert taken_va(75.0) < 162.0 < taken_va(20.0)
    [load] = about([network], Topic.TRANSFORMER)
    assert load.value == pytest.approx(taken_va(20.0), abs=1e-4)
    assert load.level is Severity.ERROR
    assert load.words.endswith("with everything lit and the cable at 20 °C")


def test_regulated_drivers_draw_more_on_warm_cable():
    """An LED of constant power draws more amperes at fewer volts, so that its worst case is warm cable."""
    network = chain(at_ft=(50.0,), watts=40.0, lamp=Lamp.POWER)
    [circuit] = about([network], Topic.CIRCUIT)
    assert circuit.value == solve(network).source_a
    assert circuit.value > solve(replace(network, temperature_c=20.0)).source_a
    assert circuit.words.endswith("with everything lit and the cable at 75 °C")


def test_a_cable_may_carry_most_with_its_zone_alone():
    """Where others on the same run pull its volts down, a filament lamp draws most with its zone alone."""
    big = FixtureAt(node="n1", zone="drive", watts=150.0, lamp=Lamp.CURRENT)
    lamp = FixtureAt(node="n2", zone="oak", watts=190.0, lamp=Lamp.FILAMENT)
    network = replace(
        chain(source_v=14.0, at_ft=(20.0, 21.0), rated_va=900.0, gauge="14 AWG"), fixtures=(big, lamp)
    )
    found = {each.place: each for each in about([network], Topic.CABLE)}
    alone = solve(replace(network.lit(["oak"]), temperature_c=20.0))
    branch = found["n1 to n2"]
    assert branch.value == pytest.approx(alone.cables["n2"].amperes, abs=1e-9)
    assert branch.value > solve(network).cables["n2"].amperes
    assert "with zone “oak” alone and the cable at 20 °C" in branch.words


def worst_of_all(network, limits):
    """The most that each cable and the feed carry, and the most VA, over every case solved by itself."""
    cables, amperes, loads = {}, 0.0, {}
    for temperature_c in (network.temperature_c, min(limits.cool_c, network.temperature_c)):
        for zones in (network.zones, *((zone,) for zone in network.zones)):
            outcome = solve(replace(network.lit(zones), temperature_c=temperature_c))
            if isinstance(outcome, Solution):
                amperes = max(amperes, outcome.source_a)
                key = zones if zones == network.zones else zones[0]
                loads[key] = max(loads.get(key, 0.0), outcome.source_va)
                for node, state in outcome.cables.items():
                    cables[node] = max(cables.get(node, 0.0), state.amperes / state.segment.limit_a)
    return cables, amperes, loads


@settings(max_examples=60, deadline=None)
@given(random_networks(most_nodes=12))
def test_no_case_is_worse_than_the_one_that_is_judged(network):
    """Of random networks every cable, circuit and load is judged in the worst of all its cases."""
    limits = Limits()
    result = inspect([network], limits)
    cables, amperes, loads = worst_of_all(network, limits)
    if any(not isinstance(outcome, Solution) for outcome in result.solved[0].cases.values()):
        return
    [circuit] = [each for each in result.findings if each.topic is Topic.CIRCUIT]
    assert circuit.value == pytest.approx(amperes, rel=1e-9, abs=1e-9)
    [load] = [each for each in result.findings if each.topic is Topic.TRANSFORMER]
    assert load.value == pytest.approx(loads[network.zones], rel=1e-9)
    errors = [each.place for each in result.errors() if each.topic is Topic.CABLE]
    over = {place.split(" to ")[1] for place in errors if " to " in place}
    assert over == {node for node, part in cables.items() if part > 1.0}


def test_a_zone_that_is_the_only_one_is_solved_once_for_each_temperature():
    """Where a transformer has one zone, everything lit is the zone alone, with one solution for both."""
    [one] = solve_states([chain(at_ft=(10.0, 20.0))], Limits())
    assert len({id(outcome) for outcome in one.cases.values()}) == 2
    assert one.cases[Case(zone=None, temperature_c=20.0)] is one.alone["all"]
    assert one.cases[Case(zone=None, temperature_c=75.0)] is one.lit


def test_copper_that_is_colder_than_cool_counts_as_it_is():
    """A site that says 5 °C is not judged at 20 °C as well."""
    [one] = solve_states([chain(at_ft=(10.0,), temperature_c=5.0)], Limits())
    assert {case.temperature_c for case in one.cases} == {5.0}
