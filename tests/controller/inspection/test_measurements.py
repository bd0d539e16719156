"""Measured: readings beside computed volts, and faults made on purpose that are found again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from config.models.cables import parse_gauge
from controller.inspection.changes import thicken
from controller.inspection.diagnosis import WiringFault
from controller.inspection.measurements import METER_V, MeasuredVolts, compare_volts, compare_watts
from controller.wiring.network import CableSegment, FixtureAt, Lamp
from controller.wiring.solver import solve
from tests.controller.networks import EVENLY_FT, chain
from tests.controller.nodal import NodalEquations

LINE = chain(source_v=13.0, at_ft=EVENLY_FT, temperature_c=25.0)


def read(network, fixtures=None):
    """Volts at the lamps as a meter shows them, from scipy's solution of what is really there."""
    nodal = NodalEquations(network)
    pair_v = nodal.solve()
    places = range(len(network.fixtures)) if fixtures is None else fixtures
    volts = [pair_v[nodal.at[nodal.first_lamp[at]]] for at in places]
    return [MeasuredVolts(fixture=at, volts=round(v, 2)) for at, v in zip(places, volts, strict=True)]


@pytest.mark.parametrize("temperature_c", [10.0, 25.0, 75.0])
def test_readings_of_the_cables_as_noted_agree(temperature_c):
    """Whatever the cable's temperature between 10 and 75 °C, readings of what was noted agree."""
    found = compare_volts(LINE, read(replace(LINE, temperature_c=temperature_c)))
    assert found.agrees
    assert found.explanations == ()
    assert all(difference.warm_v <= difference.cool_v for difference in found.differences)


def test_a_reading_agrees_up_to_the_meters_tolerance():
    """A reading 0.14 V below the warm volts agrees; 0.16 V below is beyond by 0.01 V."""
    warm_v = solve(replace(LINE, temperature_c=75.0)).lamps[9].volts
    assert compare_volts(LINE, [MeasuredVolts(fixture=9, volts=warm_v - METER_V + 0.01)]).agrees
    beyond = compare_volts(LINE, [MeasuredVolts(fixture=9, volts=warm_v - METER_V - 0.01)])
    assert not beyond.agrees
    assert beyond.differences[0].beyond_v == pytest.approx(-0.01)


def test_a_bad_splice_is_found_where_it_is():
    """0.12 ohm too many in the cable from n5 to n6 are found there, within 0.01 ohm."""
    really = replace(
        LINE,
        segments=tuple(replace(c, splice_ohm=0.12) if c.to_node == "n6" else c for c in LINE.segments),
    )
    best = compare_volts(LINE, read(really)).explanations[0]
    assert best.fault is WiringFault.SPLICE
    assert best.places == ("n5 to n6",)
    assert best.size == pytest.approx(0.12, abs=0.01)
    assert best.words == "a splice at “n5 to n6” may have 0.12 ohm too many: open it and make it anew"


def test_a_bad_splice_at_one_lamp_is_told_from_one_in_the_cable():
    """Half an ohm in front of the lamp at n4 alone is found at that lamp."""
    end = CableSegment(
        from_node="n4", to_node="x", gauge=parse_gauge("12 AWG"), length_m=0.01, splice_ohm=0.5
    )
    really = replace(
        LINE,
        segments=(*LINE.segments, end),
        fixtures=tuple(replace(f, node="x") if f.node == "n4" else f for f in LINE.fixtures),
    )
    best = compare_volts(LINE, read(really)).explanations[0]
    assert (best.fault, best.places) == (WiringFault.SPLICE, ("lamp at n4",))
    assert best.size == pytest.approx(0.5, abs=0.02)


def test_what_is_open_is_found_by_the_lights_that_get_nothing():
    """A cable cut between n6 and n7 leaves n7 to n10 at nothing, the others with more volts than noted."""
    lit = replace(LINE, segments=LINE.segments[:6], fixtures=LINE.fixtures[:6])
    nothing = [MeasuredVolts(fixture=at, volts=0.0) for at in range(6, 10)]
    [only] = compare_volts(LINE, [*read(lit), *nothing]).explanations
    assert (only.fault, only.places) == (WiringFault.OPEN, ("n6 to n7",))
    assert "nothing comes through “n6 to n7”" in only.words


def test_one_light_that_gets_nothing_has_a_splice_of_its_own_open():
    """Nothing at n4 alone, with light before and behind it, is at that lamp; at the end it may be either."""
    for dark, places in ((3, ("lamp at n4",)), (9, ("n9 to n10", "lamp at n10"))):
        lit = [place for place in range(10) if place != dark]
        really = replace(LINE, fixtures=tuple(LINE.fixtures[place] for place in lit))
        readings = [replace(one, fixture=lit[one.fixture]) for one in read(really)]
        best = compare_volts(LINE, [*readings, MeasuredVolts(fixture=dark, volts=0.0)]).explanations[0]
        assert (best.fault, best.places) == (WiringFault.OPEN, places)


def test_cable_of_another_gauge_is_found():
    """14 AWG in the ground where 12 AWG was noted is found as that."""
    really = thicken(LINE, {cable.to_node: parse_gauge("14 AWG") for cable in LINE.segments})
    best = compare_volts(LINE, read(really)).explanations[0]
    assert (best.fault, best.places) == (WiringFault.GAUGE, ("14 AWG",))
    assert "read what is printed on it" in best.words


def test_a_lamp_that_is_out_is_found_by_the_volts_of_the_others():
    """A 50 W lamp that is out at the end raises the volts of all; the lamp of that size is named."""
    big = FixtureAt(node="n10", zone="all", watts=50.0, lamp=Lamp.FILAMENT)
    noted = replace(LINE, fixtures=(*LINE.fixtures, big))
    best = compare_volts(noted, read(LINE, range(10))).explanations[0]
    assert (best.fault, best.size) == (WiringFault.LAMP_OUT, 50.0)
    assert "n10" in best.places


def test_other_volts_at_the_tap_are_found_unless_they_were_measured():
    """A tap of 12.2 V noted as 13 V is found within 0.02 V; where it was measured, it explains nothing."""
    really = replace(LINE, feed=replace(LINE.feed, source_v=12.2))
    best = compare_volts(LINE, read(really)).explanations[0]
    assert best.fault is WiringFault.TAP
    assert best.size == pytest.approx(12.2, abs=0.02)
    measured = compare_volts(LINE, read(really), tap_measured=True)
    assert WiringFault.TAP not in [explanation.fault for explanation in measured.explanations]


def test_readings_that_no_single_fault_explains_are_only_shown():
    """Readings up and down at random differ, and nothing is suggested."""
    readings = [MeasuredVolts(fixture=at, volts=12.0 + (2.0 if at % 2 else -2.0)) for at in range(10)]
    found = compare_volts(LINE, readings)
    assert not found.agrees
    assert found.explanations == ()


def test_a_network_without_a_solution_has_nothing_to_compare_with():
    """Where the lamps ask for more than the cables deliver there is no comparison."""
    network = chain(watts=120.0, lamp=Lamp.POWER)
    assert compare_volts(network, [MeasuredVolts(fixture=0, volts=9.0)]) is None


@pytest.mark.parametrize(
    ("measured_w", "agrees", "words"),
    [
        (37.0, True, "they agree"),
        (44.0, True, "they agree"),
        (32.0, False, "2 of its 10 lamps of 4 W may be out"),
        (35.4, False, "1 of its 10 lamps of 4 W may be out"),
        (0.0, False, "all 10 lamps of 4 W may be out"),
        (50.0, False, "more or larger lamps than noted"),
    ],
)
def test_watts_agree_within_a_tenth(measured_w, agrees, words):
    """A zone of ten 4 W lamps agrees within 10 %; below it the number of lamps that may be out is named."""
    found = compare_watts("beds", measured_w, 40.0, {4.0: 10})
    assert found.agrees is agrees
    assert words in found.words


@pytest.mark.parametrize(
    ("measured_w", "words"),
    [
        (40.0, "the lamp of 20 W may be out"),
        (44.0, "2 of its 5 lamps of 8 W may be out"),
        (20.0, "all 5 lamps of 8 W may be out"),
    ],
)
def test_no_more_lamps_are_out_than_are_fitted(measured_w, words):
    """Of one lamp of 20 W and five of 8 W, 40 W that lack are the five, never two of the one."""
    assert words in compare_watts("beds", measured_w, 60.0, {20.0: 1, 8.0: 5}).words


def test_watts_that_no_lamps_of_one_kind_make_up_say_so():
    """40 W lack where only one lamp of 5 W and one of 50 W are fitted: no number is made up."""
    words = compare_watts("beds", 25.0, 65.0, {5.0: 1, 50.0: 1}).words
    assert "40.0 W lack, which no lamps of one kind make up" in words
