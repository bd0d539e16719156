"""What the wiring means for the account: cable losses by zone, and the volts of lamps."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from config.file.loader import parse_site
from controller.energy.values import Losses
from controller.history.energy_use import loads_drawn
from controller.history.site_facts import Supply
from controller.wiring.losses import cable_losses
from tests.controller.history.test_run_hours import SITES, run
from tests.reference import FOLDER
from tests.site_of_wiring import garden, line, piece, reference_site

REFERENCE = json.loads((FOLDER / "wiring.json").read_text("utf-8"))


def wired(text):
    """The wired garden of a site file."""
    return cable_losses(parse_site(text, "site.toml").site)


@pytest.mark.parametrize("lamp", ["power", "filament"])
@pytest.mark.parametrize("case", REFERENCE["cases"], ids=lambda case: case["id"])
def test_reference_networks_lose_and_give_what_ngspice_says(case, lamp):
    """The loss of each reference network, and the volts of its lamps, within 1 mW and 1 mV."""
    expected = case["same_network_other_load_models"][lamp]
    found = wired(reference_site(case, lamp))
    assert float(found.cable_w["all"]) == pytest.approx(expected["cable_loss_w"], abs=1e-3)
    volts = [found.volts["all", place] for place in range(1, len(case["lamps"]) + 1)]
    assert volts == pytest.approx(
        [expected["ngspice_pair_voltage"][each["node"]] for each in case["lamps"]], abs=1e-3
    )


def test_forty_eight_watts_of_led_draw_sixty_four():
    """energy.json E2: W6 behind a transformer of efficiency 0.90 takes 63.82192 W from the mains."""
    (case,) = [each for each in REFERENCE["cases"] if each["id"] == "W6"]
    found = wired(reference_site(case, "power"))
    losses = Losses(transformer="src", efficiency=Decimal("0.90"))
    assert float(losses.meter_w(48 + found.cable_w["all"])) == pytest.approx(63.82192, abs=0.002)


def test_a_zone_alone_is_what_counts_behind_the_transformer():
    """Two zones on one piece of cable lose four times as much together as alone; they are taken alone."""
    shared = piece("boathouse", "gate", "100 ft")
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 10\nlamp = "led"\ndriver = "linear"\nnode = "gate"'
    second = (
        f'[[zones]]\nid = "oak"\npin = 18\nprogram = ["dusk to midnight"]\n[[zones.fixtures]]\n{fixtures}\n'
    )
    alone = wired(garden(cables=shared, fixtures=fixtures, rest=second))
    # 10 W at 12 V through 100 ft of 12 AWG there and back: 0.396 ohm (W1 of wiring.json has the same cable).
    assert float(alone.cable_w["jetty"]) == pytest.approx((10 / 12) ** 2 * 0.396, rel=1e-3)
    assert alone.cable_w["oak"] == alone.cable_w["jetty"]
    together = wired(garden(cables=shared, fixtures=fixtures, rest=second, more='relay_side = "mains"'))
    assert float(together.cable_w["oak"]) == pytest.approx((20 / 12) ** 2 * 0.396 / 2, rel=1e-3)


def test_the_lamp_that_gets_most_is_the_one_that_counts():
    """Of the lights of one fixture along a line, the nearest gets the most volts."""
    fixtures = 'kind = "path"\ncount = 6\nwatts = 20\nlamp = "filament"'
    found = wired(garden(tap=14, cables=line("100 ft"), fixtures=fixtures))
    assert 12.5 < found.volts["jetty", 1] < 14


def test_measured_watts_have_their_cables_in_them():
    """Where somebody measured the zone, no loss is added to it."""
    found = wired(garden(cables=line(), zone="measured_watts = 30"))
    assert "jetty" not in found.cable_w


def test_without_cables_nothing_is_known():
    """No cable, no loss and no volts."""
    found = wired(garden())
    assert (found.cable_w, found.volts) == ({}, {})


def test_what_has_no_solution_loses_nothing():
    """A load that the cable cannot carry is left out here; the wiring says what is wrong."""
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 120\nnode = "end"'
    found = wired(garden(cables=piece("boathouse", "end", "100 ft"), fixtures=fixtures))
    assert (found.cable_w, found.volts) == ({}, {})


def test_a_loss_goes_with_the_square_of_the_load_of_its_time():
    """A run at twice the watts of today lost four times as much in the same cable."""
    begins, hour = datetime(2027, 6, 21, 21, tzinfo=UTC), timedelta(hours=1)
    runs = [run(begins, begins + hour, load_w=watts) for watts in (30.0, 15.0, None)]
    supply = Supply(losses=Losses(transformer="shed"), load_w=15.0, cable_w=Decimal(2))
    (now,) = SITES
    then = replace(now, facts=replace(now.facts, supplies={"jetty": supply}))
    draws = loads_drawn(runs, [then], as_of_utc=begins + hour)
    assert [draw.load.cable_w for draw in draws] == [8, 2, 2]


def test_lamps_of_a_zone_alone_stand_at_the_volts_of_a_light_load():
    """With 10 % regulation a zone of 27 VA on 200 VA has nearly 10 % more volts, and LEDs lose less."""
    text = garden(cables=line("20 ft"))
    risen = garden(cables=line("20 ft"), more="regulation_percent = 10")
    before, after = (cable_losses(parse_site(each, "site.toml").site) for each in (text, risen))
    assert 1.08 < after.volts["jetty", 1] / before.volts["jetty", 1] < 1.10
    assert after.cable_w["jetty"] < before.cable_w["jetty"]
