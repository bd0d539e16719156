"""Changes: changed networks have the cables that the words say, and lose no lamp."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models.cable_changes import LayGauge, LayRun, MoveToTap, Terminal
from config.models.cables import M_PER_FT, parse_gauge
from controller.inspection.changes import Purchase, carry_out, cost_of, say_changes
from controller.inspection.gauges import Prices
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
    [after] = carry_out([LINE], [LayGauge(table=None, ends=("n2",), gauge=TEN, length_m=10.0 * M_PER_FT)])
    assert laid(after)["n1", "n2"] == ("10 AWG", 10.0)
    assert laid(after)["n2", "n3"] == ("12 AWG", 10.0)


def run(network, node, *, tap_v=12.0, moved=False):
    way = way_to(network, node)
    return LayRun(
        table=None,
        node=node,
        cut_from=way[-1].from_node,
        instead_of=way[0].to_node if moved else "",
        gauge=TEN,
        length_m=sum(cable.length_m for cable in way),
        terminal=Terminal(tap_v=tap_v),
    )


def test_a_feed_at_the_middle_turns_the_cables_before_it_round():
    """A home run to n3 takes the cable to n1 away and feeds n2 and n1 backwards; n4 stays as it was."""
    change = run(LINE, "n3", moved=True)
    [network] = carry_out([LINE], [change])
    assert laid(network) == {
        ("feed", "n3"): ("10 AWG", 30.0),
        ("n3", "n2"): ("12 AWG", 10.0),
        ("n2", "n1"): ("12 AWG", 10.0),
        ("n3", "n4"): ("12 AWG", 10.0),
    }
    [purchase] = cost_of([LINE], [change], Prices()).buys
    assert purchase == Purchase(gauge=TEN, length_m=pytest.approx(30.0 * M_PER_FT))


def test_a_second_run_cuts_the_cable_into_its_node():
    """A second run to n3 leaves n1 and n2 on the old cable and n3 and n4 on the new one."""
    [network] = carry_out([LINE], [run(LINE, "n3")])
    assert laid(network) == {
        ("feed", "n1"): ("12 AWG", 10.0),
        ("n1", "n2"): ("12 AWG", 10.0),
        ("feed", "n3"): ("10 AWG", 30.0),
        ("n3", "n4"): ("12 AWG", 10.0),
    }


def test_a_trench_is_dug_once():
    """30 ft of run beside 20 ft of new cable in the same trench: 30 ft of trench and 50 ft of cable."""
    ends, twenty_m = ("n1", "n2"), 20.0 * M_PER_FT
    changes = [run(LINE, "n3"), LayGauge(table=None, ends=ends, gauge=TEN, length_m=twenty_m)]
    cost = cost_of([LINE], changes, Prices(copper_per_kg=10.0, trench_per_m=2.0))
    assert cost.trench_m == pytest.approx(30.0 * M_PER_FT)
    assert cost.buys == (Purchase(gauge=TEN, length_m=pytest.approx(50.0 * M_PER_FT)),)
    # 10 AWG has 5.2612 mm² by the NEC's table; copper 8.89 g/cm³.
    copper_kg = 2.0 * 5.2612 * 50.0 * M_PER_FT * 8.89 / 1000.0
    assert cost.total == pytest.approx(10.0 * copper_kg + 2.0 * 30.0 * M_PER_FT)


def test_a_run_from_another_tap_is_a_network_of_its_own():
    """From another tap the part behind the cut has its own feed, volts and lamps."""
    kept, moved = carry_out([LINE], [run(LINE, "n3", tap_v=14.0)])
    assert [fixture.node for fixture in kept.fixtures] == ["n1", "n2"]
    assert [fixture.node for fixture in moved.fixtures] == ["n3", "n4"]
    assert (kept.feed.source_v, moved.feed.source_v) == (12.0, 14.0)
    assert moved.feed.node == "shed, 14 V"
    assert moved.feed.transformer == kept.feed.transformer
    assert laid(moved)["shed, 14 V", "n3"] == ("10 AWG", 30.0)


def test_a_branch_moves_to_another_tap_with_its_cable():
    """A branch of its own at the feed is moved without any new cable."""
    split = carry_out([LINE], [run(LINE, "n3")])
    kept, moved = carry_out(split, [MoveToTap(table=None, node="n1", terminal=Terminal(tap_v=13.0))])
    assert set(laid(kept)) == {("feed", "n3"), ("n3", "n4")}
    assert laid(moved) == {("shed, 13 V", "n1"): ("12 AWG", 10.0), ("n1", "n2"): ("12 AWG", 10.0)}


def test_the_same_volts_on_another_common_are_a_circuit_of_their_own():
    """What moves to the second common of the same tap stands on a feed of that common."""
    split = carry_out([LINE], [run(LINE, "n3")])
    kept, moved = carry_out(
        split, [MoveToTap(table=None, node="n1", terminal=Terminal(tap_v=12.0, common=2))]
    )
    assert (kept.feed.common, moved.feed.common) == (1, 2)
    assert kept.feed.source_v == moved.feed.source_v


@settings(deadline=None)
@given(random_networks(most_nodes=30), st.data())
def test_no_change_loses_a_lamp_or_a_cable(network, data):
    """However a tree is rewired, it stays one with every lamp, and one cable comes for one taken away."""
    node = data.draw(st.sampled_from([cable.to_node for cable in network.segments]))
    changes = [run(network, node), run(network, node, tap_v=15.0)]
    if len(way_to(network, node)) > 1:
        changes.append(run(network, node, moved=True))
    for change in changes:
        after = carry_out([network], [change])
        assert sum((Counter(part.fixtures) for part in after), Counter()) == Counter(network.fixtures)
        ends = [cable.to_node for part in after for cable in part.segments]
        assert sorted(ends) == sorted(cable.to_node for cable in network.segments)


def test_what_moves_to_a_tap_in_use_joins_the_circuit_there():
    """A cable that is moved to a tap in use begins at its feed, which keeps its name and its own cables."""
    standing = Network(
        feed=Feed(node="other", transformer="shed", rated_va=150.0, source_v=13.0),
        segments=(replace(LINE.segments[0], from_node="other", to_node="m1"),),
        fixtures=(replace(LINE.fixtures[0], node="m1"),),
    )
    move = MoveToTap(table=None, node="n1", terminal=Terminal(tap_v=13.0))
    [joined] = carry_out([LINE, standing], [move])
    assert joined.feed == standing.feed
    assert ("other", "n1") in laid(joined)
    assert {fixture.node for fixture in joined.fixtures} == {"m1", "n1", "n2", "n3", "n4"}


def test_a_whole_tap_that_moves_is_said_in_one_clause():
    """Where every cable of a tap moves to another one, it is said once; else cable by cable."""
    split = carry_out([LINE], [run(LINE, "n3")])
    both = [MoveToTap(table=None, node=node, terminal=Terminal(tap_v=13.0)) for node in ("n1", "n3")]
    assert say_changes(split, both) == ("use the 13 V tap instead of 12 V",)
    assert say_changes(split, both[:1]) == ("move the cable to “n1” to the 13 V tap",)
