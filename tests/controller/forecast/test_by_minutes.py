"""A simulated year worked out a second time by brute force, minute by minute, sharing no code with the first.

The sun is Meeus' low-accuracy one (Astronomical Algorithms, chapter 25), local time is pandas', and every
minute of the year asks for itself what is lit, in what light, at what price.
"""

from datetime import date, time
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from config.models.tariff import PriceBand, PriceChange, Tariff
from config.program.special_nights import parse_nights
from controller.energy.values import J_PER_KWH, Losses
from controller.forecast.forecast import look_ahead
from tests.controller.gardens import garden, plan_of, zone

LATITUDE, LONGITUDE, TIME_ZONE = 40.0, -75.0, "America/New_York"
WATTS = {"house": 90, "jetty": 48, "gate": 15}
# Seconds by which two suns may differ at one edge of darkness: 6 s of ours, 3.4 s of Meeus' at 30 to 50 N.
EDGE_S = 10


def meeus_height_deg(at: pd.DatetimeIndex) -> np.ndarray:
    days = (at - pd.Timestamp("2000-01-01T12:00Z")) / pd.Timedelta(days=1)
    days = days.to_numpy()
    t = days / 36525
    mean_longitude = 280.46646 + 36000.76983 * t + 0.0003032 * t**2
    anomaly = np.radians(357.52911 + 35999.05029 * t - 0.0001537 * t**2)
    centre = (
        (1.914602 - 0.004817 * t) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    node = np.radians(125.04 - 1934.136 * t)
    longitude = np.radians(mean_longitude + centre - 0.00569 - 0.00478 * np.sin(node))
    tilt = np.radians(23.4392911 - 0.0130042 * t + 0.00256 * np.cos(node))
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(tilt) * np.sin(longitude))
    sidereal = np.radians(280.46061837 + 360.98564736629 * days + LONGITUDE)
    latitude = np.radians(LATITUDE)
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
        sidereal - ascension
    )
    return np.degrees(np.arcsin(height))


def by_minutes() -> pd.DataFrame:
    """One row a minute of the nights of 2027: wall clock, night, how much of it is dark, what is lit."""
    at = pd.date_range("2027-01-01T17:00Z", "2028-01-01T17:00Z", freq="min")
    below = -6.0 - meeus_height_deg(at)
    first, second = below[:-1], below[1:]
    crossing = np.abs(first) / np.maximum(np.abs(first) + np.abs(second), 1e-12)
    dark = np.where(first > 0, np.where(second > 0, 1.0, crossing), np.where(second > 0, 1.0 - crossing, 0.0))
    wall = at[:-1].tz_convert(TIME_ZONE).tz_localize(None)
    shifted = wall - pd.Timedelta(hours=12)
    table = pd.DataFrame(
        {
            "wall": wall,
            "night": shifted.normalize(),
            "minute": shifted.hour * 60 + shifted.minute,  # of the night: 0 is noon, 720 midnight
            "dark": dark,
        }
    )

    def over(minute: int) -> pd.Series:
        # Over from the first time the clock shows it, also where it shows it twice.
        return (table["minute"] >= minute).groupby(table["night"]).cummax()

    weekend = table["night"].dt.day_of_week.isin([4, 5])
    evening_over = over(720).where(~weekend, over(810))
    table["house"] = table["dark"] * ~evening_over
    table["jetty"] = ((table["minute"] >= 8 * 60 + 15) & ~over(11 * 60 + 45)).astype(float)
    table["gate"] = table["dark"] * over(17 * 60 + 30)
    return table


def money(table: pd.DataFrame) -> pd.Series:
    wall = table["wall"]
    peak = (wall.dt.day_of_week < 5) & (wall.dt.hour >= 16) & (wall.dt.hour < 21)
    price = np.where(peak, 0.30, 0.12)
    return pd.Series(np.where((wall >= "2027-07-01") & ~peak, 0.14, price), index=table.index)


@pytest.fixture(scope="module")
def minutes() -> pd.DataFrame:
    return by_minutes()


@pytest.fixture(scope="module")
def year():
    peak = PriceBand(
        per_kwh=Decimal("0.30"),
        begins=time(16),
        ends=time(21),
        days=parse_nights("Mon, Tue, Wed, Thu, Fri"),
        name="peak",
    )
    tariff = Tariff(
        currency="USD",
        per_kwh=Decimal("0.12"),
        bands=(peak,),
        changes=(PriceChange(per_kwh=Decimal("0.14"), since=date(2027, 7, 1), bands=(peak,)),),
    )
    losses = Losses(transformer="shed", no_load_w=Decimal(6), copper_w=Decimal(9), rated_va=Decimal(150))
    here = garden(LATITUDE, LONGITUDE, TIME_ZONE, WATTS, losses=losses, tariff=tariff)
    plan = plan_of(
        here,
        zone("house", "dusk to midnight", special=[("Fri, Sat", "dusk to 01:30")]),
        zone("jetty", "20:15 to 23:45"),
        zone("gate", "05:30 to dawn"),
    )
    return look_ahead(here, date(2027, 1, 1), plan)


@pytest.mark.parametrize(("name", "edges"), [("house", 1), ("jetty", 0), ("gate", 1)])
def test_hours_by_month(year, minutes, name, edges):
    """Every month's hours are the same; those between two clock times to the very minute."""
    counted = minutes.groupby(minutes["night"].dt.month)[name].sum() * 60
    for row in (row for row in year.months if row.zone == name):
        slack_s = edges * EDGE_S * row.month.nights
        assert row.lit_ms / 1000 == pytest.approx(counted[row.month.first.month], abs=slack_s or 1e-6)


def test_hours_in_daylight(year, minutes):
    """The summer evenings that a fixed clock lights before dusk come out the same."""
    counted = (minutes["jetty"] * (1 - minutes["dark"])).groupby(minutes["night"].dt.month).sum() * 60
    rows = {row.month.first.month: row.daylight_ms / 1000 for row in year.months if row.zone == "jetty"}
    assert rows[6] > 3600
    for month, seconds in rows.items():
        assert seconds == pytest.approx(counted[month], abs=31 * EDGE_S)


def test_energy_and_money_at_the_meter(year, minutes):
    """Two losses, sets of zones lit together and a tariff of bands give the same energy and bill."""
    load_w = sum(minutes[name] * watts for name, watts in WATTS.items())
    meter_w = load_w + 6 + 9 * (load_w / 150) ** 2
    kwh = float(meter_w.sum()) / 60 / 1000
    bill = float((meter_w * money(minutes)).sum()) / 60 / 1000
    slack_kwh = 365 * 2 * EDGE_S * 110 / 3.6e6
    assert float(year.total().energy.meter_j / J_PER_KWH) == pytest.approx(kwh, abs=slack_kwh)
    assert float(year.total().energy.cost) == pytest.approx(bill, abs=slack_kwh * 0.3)
    assert slack_kwh < kwh * 0.001


def test_the_change_nights_are_in_it(minutes):
    """The count itself has a night of 23 and one of 25 hours, or it would prove nothing about them."""
    lengths = minutes.groupby("night").size()
    assert sorted(lengths.unique()) == [23 * 60, 24 * 60, 25 * 60]
