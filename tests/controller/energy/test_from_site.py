"""From the site file to what the account needs."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from config.file.loader import example_path, load_site
from controller.energy.tariff import price_steps
from controller.energy.values import NAMELESS, losses_of
from controller.forecast.forecast import forecast_input
from controller.lamps.life import lamps_of
from controller.planning.planner import Planner
from tests.sites import site, zone


def property_site():
    """The example of a whole property."""
    return load_site(example_path("full-property")).site


def test_the_tariff_of_the_example_is_the_one_that_it_tells():
    """Prices at instants that the example itself decides: peak, off peak, winter, and after its change."""
    tariff = property_site().tariff
    tz = Planner(property_site()).tz

    def price(*local):
        at_utc = datetime(*local, tzinfo=tz).astimezone(UTC)
        return price_steps(tariff, at_utc, at_utc + timedelta(seconds=1), tz)[0].per_kwh

    assert price(2027, 7, 1, 17) == Decimal("0.41")  # a Thursday in summer
    assert price(2027, 7, 1, 21) == Decimal("0.29")
    assert price(2027, 7, 3, 17) == Decimal("0.29")  # a Saturday
    assert price(2027, 10, 1, 17) == Decimal("0.29")  # a Friday, the season over
    assert price(2027, 12, 31, 23, 59) == Decimal("0.29")
    assert price(2028, 1, 1, 0) == Decimal("0.31")
    assert price(2028, 7, 3, 17) == Decimal("0.44")  # a Monday


def test_every_condition_of_a_band_must_hold():
    """Days and season are conditions side by side, and clock times are kept."""
    (band,) = property_site().tariff.bands
    assert (band.name, band.begins, band.ends) == ("summer peak", time(16), time(21))
    assert band.holds(date(2027, 7, 1), time(17))
    assert not band.holds(date(2027, 7, 4), time(17))
    assert not band.holds(date(2027, 5, 31), time(17))


def test_losses_are_those_of_the_file():
    """Two losses, an efficiency, and the nameless transformer of which nobody knows anything."""
    here = property_site()
    losses = {each.transformer: each for each in (losses_of(here, zone) for zone in (*here.zones, None))}
    house, barn, nameless = losses["house"], losses["barn"], losses[NAMELESS]
    assert (house.no_load_w, house.copper_w, house.rated_va) == (Decimal(8), Decimal(14), Decimal(300))
    assert house.meter_w(Decimal(150)) == Decimal(150) + 8 + Decimal(14) / 4
    assert barn.meter_w(Decimal(88)) == Decimal(100)
    assert nameless.origin == "losses not known"
    assert not any(each.mains_side for each in losses.values())


def test_a_relay_on_the_mains_side_leaves_no_idle_loss():
    """Where the relay switches the mains, the dark transformer takes nothing."""
    shed = {"id": "shed", "rated_va": 200, "no_load_w": 6, "relay_side": "mains"}
    here = site(zone("jetty", transformer="shed"), transformers=[shed])
    losses = losses_of(here, here.zones[0])
    assert (losses.transformer, losses.no_load_w, losses.idle_w) == ("shed", 6, 0)


def test_a_zone_without_a_transformer_is_in_the_garden_too():
    """A site without a transformer has a garden all the same."""
    garden = forecast_input(Planner(site(zone("jetty", rated_watts=4.5))))
    (jetty,) = garden.zones
    assert (jetty.losses.transformer, jetty.load.lamps_w) == (NAMELESS, Decimal("4.5"))
    assert garden.tariff is None


def test_lamps_carry_their_volts_where_they_are_known():
    """Each fixture of each zone, counted from 1, with the volts that somebody worked out for it."""
    lamps = lamps_of(property_site(), {("terrace", 1): 11.4})
    places = [(lamp.zone, lamp.number) for lamp in lamps]
    assert places[:3] == [("front-path", 1), ("front-path", 2), ("facade", 1)]
    (terrace,) = [lamp for lamp in lamps if (lamp.zone, lamp.number) == ("terrace", 1)]
    assert terrace.volts == 11.4
    # energy.json E6: 1948 h at 11.4 V of 1000 h at 12 V, by the 13th power.
    assert round(terrace.life_h) == 1948
