"""How bright a filament lamp burns at its volts, and what it then takes.

Both laws hold near the rated volts. Outside ±10 % they only indicate, and halogen lamps depart below.
A regulated LED keeps its light and its power whatever its volts.
"""

from __future__ import annotations

from typing import Final

# Standard Handbook for Electrical Engineers, 11th edition, p. 22-8, as cited elsewhere: light by V^3.4
# (3.4 to 3.5), power by V^1.6. The current's exponent of 0.55 gives V^1.55: they close no better.
FILAMENT_LIGHT_EXPONENT: Final = 3.4
FILAMENT_POWER_EXPONENT: Final = 1.6


def filament_light(volts: float, rated_v: float = 12.0) -> float:
    """Light of a filament lamp as a part of its rated light.

    Args:
        volts: at the lamp, above zero.
        rated_v: volts at which it gives its rated light.

    Source: ``FILAMENT_LIGHT_EXPONENT``; held by tests/controller/lamps/test_light.py.
    """
    return float((volts / rated_v) ** FILAMENT_LIGHT_EXPONENT)


def filament_power(volts: float, rated_v: float = 12.0) -> float:
    """Power of a filament lamp as a part of its rated watts; see ``filament_light``."""
    return float((volts / rated_v) ** FILAMENT_POWER_EXPONENT)
