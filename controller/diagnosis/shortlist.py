"""Of very many faults, those worth trying: at the places where a fault of any size could explain the most.

To first order a fault in a cable changes the readings along one direction, whatever its size, and so does one
of a lamp, whose own reading may then be anything. What that direction takes off the sum of squares, beside
the copper's temperature, is the most that any fault at the place can explain.
"""

from collections.abc import Sequence
from typing import Final

from controller.diagnosis.faults import Fault, WiringFault
from controller.diagnosis.predictions import LinearPredictions, Vector

MOST_PLACES: Final = 36
"""Places, lamps and sets of cables, at which faults are tried."""

_NOTHING: Final = 1e-12

MOST_LAMPS: Final = 12
"""Lamps that are looked for on other zones."""


def shortlist(
    linear: LinearPredictions, residuals: tuple[Vector, Vector], candidates: Sequence[Fault]
) -> list[Fault]:
    """Choose the faults that are worth trying.

    Args:
        linear: the networks.
        residuals: measured less computed volts with the coolest copper and with the warmest.
        candidates: all of them.
    """
    cool, warm = residuals
    warming = _Line([b - a for a, b in zip(cool, warm, strict=True)])
    left = warming.rest([0.5 * (a + b) for a, b in zip(cool, warm, strict=True)])
    own = {(each.circuit, each.fixture): at for at, each in enumerate(linear.readings)}
    cables: dict[tuple[int, int], Vector] = {}

    def cable(circuit: int, at: int) -> Vector:
        """Volts more at each reading for as many ohms more in a cable as it has."""
        if (circuit, at) not in cables:
            branch = linear.all_lit(circuit).branches[at]
            lost_v = branch.amperes * branch.ohm
            direction = linear.direction(circuit, branch.begin, branch.end)
            cables[circuit, at] = [lost_v * each for each in direction]
        return cables[circuit, at]

    def explained(fault: Fault) -> float:
        if fault.fixture is None:
            parts = [cable(fault.circuit, at) for at in fault.cables]
            return _Line(warming.rest([sum(each) for each in zip(*parts, strict=True)])).explains(left)
        node = linear.all_lit(fault.circuit).loads[fault.fixture].node
        direction = linear.direction(fault.circuit, node, None)
        at = own.get((fault.circuit, fault.fixture))
        if at is None:
            return _Line(warming.rest(direction)).explains(left)
        others = [*left[:at], *left[at + 1 :]]
        return _Line([*direction[:at], *direction[at + 1 :]]).explains(others) + left[at] ** 2

    everywhere = [each for each in candidates if not each.cables and each.fixture is None]
    places: dict[tuple[bool, int, tuple[int, ...], int | None], list[Fault]] = {}
    for each in candidates:
        if each.cables or each.fixture is not None:
            moved = each.kind is WiringFault.ZONE
            places.setdefault((moved, each.circuit, each.cables, each.fixture), []).append(each)
    ranked = sorted(places.values(), key=lambda faults: -explained(faults[0]))
    found, lamps = everywhere, 0
    for faults in ranked[:MOST_PLACES]:
        moved = faults[0].kind is WiringFault.ZONE
        lamps += moved
        if not moved or lamps <= MOST_LAMPS:
            found += faults
    return found


class _Line:
    """A direction among the readings."""

    def __init__(self, direction: Vector) -> None:
        self._direction = direction
        self._square = sum(each * each for each in direction)

    def _along(self, vector: Vector) -> float:
        return sum(a * b for a, b in zip(vector, self._direction, strict=True))

    def rest(self, vector: Vector) -> Vector:
        """What of a vector does not lie along it."""
        if self._square < _NOTHING:
            return vector
        share = self._along(vector) / self._square
        return [a - share * b for a, b in zip(vector, self._direction, strict=True)]

    def explains(self, vector: Vector) -> float:
        """What it takes off a vector's sum of squares."""
        return self._along(vector) ** 2 / self._square if self._square > _NOTHING else 0.0
