"""Measured: readings beside computed volts and watts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.diagnosis.faults import MeasuredVolts
from controller.inspection.measurements import METER_V, compare_volts, compare_watts
from controller.wiring.network import Lamp
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
    assert all(difference.warm_v <= difference.cool_v for difference in found.differences)


def test_a_reading_agrees_up_to_the_meters_tolerance():
    """A reading 0.14 V below the warm volts agrees; 0.16 V below is beyond by 0.01 V."""
    warm_v = solve(replace(LINE, temperature_c=75.0)).lamps[9].volts
    assert compare_volts(LINE, [MeasuredVolts(fixture=9, volts=warm_v - METER_V + 0.01)]).agrees
    beyond = compare_volts(LINE, [MeasuredVolts(fixture=9, volts=warm_v - METER_V - 0.01)])
    assert not beyond.agrees
    assert beyond.differences[0].beyond_v == pytest.approx(-0.01)


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
