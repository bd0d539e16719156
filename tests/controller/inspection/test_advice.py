"""Advice: what it offers does, breaks nothing, and is ordered by the copper that it takes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from config.errors import Severity
from controller.inspection.advice import advise
from controller.inspection.changes import ChangeKind
from controller.inspection.checks import inspect
from controller.inspection.findings import Topic
from controller.wiring.network import Lamp, Limits
from tests.controller.networks import EVENLY_FT, chain, random_networks, read_reference
from tests.controller.nodal import NodalEquations

TABLE = read_reference("twelve_gauge.json")
TAPS_V = (12.0, 13.0, 14.0, 15.0)
LED = {"lamp": Lamp.POWER, "min_v": 10.0, "max_v": 15.0}


def test_no_error_needs_no_advice():
    """Where no finding is an error nothing is proposed, even where one is a warning."""
    network = chain(at_ft=EVENLY_FT, watts=5.0)
    assert inspect([network]).level is Severity.WARNING
    assert advise([network], taps_v=TAPS_V) == ()


def test_regulated_leds_get_a_higher_tap_first():
    """LEDs rated from 10 V that get 9.32 V at the far end are first offered the 13 V tap: 10.62 V there."""
    network = chain(at_ft=EVENLY_FT, rated_va=300.0, **LED)
    first = advise([network], taps_v=TAPS_V)[0]
    assert first.change.kind is ChangeKind.TAP
    assert first.change.copper_kg == 0.0
    assert first.worst.fixture.node == "n10"
    printed = TABLE["far_lamp_v"]["ten lamps evenly, constant power"]["13"][0]
    assert round(first.worst.volts, 2) == printed
    assert first.change.words == "use the 13 V tap instead of 12 V"
    assert first.warnings == first.remains == ()


def test_where_a_tap_does_no_cable_is_bought_for_another_tap():
    """Beside a tap that does alone, only changes that keep the present tap are offered."""
    network = chain(at_ft=EVENLY_FT, rated_va=300.0, **LED)
    dearer = [p.change for p in advise([network], taps_v=TAPS_V) if p.change.copper_kg > 0.0]
    assert dearer
    assert all(change.tap_v is None for change in dearer)


def test_filament_lamps_get_no_tap_that_burns_the_near_ones():
    """For filament lamps at 10.00 to 11.6 V no tap does: 13 V gives the near lamp more than 12.6 V."""
    proposals = advise([chain(at_ft=EVENLY_FT, rated_va=200.0)], taps_v=TAPS_V)
    assert {p.change.kind for p in proposals} == {ChangeKind.CABLE, ChangeKind.FEED, ChangeKind.RUN}
    for proposal in proposals:
        volts = [v for one in proposal.inspection.solved for v in one.most_v]
        assert max(volts) <= 12.6


def test_too_many_volts_are_cured_by_a_lower_tap():
    """From 15 V short cables give filament lamps too much; the 12 V tap does."""
    first = advise([chain(source_v=15.0, at_ft=(10.0, 20.0), watts=5.0)], taps_v=TAPS_V)[0]
    assert (first.change.kind, first.change.tap_v) == (ChangeKind.TAP, 12.0)


def test_an_end_load_beyond_every_gauge_gets_no_cable():
    """120 W at the end of 100 ft within 5 % is beyond 6 AWG (8.2 % by the table): no cable is proposed."""
    network = chain(watts=120.0, lamp=Lamp.CURRENT)
    assert TABLE["six_awg_percent_for_120_w_over_100_ft"]["end"] > 5
    assert advise([network], limits=Limits(drop_percent=5.0)) == ()


def test_the_sites_own_drop_is_kept():
    """With 5 % asked for, every proposal for the even spread keeps it, by a solution of its own."""
    limits = Limits(drop_percent=5.0)
    proposals = advise([chain(at_ft=EVENLY_FT, lamp=Lamp.CURRENT, rated_va=200.0)], limits=limits)
    assert proposals
    for proposal in proposals:
        for network in proposal.change.networks:
            assert NodalEquations(network).solve().min() >= 0.95 * 12.0 - 1e-6


def test_a_circuit_over_25_amperes_is_parted_over_two_taps():
    """330 W at 12 V are 27.5 A; part of the lamps goes to another tap, so that no circuit has over 25 A."""
    network = chain(at_ft=range(2, 24, 2), watts=30.0, gauge="6 AWG", rated_va=600.0, **LED)
    assert [v.topic for v in inspect([network]).errors()] == [Topic.CIRCUIT]
    proposals = advise([network], taps_v=(12.0, 12.5))
    assert proposals
    for proposal in proposals:
        amperes = [v.value for v in proposal.inspection.findings if v.topic is Topic.CIRCUIT]
        assert len(amperes) == 2
        assert max(amperes) <= 25.0


def test_a_branch_of_its_own_is_moved_without_buying_cable():
    """Where two branches leave the tap and together draw 27.5 A, one of them is moved to another tap."""
    first = chain(at_ft=(5.0,), watts=165.0, gauge="8 AWG", rated_va=600.0, **LED)
    cables = (*first.segments, replace(first.segments[0], to_node="m1"))
    lamps = (*first.fixtures, replace(first.fixtures[0], node="m1"))
    network = replace(first, segments=cables, fixtures=lamps)
    best = advise([network], taps_v=(12.0, 13.0))[0]
    assert best.change.buys == ()
    assert best.change.words == "move the cable to “n1” to the 13 V tap"


def test_errors_that_stay_elsewhere_are_named():
    """An overload of the transformer that no cable cures is named with the proposal as an error left."""
    network = chain(at_ft=EVENLY_FT, rated_va=100.0, **LED)
    proposals = advise([network], taps_v=TAPS_V)
    assert proposals
    for proposal in proposals:
        assert [v.topic for v in proposal.remains] == [Topic.TRANSFORMER]
        assert proposal.remains[0].words.startswith("“shed”: ")


def test_no_proposal_overloads_the_transformer_anew():
    """Brighter lamps take more; what would pass the transformer's rating, kept before, is not offered."""
    network = chain(at_ft=EVENLY_FT, rated_va=118.0)

    def load_va(inspection):
        return next(each.value for each in inspection.findings if each.topic is Topic.TRANSFORMER)

    assert load_va(inspect([network])) < 118.0
    ample = advise([replace(network, feed=replace(network.feed, rated_va=300.0))], taps_v=TAPS_V)
    assert any(load_va(proposal.inspection) > 118.0 for proposal in ample)
    tight = advise([network], taps_v=TAPS_V)
    assert tight
    assert all(load_va(proposal.inspection) <= 118.0 for proposal in tight)


def test_a_new_warning_is_named_and_stands_last():
    """Where brighter lamps pass the 80 % line of 150 VA, the proposal says so and comes after the others."""
    proposals = advise([chain(at_ft=EVENLY_FT, rated_va=150.0)], taps_v=TAPS_V)
    warns = [bool(proposal.warnings) for proposal in proposals]
    assert warns == sorted(warns)
    assert any(warns)
    assert not all(warns)
    assert proposals[-1].warnings[0].words.startswith("“shed”: ")
    assert "80 % line" in str(proposals[-1])


def test_only_the_feed_with_errors_of_two_is_changed():
    """Advice for one feed leaves the network of the other as it is."""
    bad = chain(at_ft=EVENLY_FT, rated_va=300.0)
    feed = replace(bad.feed, node="second", source_v=12.5)
    good = replace(
        bad, feed=feed, segments=(replace(bad.segments[0], from_node="second"),), fixtures=bad.fixtures[:1]
    )
    for proposal in advise([good, bad], taps_v=TAPS_V):
        assert proposal.inspection.solved[0].lit.network == good
        assert {network.feed.transformer for network in proposal.change.networks} == {"shed"}


def two_taps(*, moved_watts, standing_watts, standing_v=13.0):
    """Two branches on the 12 V tap, one of them of so many watts, and as many as given on another tap."""
    first = chain(at_ft=(5.0,), watts=165.0, gauge="6 AWG", rated_va=900.0, **LED)
    cables = (*first.segments, replace(first.segments[0], to_node="m1"))
    lamps = (*first.fixtures, replace(first.fixtures[0], node="m1", watts=moved_watts))
    standing = chain(at_ft=(5.0,), watts=standing_watts, gauge="6 AWG", rated_va=900.0, **LED)
    return [
        replace(first, segments=cables, fixtures=lamps),
        replace(
            standing,
            feed=replace(standing.feed, node="second", source_v=standing_v),
            segments=(replace(standing.segments[0], from_node="second", to_node="s1"),),
            fixtures=(replace(standing.fixtures[0], node="s1"),),
        ),
    ]


def test_a_tap_in_use_gets_no_more_than_a_circuit_may_carry():
    """165 W do not move beside 200 W on 13 V, for 365 W ÷ 13 V are 28.1 A; they move to a free tap."""
    networks = two_taps(moved_watts=165.0, standing_watts=200.0)
    assert [v.topic for v in inspect(networks).errors()] == [Topic.CIRCUIT]
    assert [p.change.words for p in advise(networks, taps_v=(12.0, 13.0))] == []
    with_a_free_tap = advise(networks, taps_v=(12.0, 13.0, 14.0))
    assert with_a_free_tap
    for proposal in with_a_free_tap:
        by_tap = {}
        for network in (one.lit.network for one in proposal.inspection.solved):
            watts = sum(fixture.watts * fixture.count for fixture in network.fixtures)
            by_tap[network.feed.source_v] = by_tap.get(network.feed.source_v, 0.0) + watts
        # Regulated LEDs take their watts at any volts, so W ÷ V is the least current of a tap.
        assert all(watts / tap_v < 25.0 for tap_v, watts in by_tap.items())


def test_a_branch_joins_the_circuit_of_a_tap_in_use():
    """Moved beside 50 W on 13 V, 165 W make one circuit there, and its amperes are those of both."""
    networks = two_taps(moved_watts=165.0, standing_watts=50.0)
    best = advise(networks, taps_v=(12.0, 13.0))[0]
    assert best.change.buys == ()
    circuits = {v.feed: v.value for v in best.inspection.findings if v.topic is Topic.CIRCUIT}
    assert set(circuits) == {"feed", "second"}
    assert circuits["second"] == pytest.approx(215.0 / 13.0, rel=0.02)  # W ÷ V, and a little for the cable


@settings(deadline=None, max_examples=25)
@given(random_networks(lamps=(Lamp.FILAMENT, Lamp.POWER, Lamp.RESISTANCE), most_nodes=20, most_watts=600.0))
def test_every_proposal_does_and_breaks_nothing(network):
    """Inspected afresh and solved by scipy, each proposal leaves no error and its worst lamp as it says."""
    before = inspect([network]).ranks()
    proposals = advise([network], taps_v=TAPS_V)
    copper = [(bool(p.warnings), p.change.copper_kg) for p in proposals]
    assert copper == sorted(copper)
    for proposal in proposals:
        after = inspect(proposal.change.networks)
        new_errors = [
            v for v in after.errors() if v.feed or before.get(("", v.topic), 0) < Severity.ERROR.rank
        ]
        assert new_errors == []
        parts = []
        for changed in proposal.change.networks:
            nodal = NodalEquations(changed)
            pair_v = nodal.solve()
            volts = [pair_v[nodal.at[first]] for first in nodal.first_lamp]
            parts += [v / f.rated_v for v, f in zip(volts, changed.fixtures, strict=True)]
        assert proposal.worst.volts / proposal.worst.fixture.rated_v == pytest.approx(min(parts), abs=1e-4)
