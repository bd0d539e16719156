"""Lamp light: the table of a 12 V filament lamp at 10.8 to 15 V."""

from __future__ import annotations

import pytest

from controller.lamps.physics import filament_life_h, filament_light
from tests.controller.networks import read_reference


def rows(*columns):
    return list(zip(*columns, strict=True))


TABLE = read_reference("twelve_gauge.json")["lamp_at_volts"]


@pytest.mark.parametrize("row", rows(TABLE["volts"], TABLE["light"]))
def test_light_follows_the_table(row):
    """Light by V^3.4 gives the table's figures to its three decimals."""
    volts, light = row
    assert round(filament_light(volts), 3) == light


@pytest.mark.parametrize("row", rows(TABLE["volts"], TABLE["life_exponent_13"]))
def test_life_follows_the_table(row):
    """Life by V^−13 gives the table's figures, to the digits that it prints."""
    volts, life = row
    assert round(filament_life_h(1.0, volts), 2 if life > 1.0 else 3) == life


@pytest.mark.parametrize("row", rows(TABLE["volts"], TABLE["life_exponents_12_to_16"]))
def test_the_range_of_life_follows_the_table(row):
    """The exponents 12 and 16 bound the life as in the table."""
    volts, lives = row
    for exponent, life in zip((12.0, 16.0), lives, strict=True):
        assert round(filament_life_h(1.0, volts, exponent=exponent), 2 if life > 1.0 else 3) == life
