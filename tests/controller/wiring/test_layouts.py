"""Laying: a line of lights and a hub with legs become cables and nodes."""

from __future__ import annotations

import pytest

from config.errors import WiringError
from config.models.cables import M_PER_FT, parse_gauge
from controller.wiring.layouts import hub_layout, line_layout
from controller.wiring.network import Feed, FixtureAt, Lamp, Network
from controller.wiring.solver import solve
from tests.controller.networks import read_reference

TWELVE = parse_gauge("12 AWG")
CASES = {case["id"]: case for case in read_reference("wiring.json")["cases"]}


def test_a_line_spreads_its_lights_evenly():
    """Six lights over 80 ft sit 13.33 ft apart, the first one part along and the last at the end."""
    laid = line_layout(start="shed", name="bed", gauge=TWELVE, length_m=80.0 * M_PER_FT, lights=6)
    assert laid.nodes == ("bed 1", "bed 2", "bed 3", "bed 4", "bed 5", "bed 6")
    assert [(s.from_node, s.to_node) for s in laid.segments][:2] == [("shed", "bed 1"), ("bed 1", "bed 2")]
    assert sum(s.length_m for s in laid.segments) == pytest.approx(80.0 * M_PER_FT)
    assert len({s.length_m for s in laid.segments}) == 1


def test_a_line_is_the_reference_daisy_chain():
    """Ten 10 W lights over 100 ft in a line are the reference network W2, volt for volt."""
    laid = line_layout(start="src", name="L", gauge=TWELVE, length_m=100.0 * M_PER_FT, lights=10)
    lamps = tuple(FixtureAt(node=node, zone="z", watts=10.0, lamp=Lamp.CURRENT) for node in laid.nodes)
    feed = Feed(node="src", transformer="t", rated_va=150.0, source_v=13.0)
    solution = solve(Network(feed=feed, segments=laid.segments, fixtures=lamps))
    expected = CASES["W2"]["ngspice_pair_voltage"]
    assert [solution.volts[node] for node in laid.nodes] == pytest.approx(list(expected.values()), abs=1e-3)


def test_a_hub_is_the_reference_hub():
    """A home run of 80 ft to a hub with four legs is the reference network W3, volt for volt."""
    laid = hub_layout(
        start="src", name="H", gauge=parse_gauge("10 AWG"), length_m=80.0 * M_PER_FT,
        leg_gauge=parse_gauge("14 AWG"), leg_lengths_m=[feet * M_PER_FT for feet in (10, 25, 40, 60)],
    )  # fmt: skip
    lamps = tuple(
        FixtureAt(node=node, zone="z", watts=watts, lamp=Lamp.FILAMENT)
        for node, watts in zip(laid.nodes, (20.0, 20.0, 35.0, 20.0), strict=True)
    )
    feed = Feed(node="src", transformer="t", rated_va=150.0, source_v=15.0)
    solution = solve(Network(feed=feed, segments=laid.segments, fixtures=lamps))
    expected = CASES["W3"]["ngspice_pair_voltage"]
    assert solution.volts["H"] == pytest.approx(expected["H"], abs=1e-3)
    for place in range(1, 5):
        assert solution.volts[f"H {place}"] == pytest.approx(expected[f"B{place}"], abs=1e-3)


def test_a_line_without_lights_and_a_hub_without_legs_are_refused():
    """What has no end is refused by its name."""
    with pytest.raises(WiringError, match="line “bed”: lights = 0"):
        line_layout(start="shed", name="bed", gauge=TWELVE, length_m=10.0, lights=0)
    with pytest.raises(WiringError, match="hub “oak” has no leg"):
        hub_layout(start="shed", name="oak", gauge=TWELVE, length_m=1.0, leg_gauge=TWELVE, leg_lengths_m=[])
    with pytest.raises(WiringError, match="length_m = 0"):
        line_layout(start="shed", name="bed", gauge=TWELVE, length_m=0.0, lights=2)
