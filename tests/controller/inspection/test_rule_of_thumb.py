"""Rule of thumb: the table of the hand calculation, and where the rule and the calculation part."""

from __future__ import annotations

import pytest

from config.models.cables import M_PER_FT
from controller.inspection.checks import inspect
from controller.inspection.rule_of_thumb import check_rule_of_thumb
from controller.wiring.network import Lamp
from controller.wiring.solver import solve
from tests.controller.networks import EVENLY_FT, chain, read_reference

TABLE = read_reference("twelve_gauge.json")
HUNDRED_FT_M = 100.0 * M_PER_FT


ARRANGEMENTS = {"end": (1.0,), "ten lamps evenly": tuple(place / 10 for place in range(1, 11))}


def drop_percent(arrangement, watts, feet=100.0):
    """The drop to the far lamp in percent, every lamp taking the current of its rated watts."""
    at_ft = tuple(part * feet for part in ARRANGEMENTS[arrangement])
    network = chain(at_ft=at_ft, watts=watts / len(at_ft), lamp=Lamp.CURRENT)
    return 100.0 * (12.0 - solve(network).lamps[-1].volts) / 12.0


@pytest.mark.parametrize("percent", ["3", "5", "10"])
@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_what_12_gauge_carries_over_100_ft(arrangement, percent):
    """12 AWG carries 10.9, 18.2, 36.4 W over 100 ft at the end, 19.8, 33.1, 66.1 W evenly (the table)."""
    watts = TABLE["carried_w_over_100_ft"][arrangement][percent]
    # The table is rounded to 0.1 W; the drop is in proportion to the watts.
    assert drop_percent(arrangement, watts) / float(percent) == pytest.approx(1.0, abs=0.05 / watts)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_how_far_12_gauge_takes_120_w(arrangement):
    """120 W within 5 % of 12 V reach 15 ft at the end and 27.5 ft evenly spread, as the table says."""
    feet = TABLE["reach_ft_of_120_w_at_5_percent"][arrangement]
    assert drop_percent(arrangement, 120.0, feet) * feet / 5.0 == pytest.approx(feet, abs=0.25)


def test_the_hand_calculation_is_the_solver_with_fixed_currents():
    """Solved, as by hand, 120 W drop 3.96 V at the end (33 %) and 2.18 V evenly spread (18 %)."""
    by_hand = TABLE["by_hand"]
    for at_ft, watts, key in ((100,), 120.0, "end_loaded"), (EVENLY_FT, 12.0, "evenly"):
        drop_v = 12.0 - solve(chain(at_ft=at_ft, watts=watts, lamp=Lamp.CURRENT)).lamps[-1].volts
        assert round(drop_v, 2) == by_hand[f"{key}_drop_v"]
        assert round(100.0 * drop_v / 12.0) == by_hand[f"{key}_percent"]


def test_the_rule_is_kept_and_fails_for_120_w():
    """120 W over 100 ft of 12 AWG on 150 W keep the rule in full, and the far lamp gets 10.00 V: false."""
    (found,) = check_rule_of_thumb(inspect([chain(at_ft=EVENLY_FT)]))
    assert found.rule_kept
    assert not found.every_lamp_in_range
    assert found.farthest_m == pytest.approx(HUNDRED_FT_M)
    assert found.rated_part == pytest.approx(0.8)
    result = "not every lamp is inside its range; the lamp at “n10” gets 10.00 V, the fewest"
    assert found.words.endswith(f": kept; computed: {result}")


def test_the_rule_is_kept_and_right_for_a_light_load():
    """33 W spread over 100 ft of 12 AWG keep the rule, and every lamp is inside its range."""
    (found,) = check_rule_of_thumb(inspect([chain(at_ft=EVENLY_FT, watts=3.3)]))
    assert (found.rule_kept, found.every_lamp_in_range) == (True, True)


@pytest.mark.parametrize(
    "broken",
    [
        {"at_ft": (50.0, 101.0)},
        {"at_ft": (50.0,), "gauge": "14 AWG"},
        {"at_ft": (50.0,), "gauge": "2.5 mm2"},
        {"at_ft": (5.0,), "watts": 121.0},
    ],
)
def test_each_part_of_the_rule_counts(broken):
    """Farther than 100 ft, thinner than 12 AWG or loaded over 80 % of the rating does not keep the rule."""
    network = chain(**{"watts": 3.0, "lamp": Lamp.CURRENT, **broken})
    (found,) = check_rule_of_thumb(inspect([network]))
    assert not found.rule_kept
    assert "not kept" in found.words


def test_a_network_without_a_solution_is_said_so():
    """Where the lamps ask for more than the cables deliver, the rule stands beside that."""
    (found,) = check_rule_of_thumb(inspect([chain(watts=120.0, lamp=Lamp.POWER)]))
    assert (found.rule_kept, found.every_lamp_in_range) == (True, False)
    assert "90.91 W at most" in found.words
