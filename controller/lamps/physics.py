"""How lamps age: filament lamps by their volts, LED lamps by an exponential decay.

An LED lamp's rated life is L70, the hours until it gives 70 % of its first light, measured by LM-80 and
projected by TM-21. It is a statement about the LEDs, not about the driver in front of them. A filament lamp's
rated life holds at its rated volts; hours at different volts add up as parts of the life that they use.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import exp, log

# Fink and Beaty, Standard Handbook for Electrical Engineers, 11th edition, p. 22-8, as cited elsewhere: life
# goes with the volts to the power of -13 (-12 to -16). Outside ±10 % of the rated volts it only indicates.
FILAMENT_EXPONENT = 13.0
# The part of the first light at which an LED lamp counts as spent, by the definition of L70.
L70 = 0.7
# TM-21 projects at most six times as far as the test ran (IES Position Statement PS-10-18).
TM21_REACH = 6.0


def filament_life_h(
    rated_life_h: float, volts: float, rated_volts: float = 12.0, exponent: float = FILAMENT_EXPONENT
) -> float:
    """Give the average life of a filament lamp at some volts.

    Args:
        rated_life_h: hours at rated volts, more than zero.
        volts: volts at the lamp, more than zero.
        rated_volts: volts that the rating is for.
        exponent: of the voltage law, 12 to 16.

    Source: life = rated · (V / rated V)^-exponent, see ``FILAMENT_EXPONENT``; held against energy.json E6 by
    tests/controller/lamps/test_life.py.
    """
    return float(rated_life_h * (volts / rated_volts) ** -exponent)


def life_used(service: Iterable[tuple[float, float]]) -> float:
    """Add up parts of a life by linear damage.

    Args:
        service: pairs of hours lit and the hours that the lamp would live under those conditions.

    Returns:
        The part of the life used; 1 is spent. Held against energy.json E7 by ``test_life.py``.
    """
    return sum(lit_h / life_h for lit_h, life_h in service)


def light_left(lit_h: float, l70_h: float, first_light: float = 1.0) -> float:
    """Give the light that an LED lamp still gives, as a part of what it gave when new.

    Args:
        lit_h: hours lit since it was fitted.
        l70_h: hours to 70 % of the first light.
        first_light: B of TM-21, the light that the fitted curve starts from; about 1, more than 0.7.

    Source: TM-21, light = B·exp(-alpha·t) with alpha = ln(B/0.7)/L70; held against energy.json E8 by
    tests/controller/lamps/test_life.py.
    """
    return first_light * exp(-decay_per_h(l70_h, first_light) * lit_h)


def hours_to_light(part: float, l70_h: float, first_light: float = 1.0) -> float:
    """Give the hours after which an LED lamp gives only this part of its first light, such as 0.9 for L90."""
    return log(first_light / part) / decay_per_h(l70_h, first_light)


def decay_per_h(l70_h: float, first_light: float = 1.0) -> float:
    """Give alpha of TM-21, the decay per hour."""
    return log(first_light / L70) / l70_h


def projected_l70_h(l70_h: float, tested_h: float) -> float:
    """Limit a projected L70 to six times the hours of the test, as TM-21 does."""
    return min(l70_h, TM21_REACH * tested_h)
