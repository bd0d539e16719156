"""From the site file to networks: reference cases, simple forms, taps, leads, and lights on no cable."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import WiringError
from config.file.loader import example_path, load_site, parse_site
from config.models.cables import M_PER_FT, parse_gauge
from controller.wiring.from_site import build_wiring
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Network
from controller.wiring.solver import NoSolution, Solution, solve, solve_all
from tests.config.site_texts import problems_of
from tests.controller.networks import read_reference, reference_network
from tests.site_of_wiring import garden, line, piece, reference_site

REFERENCE = read_reference("wiring.json")


def wired(text):
    """The wiring of the only transformer of a site."""
    [wiring] = build_wiring(parse_site(text, "site.toml").site)
    return wiring


def circuit_of(text):
    [circuit] = wired(text).circuits
    return circuit


@pytest.mark.parametrize("lamp", list(Lamp))
@pytest.mark.parametrize("case", REFERENCE["cases"], ids=lambda case: case["id"])
def test_a_reference_network_written_as_a_site_is_that_network(case, lamp):
    """A site file carries every segment, lamp and volt of the reference over to the solver."""
    network = circuit_of(reference_site(case, lamp.value)).network
    expected = reference_network(case, lamp)
    named = tuple(replace(each, name="") for each in network.fixtures)
    assert named == expected.fixtures
    assert set(network.segments) == set(expected.segments)
    assert network.feed.source_v == expected.feed.source_v


@pytest.mark.parametrize("lamp", list(Lamp))
def test_leads_of_fixtures_count_like_cables(lamp):
    """W6 with its 18 AWG segments as the fixtures' own leads gives the same volts (wiring.json, 1 mV)."""
    [case] = [each for each in REFERENCE["cases"] if each["id"] == "W6"]
    expected = case["same_network_other_load_models"][lamp.value]["ngspice_pair_voltage"]
    solution = solve(circuit_of(reference_site(case, lamp.value, with_leads=True)).network)
    assert isinstance(solution, Solution)
    assert len(solution.lamps) == 12
    for state in solution.lamps:
        assert state.volts == pytest.approx(expected[state.fixture.name], abs=1e-3)


def test_a_line_spreads_its_lights_evenly_in_the_order_of_the_file():
    """Six lights on 80 ft sit every 13 ft 4 in, the last at the end, fixture after fixture."""
    rest = '[[zones.fixtures]]\nkind = "step"\ncount = 2\nwatts = 2\n'
    fixtures = 'kind = "path"\ncount = 4\nwatts = 4.5'
    circuit = circuit_of(garden(cables=line(), fixtures=fixtures, rest=rest))
    assert [each.length_m for each in circuit.network.segments] == pytest.approx([80 * M_PER_FT / 6] * 6)
    assert [(light.at.node, light.kind, light.number) for light in circuit.lights] == [
        ("jetty 1", "path", 1),
        ("jetty 2", "path", 2),
        ("jetty 3", "path", 3),
        ("jetty 4", "path", 4),
        ("jetty 5", "step", 1),
        ("jetty 6", "step", 2),
    ]


def test_a_hub_gives_each_light_a_leg():
    """A home run to a hub with three legs puts one light at the end of each, legs of their own gauge."""
    hub = (
        '[[cables]]\nfrom = "boathouse"\nhub = "jetty"\ngauge = "10 AWG"\nlength = "60 ft"\n'
        'legs = ["10 ft", "5 m", "20 ft"]\nleg_gauge = "14 AWG"\n'
    )
    circuit = circuit_of(garden(cables=hub, fixtures='kind = "spot"\ncount = 3\nwatts = 5'))
    assert [(str(each.gauge), each.from_node, each.to_node) for each in circuit.network.segments] == [
        ("10 AWG", "boathouse", "jetty"),
        ("14 AWG", "jetty", "jetty 1"),
        ("14 AWG", "jetty", "jetty 2"),
        ("14 AWG", "jetty", "jetty 3"),
    ]
    assert [each.length_m for each in circuit.network.segments] == pytest.approx([18.288, 3.048, 5.0, 6.096])
    assert [light.at.node for light in circuit.lights] == ["jetty 1", "jetty 2", "jetty 3"]


CASES = {case["id"]: case for case in REFERENCE["cases"]}


def test_a_line_is_the_reference_daisy_chain():
    """Ten 10 W lights over 100 ft in a line are the reference network W2, volt for volt."""
    fixtures = 'kind = "path"\ncount = 10\nwatts = 10\ndriver = "linear"'
    solution = solve(circuit_of(garden(tap=13, cables=line("100 ft"), fixtures=fixtures)).network)
    expected = CASES["W2"]["ngspice_pair_voltage"]
    volts = [solution.volts[f"jetty {place}"] for place in range(1, 11)]
    assert volts == pytest.approx(list(expected.values()), abs=1e-3)


def test_a_hub_is_the_reference_hub():
    """A home run of 80 ft to a hub with four legs is the reference network W3, volt for volt."""
    hub = (
        '[[cables]]\nfrom = "boathouse"\nhub = "jetty"\ngauge = "10 AWG"\nlength = "80 ft"\n'
        'legs = ["10 ft", "25 ft", "40 ft", "60 ft"]\nleg_gauge = "14 AWG"\n'
    )
    lamps = [f'kind = "spot"\ncount = 1\nwatts = {watts}\nlamp = "filament"' for watts in (20, 20, 35, 20)]
    rest = "".join(f"[[zones.fixtures]]\n{each}\n" for each in lamps[1:])
    solution = solve(circuit_of(garden(tap=15, cables=hub, fixtures=lamps[0], rest=rest)).network)
    expected = CASES["W3"]["ngspice_pair_voltage"]
    assert solution.volts["jetty"] == pytest.approx(expected["H"], abs=1e-3)
    for place in range(1, 5):
        assert solution.volts[f"jetty {place}"] == pytest.approx(expected[f"B{place}"], abs=1e-3)


def test_a_cable_on_another_tap_is_a_circuit_of_its_own():
    """A cable that names its tap does not share the volts of the others."""
    cables = line() + piece("boathouse", "gate", more="tap = 14")
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "gate"\n'
    first, second = wired(garden(cables=cables, more="taps = [12, 13, 14]", rest=rest)).circuits
    assert (first.network.feed.node, first.network.feed.source_v) == ("boathouse", 12.0)
    assert (second.network.feed.node, second.network.feed.source_v) == ("boathouse, 14 V", 14.0)
    assert [light.at.node for light in second.lights] == ["gate"]


def test_what_the_file_says_of_a_cable_reaches_the_solver():
    """Splice, plate, temperature and the site's own limit on the drop are carried over."""
    cables = piece("boathouse", "end", more="splice_ohm = 0.02\nrated_a = 18")
    text = garden(cables=cables, fixtures='kind = "spot"\ncount = 2\nwatts = 9\nnode = "end"')
    wiring = wired(text + "[wiring]\ncopper_c = 20\ndrop_percent = 4\n")
    [segment] = wiring.networks[0].segments
    assert (segment.splice_ohm, segment.ampacity_a) == (0.02, 18.0)
    assert wiring.networks[0].temperature_c == 20.0
    assert wiring.limits.drop_percent == 4.0


def test_what_the_file_says_of_a_fixture_reaches_the_solver():
    """Range, power factor, lead and driver are carried over; a lead without a gauge is 18 AWG."""
    fixtures = (
        'kind = "spot"\ncount = 2\nwatts = 9\nnode = "end"\nvolts = [9, 15]\npower_factor = 0.8\n'
        'lead = "3 ft"\ndriver = "linear"'
    )
    [light] = circuit_of(garden(cables=piece("boathouse", "end"), fixtures=fixtures)).lights
    assert (light.at.range_v, light.at.power_factor, light.at.lamp) == ((9.0, 15.0), 0.8, Lamp.CURRENT)
    assert (str(light.at.lead.gauge), light.at.lead.length_m) == ("18 AWG", 3 * M_PER_FT)
    assert light.at.count == 2


def test_lights_on_no_cable_load_the_transformer_and_ask_for_no_volts():
    """Watts without a cable count in volt-amperes, and move no other lamp's volts."""
    loose = '[[zones]]\nid = "arbour"\npin = 22\nprogram = ["dusk to 23:00"]\nrated_watts = 40\n'
    with_loose = solve(circuit_of(garden(cables=line(), rest=loose)).network)
    without = solve(circuit_of(garden(cables=line())).network)
    assert with_loose.source_va == pytest.approx(without.source_va + 40.0, abs=1e-9)
    assert with_loose.volts["jetty 6"] == pytest.approx(without.volts["jetty 6"], abs=1e-9)
    assert with_loose.worst.fixture.node == "jetty 6"


@pytest.mark.parametrize(
    ("readings", "seen"),
    [
        ("11.6", [None, None, 11.6]),
        ("[11.9]", [None, None, 11.9]),
        ("[12, 11.8, 11.7]", [12.0, 11.8, 11.7]),
    ],
)
def test_one_reading_is_the_last_lights_and_a_list_begins_with_the_first(readings, seen):
    """What was measured stands at the lights that it was measured at."""
    fixtures = f'kind = "path"\ncount = 3\nwatts = 4.5\nmeasured_volts = {readings}'
    circuit = circuit_of(garden(cables=line(), fixtures=fixtures))
    assert [light.measured_v for light in circuit.lights] == seen


def test_too_much_load_for_the_cable_has_no_solution():
    """120 W of regulated LED behind 100 ft of 12 AWG are refused at 12 V (wiring.json: at most 90.9 W)."""
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 120\nnode = "end"'
    outcome = solve(circuit_of(garden(cables=piece("boathouse", "end", "100 ft"), fixtures=fixtures)).network)
    assert isinstance(outcome, NoSolution)
    most_w = REFERENCE["no_solution"][0]["max_power_that_can_be_delivered_w"]
    assert outcome.deliverable_w == pytest.approx(most_w, abs=1e-3)


@pytest.mark.parametrize("name", ["one-zone", "two-zones", "full-property", "polar"])
def test_every_light_of_every_example_is_wired_once(name):
    """No light of an example is lost or counted twice, and each hangs on its zone's transformer."""
    site = load_site(example_path(name)).site
    for wiring in build_wiring(site):
        lights = [light for circuit in wiring.circuits for light in circuit.lights]
        for zone in wiring.zones:
            own = [light for light in lights if light.zone == zone.id]
            watts = sum(light.at.count * light.at.watts for light in own)
            rated = sum(each.count * each.watts for each in zone.fixtures) or zone.rated_load.watts
            assert watts == pytest.approx(rated)
        assert {light.zone for light in lights} == {zone.id for zone in wiring.zones}


@pytest.mark.parametrize("regulation", ["", "regulation_percent = 9"])
def test_the_measured_tap_is_what_the_lamps_are_computed_from(regulation):
    """12.6 V measured at a tap of 12 V, all lit, are the volts there, and the other taps stand as high."""
    cables = line() + piece("boathouse", "gate", more="tap = 14")
    more = f"taps = [12, 14]\nmeasured_volts = 12.6\n{regulation}"
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "gate"\n'
    first, second = solve_all(wired(garden(cables=cables, more=more, rest=rest)).networks)
    assert first.feed_v == pytest.approx(12.6, abs=1e-6)
    assert second.feed_v == pytest.approx(12.6 * 14.0 / 12.0, abs=1e-6)
    held = first.network.feed.held_at(12.6)
    assert first.worst.volts == pytest.approx(solve(replace(first.network, feed=held)).worst.volts, abs=1e-6)


NODES = st.sampled_from(["boathouse", "a", "b", "c", "d"])


@settings(deadline=None, max_examples=150)
@given(st.lists(st.tuples(NODES, NODES), max_size=6), NODES)
def test_the_file_refuses_what_hangs_on_no_feed_and_nothing_else(edges, hung):
    """Whatever cables are written: the file's checks and the solver's agree on which of them can be wired."""
    cables = "".join(piece(near, far) for near, far in edges)
    text = garden(cables=cables, fixtures=f'kind = "spot"\ncount = 1\nwatts = 5\nnode = "{hung}"')
    gauge = parse_gauge("12 AWG")
    feed = Feed(node="boathouse", transformer="boathouse", rated_va=200.0, source_v=12.0)
    lamp = FixtureAt(node=hung, zone="jetty", watts=5.0, lamp=Lamp.POWER)

    def network():
        segments = tuple(CableSegment(from_node=a, to_node=b, gauge=gauge, length_m=1.0) for a, b in edges)
        return Network(feed=feed, segments=segments, fixtures=(lamp,))

    if problems_of(text):
        with pytest.raises(WiringError):
            network()
    else:
        assert len(network().walk()) == len(edges)
        assert len(wired(text).networks[0].segments) == len(edges)
