"""Wiring: the reference networks, what has no solution, random trees against scipy, and plain physics."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from config.models.cables import M_PER_FT, parse_gauge
from controller.wiring.cable import loop_ohm, same_kind
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Network
from controller.wiring.solver import NoSolution, Solution, solve
from tests.controller.networks import (
    EVENLY_FT,
    LAST_HALF_FT,
    chain,
    random_networks,
    read_reference,
    reference_network,
)
from tests.controller.nodal import NodalEquations

REFERENCE = read_reference("wiring.json")
TABLE = read_reference("twelve_gauge.json")
TOLERANCE_V = 1e-3
TOLERANCE_W = 1e-3


def solved(network):
    outcome = solve(network)
    assert isinstance(outcome, Solution), str(outcome)
    return outcome


@pytest.mark.parametrize("lamp", list(Lamp))
@pytest.mark.parametrize("case", REFERENCE["cases"], ids=lambda case: case["id"])
def test_reference_networks_under_every_kind_of_lamp(case, lamp):
    """Six networks under four kinds of lamp agree with ngspice's operating point within 1 mV and 1 mW."""
    expected = case["same_network_other_load_models"][lamp.value]
    solution = solved(reference_network(case, lamp))
    for node, volts in expected["ngspice_pair_voltage"].items():
        assert solution.volts[node] == pytest.approx(volts, abs=TOLERANCE_V)
    assert solution.source_a == pytest.approx(expected["source_current_ngspice_a"], abs=1e-5)
    assert solution.lamp_w == pytest.approx(expected["lamp_power_w"], abs=TOLERANCE_W)
    assert solution.loss_w == pytest.approx(expected["cable_loss_w"], abs=TOLERANCE_W)
    assert solution.worst.fixture.node == expected["worst_lamp"]
    assert solution.source_va - solution.lamp_va - solution.loss_w == pytest.approx(0.0, abs=TOLERANCE_W)


@pytest.mark.parametrize("case", REFERENCE["no_solution"], ids=lambda case: f"{case['source_v']:g} V")
def test_more_power_than_the_cable_delivers_is_refused(case):
    """120 W of regulated LED behind 0.396 ohm get the high volts, or are refused with the most there is."""
    gauge = parse_gauge("12 AWG")
    assert loop_ohm(gauge, 100.0 * M_PER_FT) == pytest.approx(case["loop_ohm"], rel=1e-12)
    outcome = solve(chain(source_v=case["source_v"], watts=case["asked_w"], lamp=Lamp.POWER))
    if case["solvable"]:
        assert isinstance(outcome, Solution)
        assert outcome.volts["n1"] == pytest.approx(case["lamp_v"], abs=TOLERANCE_V)
    else:
        assert isinstance(outcome, NoSolution)
        assert outcome.asked_w == case["asked_w"]
        assert outcome.deliverable_w == pytest.approx(case["max_power_that_can_be_delivered_w"], abs=1e-4)
        assert outcome.worst_node == "n1"
        assert "120 W" in str(outcome)
        assert f"{case['max_power_that_can_be_delivered_w']:.4g} W at most" in str(outcome)


def test_without_a_solution_the_place_with_the_fewest_volts_is_named():
    """Of two ends of a ring behind equal cables, that with more watts is named, as scipy has it."""
    one = chain(watts=60.0, lamp=Lamp.POWER)
    first, light = one.segments[0], one.fixtures[0]
    ring = replace(
        one,
        segments=(first, replace(first, to_node="n2"), replace(first, from_node="n1", to_node="n2")),
        fixtures=(replace(light, node="n1", watts=90.0), replace(light, node="n2", watts=120.0)),
    )
    outcome = solve(ring)
    assert isinstance(outcome, NoSolution)
    part = 0.99 * outcome.deliverable_w / outcome.asked_w
    less = replace(ring, fixtures=tuple(replace(each, watts=part * each.watts) for each in ring.fixtures))
    nodal = NodalEquations(less)
    volts = nodal.solve()
    assert volts[nodal.place["n2"]] < volts[nodal.place["n1"]]
    assert outcome.worst_node == "n2"


@pytest.mark.parametrize("tap", ["12", "13", "14", "15"])
@pytest.mark.parametrize(
    ("arrangement", "at_ft", "watts", "lamp"),
    [
        ("all at the end, filament", (100,), 120.0, Lamp.FILAMENT),
        ("ten lamps evenly, filament", EVENLY_FT, 12.0, Lamp.FILAMENT),
        ("ten lamps evenly, constant power", EVENLY_FT, 12.0, Lamp.POWER),
        ("ten lamps in the last 50 ft, filament", LAST_HALF_FT, 12.0, Lamp.FILAMENT),
    ],
)
def test_the_table_of_the_hundred_foot_rule(arrangement, at_ft, watts, lamp, tap):
    """120 W over 100 ft of 12 AWG leave the far lamp the volts of the table, to both printed decimals."""
    for temperature_c, volts in zip((75.0, 25.0), TABLE["far_lamp_v"][arrangement][tap], strict=True):
        network = chain(source_v=float(tap), at_ft=at_ft, watts=watts, lamp=lamp, temperature_c=temperature_c)
        assert round(solved(network).lamps[-1].volts, 2) == volts


def test_the_near_lamp_of_the_even_spread_gets_too_much():
    """Spread evenly from a 14 V tap the nearest lamp gets the 13.60 V of the table."""
    solution = solved(chain(source_v=14.0, at_ft=EVENLY_FT))
    assert round(solution.lamps[0].volts, 2) == TABLE["evenly_from_14_v"]["near_lamp_v"]


@settings(deadline=None, max_examples=60)
@given(random_networks())
def test_random_trees_agree_with_scipy(network):
    """Trees to 60 nodes with mixed gauges, leads and lamps agree with scipy's nodal solution within 1 mV."""
    outcome = solve(network)
    assume(isinstance(outcome, Solution))
    nodal = NodalEquations(network)
    pair_v = nodal.solve()
    if pair_v is None or nodal.stiffness(pair_v) <= 0.0:  # scipy may fail, or land on the low-voltage root
        ours_v = nodal.pair_volts(outcome.volts, [state.volts for state in outcome.lamps])
        pair_v = nodal.solve(start_pair_v=0.99 * ours_v)
    assert pair_v is not None
    for node, place in nodal.place.items():
        assert outcome.volts[node] == pytest.approx(pair_v[place], abs=TOLERANCE_V)
    for state, first in zip(outcome.lamps, nodal.first_lamp, strict=True):
        assert state.volts == pytest.approx(pair_v[nodal.at[first]], abs=TOLERANCE_V)
    assert nodal.stiffness(pair_v) > 0.0


@settings(deadline=None, max_examples=80)
@given(random_networks())
def test_the_account_of_the_power_closes(network):
    """What leaves the feed is what lamps take and cables lose, within 1 mW, by two ways of adding up."""
    outcome = solve(network)
    assume(isinstance(outcome, Solution))
    assert outcome.source_va - outcome.lamp_va - outcome.loss_w == pytest.approx(0.0, abs=TOLERANCE_W)
    cables_w = sum(state.loss_w for state in outcome.segments)
    leads_w = sum(
        state.fixture.count * state.amperes * (outcome.volts[state.fixture.node] - state.volts)
        for state in outcome.lamps
    )
    assert cables_w + leads_w == pytest.approx(outcome.loss_w, abs=TOLERANCE_W)
    from_feed_a = sum(s.amperes for s in outcome.segments if s.segment.from_node == "n0")
    at_feed_a = sum(s.fixture.count * s.amperes for s in outcome.lamps if s.fixture.node == "n0")
    assert from_feed_a + at_feed_a == pytest.approx(outcome.source_a, abs=1e-6)


@given(
    source_v=st.floats(6.0, 30.0),
    length_m=st.floats(1.0, 200.0),
    gauge=st.sampled_from(["18 AWG", "12 AWG", "6 AWG", "1.5 mm2", "4 mm2"]),
)
def test_one_regulated_lamp_ends_exactly_at_the_greatest_power(source_v, length_m, gauge):
    """One constant-power lamp works up to V² ÷ 4R at more than half the volts, and is refused beyond."""
    greatest_w = source_v**2 / (4.0 * loop_ohm(parse_gauge(gauge), length_m))
    assume(greatest_w < 1e5)
    at_ft = (length_m / M_PER_FT,)
    below = chain(source_v=source_v, at_ft=at_ft, gauge=gauge, lamp=Lamp.POWER, watts=0.9999 * greatest_w)
    assert solved(below).volts["n1"] > source_v / 2.0
    beyond = solve(replace(below, fixtures=(replace(below.fixtures[0], watts=1.0001 * greatest_w),)))
    assert isinstance(beyond, NoSolution)
    assert beyond.deliverable_w == pytest.approx(greatest_w, rel=1e-6)


@settings(deadline=None)
@given(random_networks(lamps=(Lamp.FILAMENT, Lamp.RESISTANCE), most_nodes=20, most_watts=50_000.0))
def test_filaments_and_resistances_always_have_a_solution(network):
    """Lamps that take less as their volts fall can always be solved, however absurd the load."""
    outcome = solved(network)
    assert all(volts > 0.0 for volts in outcome.volts.values())
    assert outcome.source_va - outcome.lamp_va - outcome.loss_w == pytest.approx(0.0, abs=TOLERANCE_W)


def test_fixed_currents_beyond_the_supply_are_refused():
    """The hand calculation's fixed current that would drop more than the whole supply is refused."""
    outcome = solve(chain(watts=400.0, lamp=Lamp.CURRENT))  # 33.3 A × 0.396 ohm = 13.2 V of 12 V
    assert isinstance(outcome, NoSolution)
    assert outcome.deliverable_w == pytest.approx(400.0 * 12.0 / 13.2, rel=1e-6)


def test_equal_lamps_each_on_a_lead_of_its_own():
    """Three lamps of one fixture, each on its own lead, get what three fixtures of one lamp get."""
    lead = Lead(gauge=parse_gauge("18 AWG"), length_m=3.0)
    together = chain(watts=10.0, lead=lead, count=3)
    apart = replace(together, fixtures=(replace(together.fixtures[0], count=1),) * 3)
    assert solved(together).lamps[0].volts == pytest.approx(solved(apart).lamps[0].volts, abs=1e-9)
    assert solved(together).source_a == pytest.approx(solved(apart).source_a, abs=1e-9)


def test_a_splice_adds_its_ohms_to_the_loop():
    """A splice of 0.1 ohm takes a tenth of a volt from a lamp of 1 A."""
    plain = chain(watts=12.0, lamp=Lamp.CURRENT)
    spliced = replace(plain, segments=(replace(plain.segments[0], splice_ohm=0.1),))
    assert solved(plain).volts["n1"] - solved(spliced).volts["n1"] == pytest.approx(0.1, abs=1e-9)


def test_a_power_factor_raises_the_current_and_the_volt_amperes():
    """A 10 W driver at power factor 0.5 takes 20 VA from a cable without length to speak of, and 10 W."""
    solution = solved(chain(at_ft=(0.001,), watts=10.0, lamp=Lamp.POWER, power_factor=0.5))
    assert solution.source_va == pytest.approx(20.0, abs=1e-3)
    assert solution.lamp_va == pytest.approx(20.0, abs=1e-9)
    assert solution.lamp_w == pytest.approx(10.0, abs=1e-9)


def test_a_driver_below_its_input_range_drops_out():
    """A regulated LED that gets fewer volts than its plate asks for drops out; a filament does not."""
    solution = solved(chain(source_v=12.0, at_ft=EVENLY_FT, lamp=Lamp.POWER, min_v=10.0))
    dark = [state for state in solution.lamps if state.volts < 10.0]
    assert 0 < len(dark) < 10
    assert [state for state in solution.lamps if state.drops_out] == dark
    assert dark[-1].volts == pytest.approx(9.32, abs=0.005)
    filament = solved(chain(at_ft=EVENLY_FT, lamp=Lamp.FILAMENT, min_v=10.9))
    assert not any(state.drops_out for state in filament.lamps)


def test_a_network_without_lamps_has_the_feeds_volts_everywhere():
    """With nothing lit, every node has the feed's volts and nothing flows."""
    network = chain(at_ft=EVENLY_FT).lit(())
    solution = solved(network)
    assert set(solution.volts.values()) == {12.0}
    assert solution.source_a == 0.0
    assert solution.worst is None


def test_a_lamp_at_the_tap_itself_gets_its_volts():
    """A fixture at the feed's own node, on no cable at all, gets exactly the feed's volts."""
    feed = Feed(node="tap", transformer="shed", rated_va=100.0, source_v=13.0)
    lamp = FixtureAt(node="tap", zone="z", watts=13.0, lamp=Lamp.POWER)
    solution = solved(Network(feed=feed, segments=(), fixtures=(lamp,)))
    assert solution.lamps[0].volts == 13.0
    assert solution.source_a == pytest.approx(1.0)


@settings(deadline=None, max_examples=50)
@given(random_networks(most_nodes=25), st.data())
def test_one_more_lamp_lowers_every_volt(network, data):
    """One more lamp anywhere raises the volts nowhere, and putting out a zone lowers them nowhere."""
    more = solve(network)
    assume(isinstance(more, Solution))
    zone = data.draw(st.sampled_from(network.zones))
    fewer = solved(network.lit(set(network.zones) - {zone}))
    for node, volts in more.volts.items():
        assert fewer.volts[node] >= volts - 1e-8


@settings(deadline=None, max_examples=50)
@given(random_networks(most_nodes=25))
def test_more_volts_at_the_feed_are_more_volts_everywhere(network):
    """A higher tap raises the volts at every node."""
    low = solve(network)
    assume(isinstance(low, Solution))
    high = solved(replace(network, feed=replace(network.feed, source_v=network.feed.source_v + 1.0)))
    for node, volts in low.volts.items():
        assert high.volts[node] > volts - 1e-8


@settings(deadline=None, max_examples=60)
@given(
    st.one_of(
        random_networks(most_nodes=25, lamps=(Lamp.FILAMENT, Lamp.RESISTANCE, Lamp.CURRENT)),
        random_networks(most_nodes=25, lamps=(Lamp.POWER,)),
    ),
    st.data(),
)
def test_thicker_cable_helps_what_hangs_on_it(network, data):
    """Thicker cable on one segment lowers the volts at its far end never."""
    before = solve(network)
    assume(isinstance(before, Solution))
    place = data.draw(st.integers(0, len(network.segments) - 1))
    cable = network.segments[place]
    gauges = [each for each in same_kind(cable.gauge) if each.area_mm2 > cable.gauge.area_mm2]
    assume(gauges)
    swapped = CableSegment(
        from_node=cable.from_node, to_node=cable.to_node, gauge=gauges[0], length_m=cable.length_m,
        splice_ohm=cable.splice_ohm,
    )  # fmt: skip
    cables = (*network.segments[:place], swapped, *network.segments[place + 1 :])
    after = solved(replace(network, segments=cables))
    assert after.volts[cable.to_node] >= before.volts[cable.to_node] - 1e-8


@settings(deadline=None, max_examples=50)
@given(random_networks(most_nodes=25))
def test_cool_cable_gives_more_volts(network):
    """A cool cable leaves no lamp of fixed current fewer volts than a warm one."""
    lamps = tuple(replace(fixture, lamp=Lamp.CURRENT) for fixture in network.fixtures)
    warm = solve(replace(network, fixtures=lamps, temperature_c=75.0))
    assume(isinstance(warm, Solution))
    cool = solved(replace(network, fixtures=lamps, temperature_c=20.0))
    for node, volts in warm.volts.items():
        assert cool.volts[node] >= volts - 1e-8
