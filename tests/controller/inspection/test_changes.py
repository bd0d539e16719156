"""Changes: changed networks have the cables that the words say, and lose no lamp."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models.cables import M_PER_FT, parse_gauge
from controller.inspection.changes import (
    Purchase,
    attach,
    feed_at,
    move_branch,
    second_circuit,
    second_run,
    thicken,
)
from controller.wiring.network import Feed, Network, way_to
from tests.controller.networks import chain, random_networks

TEN = parse_gauge("10 AWG")
LINE = chain(at_ft=(10.0, 20.0, 30.0, 40.0))


def laid(network):
    return {
        (cable.from_node, cable.to_node): (str(cable.gauge), round(cable.length_m / M_PER_FT, 6))
        for cable in network.segments
    }


def test_the_copper_of_a_purchase_is_that_of_both_conductors():
    """100 m of 4 mm² two-conductor cable hold 7.11 kg of copper: 2 × 4 mm² × 100 m × 8.89 g/cm³."""
    assert Purchase(gauge=parse_gauge("4 mm2"), length_m=100.0).copper_kg == pytest.approx(7.112)


def test_the_way_to_a_node_leads_from_the_feed():
    """The way is the cables from the feed to the node in order, and empty for the feed itself."""
    assert [cable.to_node for cable in way_to(LINE, "n3")] == ["n1", "n2", "n3"]
    assert way_to(LINE, "feed") == ()


def test_thicker_cable_lies_where_it_was_asked_for():
    """Only the named cables change their gauge."""
    assert laid(thicken(LINE, {"n2": TEN}))["n1", "n2"] == ("10 AWG", 10.0)
    assert laid(thicken(LINE, {"n2": TEN}))["n2", "n3"] == ("12 AWG", 10.0)


def test_a_feed_at_the_middle_turns_the_cables_before_it_round():
    """A home run to n3 takes the cable to n1 away and feeds n2 and n1 backwards; n4 stays as it was."""
    network, purchase = feed_at(LINE, "n3", TEN)
    assert laid(network) == {
        ("feed", "n3"): ("10 AWG", 30.0),
        ("n3", "n2"): ("12 AWG", 10.0),
        ("n2", "n1"): ("12 AWG", 10.0),
        ("n3", "n4"): ("12 AWG", 10.0),
    }
    assert purchase == Purchase(gauge=TEN, length_m=pytest.approx(30.0 * M_PER_FT))


def test_a_second_run_cuts_the_cable_into_its_node():
    """A second run to n3 leaves n1 and n2 on the old cable and n3 and n4 on the new one."""
    network, purchase = second_run(LINE, "n3", TEN)
    assert laid(network) == {
        ("feed", "n1"): ("12 AWG", 10.0),
        ("n1", "n2"): ("12 AWG", 10.0),
        ("feed", "n3"): ("10 AWG", 30.0),
        ("n3", "n4"): ("12 AWG", 10.0),
    }
    assert purchase.length_m == pytest.approx(30.0 * M_PER_FT)


def test_a_second_circuit_is_a_network_of_its_own():
    """From another tap the part behind the cut has its own feed, volts and lamps."""
    (kept, moved), _ = second_circuit(LINE, "n3", TEN, 14.0)
    assert [fixture.node for fixture in kept.fixtures] == ["n1", "n2"]
    assert [fixture.node for fixture in moved.fixtures] == ["n3", "n4"]
    assert (kept.feed.source_v, moved.feed.source_v) == (12.0, 14.0)
    assert moved.feed.node == "feed, 14 V"
    assert moved.feed.transformer == kept.feed.transformer
    assert laid(moved)["feed, 14 V", "n3"] == ("10 AWG", 30.0)


def test_a_branch_moves_to_another_tap_with_its_cable():
    """A branch of its own at the feed is moved without any new cable."""
    split, _ = second_run(LINE, "n3", TEN)
    kept, moved = move_branch(split, "n1", 13.0)
    assert set(laid(kept)) == {("feed", "n3"), ("n3", "n4")}
    assert laid(moved) == {("feed, 13 V", "n1"): ("12 AWG", 10.0), ("n1", "n2"): ("12 AWG", 10.0)}


@settings(deadline=None)
@given(random_networks(most_nodes=30), st.data())
def test_no_change_loses_a_lamp_or_a_cable(network, data):
    """However a tree is rewired, it stays one with every lamp, and one cable comes for one taken away."""
    node = data.draw(st.sampled_from([cable.to_node for cable in network.segments]))
    way = way_to(network, node)
    changed = [second_run(network, node, TEN)[0]]
    if len(way) > 1:
        changed.append(feed_at(network, node, TEN)[0])
    for after in changed:
        assert Counter(after.fixtures) == Counter(network.fixtures)
        assert len(after.segments) == len(network.segments)
        assert {c.to_node for c in after.segments} == {c.to_node for c in network.segments}
    parts, _ = second_circuit(network, node, TEN, 15.0)
    assert sum((Counter(part.fixtures) for part in parts), Counter()) == Counter(network.fixtures)
    assert sum(len(part.segments) for part in parts) == len(network.segments)


def test_what_is_hung_on_another_tap_begins_there():
    """Cables and lamps at the old feed stand at the new one, and the tap that stands keeps its name."""
    old = replace(LINE, fixtures=(*LINE.fixtures, replace(LINE.fixtures[0], node="feed")))
    standing = Network(
        feed=Feed(node="other", transformer="shed", rated_va=150.0, source_v=13.0),
        segments=(replace(LINE.segments[0], from_node="other", to_node="m1"),),
        fixtures=(replace(LINE.fixtures[0], node="m1"),),
    )
    joined = attach(standing, old)
    assert joined.feed == standing.feed
    assert ("other", "n1") in laid(joined)
    assert len(joined.segments) == 5
    assert [f.node for f in joined.fixtures] == ["m1", "n1", "n2", "n3", "n4", "other"]
