"""How lamps age and how bright they are: filament lamps by their volts, LED lamps by an exponential decay.

An LED lamp's rated life is L70, the hours until it gives 70 % of its first light, measured by LM-80 and
projected by TM-21. It is a statement about the LEDs, not about the driver in front of them. A regulated LED
keeps its light and its power whatever its volts. A filament lamp's rated life and light hold at its rated
volts; outside ±10 % of them the laws here only indicate, and halogen lamps depart below.
"""

from math import exp, log
from typing import Final

# Fink and Beaty, Standard Handbook for Electrical Engineers, 11th edition, p. 22-8, as cited elsewhere: life
# goes with the volts to the power of -13 (-12 to -16), light with V^3.4 (3.4 to 3.5).
FILAMENT_EXPONENT: Final = 13.0
FILAMENT_LIGHT_EXPONENT: Final = 3.4
# The part of the first light at which an LED lamp counts as spent, by the definition of L70.
L70: Final = 0.7


def filament_life_h(
    rated_life_h: float, volts: float, rated_volts: float = 12.0, exponent: float = FILAMENT_EXPONENT
) -> float:
    """Give the average life of a filament lamp at some volts, both more than zero.

    Source: life = rated · (V / rated V)^-exponent, see ``FILAMENT_EXPONENT``; held against energy.json E6 by
    tests/controller/lamps/test_life.py.
    """
    return float(rated_life_h * (volts / rated_volts) ** -exponent)


def filament_light(volts: float, rated_v: float = 12.0) -> float:
    """Give the light of a filament lamp as a part of its rated light.

    Source: ``FILAMENT_LIGHT_EXPONENT``; held by tests/controller/lamps/test_physics.py.
    """
    return float((volts / rated_v) ** FILAMENT_LIGHT_EXPONENT)


def light_left(lit_h: float, l70_h: float, first_light: float = 1.0) -> float:
    """Give the light that an LED lamp still gives, as a part of what it gave when new.

    ``l70_h`` are the hours to 70 % of the first light; ``first_light`` is B of TM-21, the light that the
    fitted curve starts from: about 1, more than 0.7.

    Source: TM-21, light = B·exp(-alpha·t) with alpha = ln(B/0.7)/L70; held against energy.json E8 by
    tests/controller/lamps/test_life.py.
    """
    return first_light * exp(-decay_per_h(l70_h, first_light) * lit_h)


def decay_per_h(l70_h: float, first_light: float = 1.0) -> float:
    """Give alpha of TM-21, the decay per hour."""
    return log(first_light / L70) / l70_h
