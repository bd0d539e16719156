"""Gauges: what a run costs for each voltage at its feed, and that it does when it is solved."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings

from config.models.cables import parse_gauge
from controller.inspection.gauges import (
    HOME_RUN,
    Prices,
    Sizing,
    cheapest,
    copper_kg,
    gauges_of,
    laid_anew,
    new_limit_a,
)
from controller.wiring.cable import ampacity
from controller.wiring.network import CableSegment, FixtureAt, Lamp, way_to
from controller.wiring.solver import Solution, solve
from tests.controller.networks import EVENLY_FT, chain, random_networks, read_reference

TABLE = read_reference("twelve_gauge.json")
TWELVE = parse_gauge("12 AWG")


def needed_v(fixture):
    return fixture.range_v[0]


def relaid(network, gauges):
    """The network with other gauges in the cables that end at these nodes."""
    cables = (replace(cable, gauge=gauges.get(cable.to_node, cable.gauge)) for cable in network.segments)
    return replace(network, segments=tuple(cables))


def sized(network, *, source_v=None, needed=needed_v, **more):
    """The gauges with the least cost at a voltage; None where no gauges do."""
    source_v = source_v or network.feed.source_v
    point = cheapest(Sizing(network, needed, Prices(), source_v, **more).front, source_v)
    return None if point is None else gauges_of(point)


@settings(deadline=None, max_examples=50)
@given(random_networks(lamps=(Lamp.FILAMENT, Lamp.POWER), most_nodes=25, most_watts=600.0))
def test_what_is_found_suffices_when_solved(network):
    """With the gauges found for a tap, every lamp has its volts within 0.05 V when it is solved there."""
    gauges = sized(network)
    if gauges is not None:
        after = solve(relaid(network, gauges))
        assert isinstance(after, Solution)
        for state in after.lamps:
            assert state.volts >= needed_v(state.fixture) - 0.05


@settings(deadline=None, max_examples=50)
@given(random_networks(lamps=(Lamp.FILAMENT, Lamp.POWER), most_nodes=10, most_watts=300.0))
def test_more_volts_at_the_feed_never_cost_more(network):
    """From one entry to the next the volts rise and the cost falls."""
    front = Sizing(network, needed_v, Prices(), 15.0).front
    for (volts, cost, *_), (more_v, less, *_) in pairwise(front):
        assert volts < more_v
        assert cost > less


def test_six_gauge_carries_120_w_over_100_ft_spread_evenly_within_5_percent():
    """By the table 6 AWG drops 4.5 % with the load spread evenly, so it does; 8.2 % at the end: none does."""
    percent = TABLE["six_awg_percent_for_120_w_over_100_ft"]
    evenly = chain(at_ft=EVENLY_FT, watts=12.0, lamp=Lamp.CURRENT, gauge="6 AWG")
    assert round(drop_percent(evenly), 1) == percent["ten lamps evenly"]
    end = chain(watts=120.0, lamp=Lamp.CURRENT, gauge="6 AWG")
    assert round(drop_percent(end), 1) == percent["end"]

    def within_5_percent(_fixture):
        return 0.95 * 12.0

    assert sized(chain(at_ft=EVENLY_FT, watts=12.0, lamp=Lamp.CURRENT), needed=within_5_percent)
    assert sized(chain(watts=120.0, lamp=Lamp.CURRENT), needed=within_5_percent) is None


def drop_percent(network):
    return 100.0 * (1.0 - solve(network).lamps[-1].volts / network.feed.source_v)


def test_new_cable_carries_its_current_for_hours_on_end():
    """A short 16 AWG cable under 16 A becomes 12 AWG, the first gauge of which 16 A are 80 % or less."""
    network = chain(at_ft=(1.0,), watts=12.0 * 16.0, lamp=Lamp.CURRENT, gauge="16 AWG")
    assert sized(network) == {"n1": TWELVE}
    assert ampacity(TWELVE).amperes == 20.0
    assert new_limit_a(relaid(network, {"n1": TWELVE}).segments[0]) == 16.0


def test_nothing_is_laid_where_nothing_is_lacking():
    """A network whose lamps have their volts needs no other cable."""
    assert sized(chain(at_ft=(10.0,), watts=5.0)) == {}


def test_branches_that_lack_nothing_are_left_alone():
    """Only cables on the way to a lamp with too few volts are exchanged."""
    network = chain(at_ft=EVENLY_FT)
    near = CableSegment(from_node="feed", to_node="gate", gauge=TWELVE, length_m=3.0)
    # The most current of all, and volts enough: 16.7 A over 3 m leave 11.3 V.
    lamp = FixtureAt(node="gate", zone="gate", watts=200.0, lamp=Lamp.FILAMENT)
    network = replace(network, segments=(*network.segments, near), fixtures=(*network.fixtures, lamp))
    found = sized(network)
    assert found
    assert "gate" not in found


def test_a_gauge_stays_below_what_it_is_told():
    """A cable that may not become 8 AWG becomes 10 AWG at most, and others make up for it."""
    network = chain(at_ft=EVENLY_FT)
    freely = sized(network)
    eight_mm2 = parse_gauge("8 AWG").area_mm2
    held = sized(network, below_mm2={"n1": eight_mm2})
    assert freely["n1"].area_mm2 >= eight_mm2
    assert held.get("n1", TWELVE).area_mm2 < eight_mm2


def test_the_feed_moved_to_the_middle_takes_one_run():
    """For a feed moved to n5 there is a gauge for the home run, and none for the cable that is taken away."""
    network = chain(at_ft=EVENLY_FT)
    way = way_to(network, "n5")
    point = cheapest(Sizing(network, needed_v, Prices(), 13.0).moved_feed(way), 13.0)
    gauges = gauges_of(point)
    assert HOME_RUN in gauges
    assert "n1" not in gauges


def test_no_metric_cable_is_laid_thinner_than_the_least_size():
    """New metric cable has 1.5 mm² or more; the American sizes are all offered."""
    assert min(g.area_mm2 for g in laid_anew(parse_gauge("2.5 mm2"))) == 1.5
    assert str(laid_anew(TWELVE)[0]) == "18 AWG"


def test_copper_is_that_of_both_conductors():
    """100 m of 4 mm² hold 7.11 kg of copper: 2 × 4 mm² × 100 m × 8.89 g/cm³."""
    assert round(copper_kg(parse_gauge("4 mm2"), 100.0), 3) == 7.112
