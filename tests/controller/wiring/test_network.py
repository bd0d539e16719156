"""Network: values that refuse what is wrong, rings, and cables that no feed reaches."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from config.errors import WiringError
from config.models.cables import parse_gauge
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Network, join, walk, way_to

TWELVE = parse_gauge("12 AWG")
SHED = Feed(node="shed", transformer="shed", rated_va=150.0, source_v=12.0)
BARN = Feed(node="barn", transformer="barn", rated_va=300.0, source_v=13.0)


def cable(near, far, **more):
    return CableSegment(from_node=near, to_node=far, gauge=TWELVE, length_m=3.0, **more)


def lamp(node, zone="beds", **more):
    return FixtureAt(node=node, zone=zone, watts=4.0, lamp=Lamp.POWER, **more)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Feed(node="a", transformer="t", rated_va=0.0, source_v=12.0), "rated_va = 0"),
        (lambda: Feed(node="a", transformer="t", rated_va=math.inf, source_v=12.0), "rated_va = inf"),
        (lambda: Feed(node="a", transformer="t", rated_va=1.0, source_v=-12.0), "source_v = -12"),
        (lambda: Feed(node="", transformer="t", rated_va=1.0, source_v=12.0), "feed of “t”: a node has no"),
        (lambda: CableSegment(from_node="a", to_node="b", gauge=TWELVE, length_m=math.nan), "length_m = nan"),
        (lambda: cable("a", "a"), "cable “a” to “a”: it leads to where it begins"),
        (lambda: replace(SHED, common=0), "feed “shed”: common = 0; the first one is 1"),
        (lambda: replace(SHED, regulation=-0.1), "feed “shed”: regulation = -0.1; it must be 0 or more"),
        (lambda: replace(SHED, full_load=0.0), "full_load = 0"),
        (lambda: cable("a", ""), "cable “a” to “”: a node has no name"),
        (lambda: cable("a", "b", splice_ohm=-0.1), "splice_ohm = -0.1"),
        (lambda: cable("a", "b", ampacity_a=0.0), "ampacity_a = 0"),
        (lambda: Lead(gauge=TWELVE, length_m=0.0), "a fixture's lead: length_m = 0"),
        (lambda: FixtureAt(node="a", zone="z", watts=0.0, lamp=Lamp.POWER), "fixture at “a”: watts = 0"),
        (lambda: lamp("a", rated_v=math.nan), "rated_v = nan"),
        (lambda: lamp("a", count=0), "count = 0"),
        (lambda: lamp("a", power_factor=1.2), "power_factor = 1.2; it is 1 at most"),
        (lambda: lamp("a", power_factor=0.0), "power_factor = 0"),
        (lambda: lamp("a", min_v=15.0, max_v=10.0), "15 to 10 V is no range"),
        (lambda: lamp("a", max_v=math.inf), "no range"),
    ],
)
def test_a_value_that_cannot_be_is_refused_and_quoted(make, words):
    """A figure that cannot be is refused with its name, its value and the place."""
    with pytest.raises(WiringError) as caught:
        make()
    assert words in str(caught.value)


def test_a_lamp_without_a_stated_range_has_the_usual_band():
    """A 12 V lamp that states no range may get 10.8 to 12.6 V, a 24 V lamp twice that; a plate prevails."""
    assert lamp("a").range_v == pytest.approx((10.8, 12.6))
    assert lamp("a", rated_v=24.0).range_v == pytest.approx((21.6, 25.2))
    assert lamp("a", min_v=9.0, max_v=15.0).range_v == (9.0, 15.0)


@pytest.mark.parametrize(
    ("cables", "lamps", "words"),
    [
        ([cable("shed", "a"), cable("a", "shed")], [], "a cable leads to the feed “shed”"),
        (
            [cable("r", "p"), cable("p", "q"), cable("q", "r"), cable("q", "tail")],
            [],
            "no cable from a feed leads to “r”, “p”, “q”, “tail”",
        ),
        (
            [cable("gate", "oak"), cable("oak", "elm")],
            [],
            "no cable from a feed leads to “gate”, “oak”, “elm”",
        ),
        ([cable("shed", "a")], [lamp("b")], "no cable from a feed leads to “b”"),
        (
            [cable("shed", "a"), cable("b", "c"), cable("x", "y"), cable("y", "x"), cable("shed", "a")],
            [lamp("nowhere")],
            "no cable from a feed leads to “b”, “c”, “x”, “y”, “nowhere”",
        ),
    ],
)
def test_what_hangs_on_no_feed_is_refused_by_its_nodes(cables, lamps, words):
    """Loose cables, rings that no feed reaches and lamps on no cable are refused, with all their nodes."""
    with pytest.raises(WiringError, match=words):
        Network(feed=SHED, segments=tuple(cables), fixtures=tuple(lamps))


@pytest.mark.parametrize(
    ("cables", "way"),
    [
        ([("shed", "a"), ("a", "b"), ("b", "c"), ("shed", "c")], ["c"]),
        ([("shed", "a"), ("shed", "a"), ("a", "b"), ("b", "c")], ["a", "b", "c"]),
        ([("c", "a"), ("b", "c"), ("a", "b"), ("shed", "a")], ["a", "b", "c"]),
    ],
)
def test_a_ring_is_walked_whole_and_its_nodes_have_a_way(cables, way):
    """Each cable of a ring is walked once, after one that feeds it; a way has the fewest cables."""
    network = Network(feed=SHED, segments=tuple(cable(*ends) for ends in cables), fixtures=(lamp("c"),))
    walked = network.walk()
    assert sorted((each.from_node, each.to_node) for each in walked) == sorted(cables)
    for place, each in enumerate(walked):
        assert each.from_node in {"shed", *(before.to_node for before in walked[:place])}
    assert [each.to_node for each in way_to(network, "c")] == way
    assert not network.is_tree


def test_two_feeds_take_the_cables_that_hang_on_them():
    """Cables and lamps are sorted to their feeds, whatever the order in which they were written."""
    cables = (cable("b", "c"), cable("shed", "a"), cable("barn", "b"))
    shed, barn = join((SHED, BARN), cables, (lamp("c"), lamp("a", zone="path"), lamp("barn")))
    assert [c.to_node for c in shed.segments] == ["a"]
    assert [c.to_node for c in barn.segments] == ["b", "c"]
    assert shed.zones == ("path",)
    assert [f.node for f in barn.fixtures] == ["c", "barn"]


def test_a_node_on_two_feeds_and_two_feeds_of_one_name_are_refused():
    """A node that two feeds reach is refused, and feeds must have names of their own."""
    cables = (cable("shed", "a"), cable("barn", "b"), cable("a", "c"), cable("b", "c"))
    with pytest.raises(WiringError, match="“c” would be fed by two feeds"):
        join((SHED, BARN), cables, ())
    with pytest.raises(WiringError, match="“shed” would be fed by two feeds"):
        join((SHED, SHED), (), ())


def test_only_the_lamps_of_lit_zones_remain():
    """Putting zones out keeps the cables and the lamps of the others."""
    network = Network(
        feed=SHED, segments=(cable("shed", "a"),), fixtures=(lamp("a"), lamp("a", zone="path"), lamp("a"))
    )
    assert network.zones == ("beds", "path")
    assert [fixture.zone for fixture in network.lit(["path"]).fixtures] == ["path"]
    assert network.lit(["path"]).segments == network.segments


def test_a_walk_goes_from_the_feed_outwards():
    """Cables written in any order are walked so that each comes after the one that feeds it."""
    edges = [("c", "d"), ("shed", "a"), ("b", "c"), ("a", "b"), ("elsewhere", "e")]
    assert [each.to_node for each in walk("shed", [cable(*edge) for edge in edges])] == ["a", "b", "c", "d"]


def test_a_long_chain_is_walked_without_recursion():
    """Ten thousand cables in line are walked and checked; nothing depends on their depth."""
    cables = tuple(cable(f"n{place}", f"n{place + 1}") for place in range(10_000))
    feed = Feed(node="n0", transformer="shed", rated_va=150.0, source_v=12.0)
    assert Network(feed=feed, segments=cables, fixtures=(lamp("n10000"),)).walk() == cables
