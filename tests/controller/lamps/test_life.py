"""Lamp and relay life: the laws against worked figures, and the night on which a life ends."""

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.models.site import Fixture
from controller.calendar.intervals import MS_PER_HOUR
from controller.forecast.forecast import look_ahead
from controller.lamps.life import (
    HORIZON_YEARS,
    Lamps,
    ends_on,
    fittings,
    lamp_life,
    nights_again,
    relay_life,
)
from controller.lamps.physics import (
    decay_per_h,
    filament_life_h,
    light_left,
)
from controller.records.entries import Replacement
from controller.records.reading import Reading
from tests.controller.gardens import garden, plan_of, zone

ENERGY = json.loads((Path(__file__).parents[2] / "reference" / "energy.json").read_text())
YEAR_H = 1737.07  # dusk to midnight over a year at 40 N (season.csv)
FIRST = date(2027, 3, 1)


def led(**more) -> Lamps:
    volts = more.pop("volts", None)
    table = {"kind": "path", "count": 1, "watts": 5, "lamp": "led", "rated_life_h": 25_000} | more
    return Lamps(zone="jetty", number=1, fixture=Fixture.model_validate(table), volts=volts)


def filament(**more) -> Lamps:
    return led(**({"lamp": "filament", "rated_life_h": 1000} | more))


@pytest.mark.parametrize(("volts", "row"), ENERGY["E6"]["filament_1000h"].items())
def test_e6_a_filament_lamp_lives_by_its_volts(volts, row):
    """1000 h at 12 V become so many hours and years at other volts (energy.json E6)."""
    life_h = filament_life_h(1000, float(volts))
    assert round(life_h, 1) == row["life_h_exp13"]
    assert round(filament_life_h(1000, float(volts), exponent=12), 1) == row["life_h_exp12"]
    assert round(life_h / YEAR_H, 3) == row["years_exp13"]
    assert filament(volts=float(volts)).life_h == life_h


@pytest.mark.parametrize("l70_h", [25_000, 50_000])
def test_e6_an_led_lamp_lives_its_l70_whatever_its_volts(l70_h):
    """L70 hours at 1737.07 h a year are so many years (energy.json E6); the driver hides the volts."""
    lamps = led(rated_life_h=l70_h, volts=10.5)
    assert lamps.life_h == l70_h
    assert round(l70_h / YEAR_H, 3) == ENERGY["E6"][f"led_l70_{l70_h}h_years"]


def test_e8_an_led_lamp_fades_exponentially():
    """With L70 = 25 000 h, the light is that of TM-21's curve (energy.json E8)."""
    row = ENERGY["E8"]
    assert decay_per_h(25_000) == pytest.approx(row["alpha"], rel=1e-12)
    assert round(light_left(5000, 25_000), 5) == row["at_5000"]
    assert round(light_left(10_000, 25_000), 5) == row["at_10000"]
    assert light_left(25_000, 25_000, first_light=1.02) == pytest.approx(0.7)


def replaced(on: date, *, zone: str = "jetty", part: str = "1") -> Replacement:
    reading = Reading(utc=datetime(2027, 1, 1, tzinfo=UTC), boot_s=1.0, boot_id="b", trusted=True, trust="")
    return Replacement(zone=zone, part=part, on_date=on, at=reading)


def test_a_fixture_has_the_fittings_of_its_own_lamps():
    """The site file's date and the replacements of this fixture count, and those of no other."""
    old = led(fitted=date(2025, 4, 15))
    others = [replaced(date(2027, 1, 1), part="2"), replaced(date(2027, 1, 1), zone="gate")]
    assert fittings(old, others) == [date(2025, 4, 15)]
    assert fittings(old, [*others, replaced(date(2026, 5, 1))]) == [date(2025, 4, 15), date(2026, 5, 1)]
    later = led(fitted=date(2026, 9, 1))
    assert fittings(later, [replaced(date(2026, 5, 1))]) == [date(2026, 5, 1), date(2026, 9, 1)]
    assert fittings(led(), others) == []


def test_a_life_ends_on_the_night_that_uses_its_last_hour():
    """100 h left at 4 h a night end on the 25th night; past its life a lamp ends on the first."""
    life = lamp_life(filament(), 900, since=None, first_night=FIRST, lit_ms_on=lambda _: 4 * MS_PER_HOUR)
    assert (life.used, life.used_in_a_year, life.light) == (0.9, 1.46, None)
    assert life.replace_about == FIRST + timedelta(days=24)
    assert life.words == "replace about March 2027"
    spent = lamp_life(filament(), 1200, since=None, first_night=FIRST, lit_ms_on=lambda _: 0)
    assert (spent.replace_about, spent.words) == (FIRST, "past the rated life: replace")


def test_what_is_far_or_unknown_is_said():
    """Beyond thirty years, and without a rated life, no date is made up."""
    far = lamp_life(led(), 10, since=None, first_night=FIRST, lit_ms_on=lambda _: MS_PER_HOUR)
    assert (far.replace_about, far.words) == (None, f"lasts more than {HORIZON_YEARS} years at this rate")
    unknown = lamp_life(led(rated_life_h=None), 10, since=None, first_night=FIRST, lit_ms_on=lambda _: 1)
    assert (unknown.used, unknown.words) == (None, "no rated life is known")


def test_a_year_of_nights_comes_again():
    """Nights beyond the year repeat it by date; 29 February borrows from the 28th where the year had none."""
    again = nights_again(FIRST, list(range(365)))
    assert again(FIRST) == again(date(2031, 3, 1)) == 0
    assert again(date(2030, 2, 28)) == 364
    assert again(date(2028, 2, 29)) == 364
    leap = nights_again(date(2027, 6, 1), [7] * 366)
    assert leap(date(2032, 2, 29)) == 7


def test_a_year_that_comes_again_stands_for_the_years_to_come():
    """A lamp ends within 1 % of the time that fourteen years of plans give, festive weeks included."""
    here = garden(40, -75, "America/New_York", {"a": 60})
    festive = [("Fri, Sat", "dusk to 03:00"), ("12-20 to 01-06", "dusk to dawn")]
    plan = plan_of(here, zone("a", "dusk to 22:00", special=festive))
    nights = look_ahead(here, FIRST, plan, count=14 * 365).lit_ms_by_night("a")
    again = nights_again(FIRST, nights[:365])
    for life_h in (1000, 8000, 20_000):
        by_plans = ends_on(life_h * MS_PER_HOUR, FIRST, lambda night: nights[(night - FIRST).days])
        about = ends_on(life_h * MS_PER_HOUR, FIRST, again)
        assert abs((about - by_plans).days) <= 0.01 * (by_plans - FIRST).days


@given(st.integers(1, 10**9), st.lists(st.integers(0, 10**8), min_size=1, max_size=20))
def test_the_walk_stops_at_the_first_night_with_nothing_left(left, nights):
    """Up to the night before something is left; with that night's use nothing is."""
    use = [*nights, left]
    found = ends_on(left, FIRST, lambda night: use[(night - FIRST).days])
    number = (found - FIRST).days
    assert sum(use[:number]) < left <= sum(use[: number + 1])


def test_a_relay_counts_cycles():
    """Cycles used of those it endures, and the night on which the last is gone, if it is near."""
    new = relay_life("jetty", 0, first_night=FIRST, starts_on=lambda _: 2)
    assert (new.used, new.wears_out_about) == (0.0, None)
    old = relay_life("jetty", 99_990, first_night=FIRST, starts_on=lambda _: 2)
    assert (old.used, old.wears_out_about) == (0.9999, FIRST + timedelta(days=4))
