"""How well a fault explains the readings: its likelihood, over all temperatures and sizes that it may have.

A reading is off by the meter's noise. What the meter would show is taken to be straight in the copper's
temperature and in the fault's size, so that the integral over the size is Gauss's and that over the
temperature a sum. A size counts by how likely it is beforehand: a fault without one (a thinner gauge is one
of a few) that fits as well as a fault that had to be fitted is the likelier of the two (D. J. C. MacKay,
"Bayesian interpolation", Neural Computation 4(3), 1992; from memory).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from controller.diagnosis.predictions import COOLEST_C, WARMEST_C

METER_NOISE_V: Final = 0.05
"""Standard deviation of a reading with a hand meter (common practice, no source)."""

UNSEEN: Final = 0.5
"""A size that is known no better than this, in ohms or volts, changes no reading."""

STEPS: Final = 9
TEMPERATURES_C: Final = tuple(
    COOLEST_C + (WARMEST_C - COOLEST_C) * step / (STEPS - 1) for step in range(STEPS)
)

HOT_C: Final = (64.0, 70.0, 76.0)
RARE: Final = 0.2
"""Copper as hot as tables of cable are for is rare (common practice, no source), and only looked for where
nothing is wrong: together with a fault it would explain too much."""

Vector = Sequence[float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """How a fault fits.

    Attributes:
        log_evidence: logarithm of the likelihood of the readings, up to what all faults share.
        misfit: least sum of squares in units of the noise.
        size, copper_c: where it is least.
    """

    log_evidence: float
    misfit: float
    size: float
    copper_c: float


class Meter:
    """Sums over readings, weighed by their noise.

    Where volts that all readings depend on, those of the tap, were read with such a meter too, ``common`` is
    by how much each reading follows them. The weights are then the inverse of noise² (1 + c cᵀ), by the
    formula of Sherman and Morrison.
    """

    def __init__(self, noise_v: float, common: Vector = ()) -> None:
        self._weight, self._common = 1.0 / noise_v**2, common
        self._share = 1.0 / (1.0 + sum(each * each for each in common))

    def dot(self, left: Vector, right: Vector) -> float:
        """The product of two vectors of readings."""
        product = sum(a * b for a, b in zip(left, right, strict=True))
        if self._common:
            along = sum(a * c for a, c in zip(left, self._common, strict=True))
            product -= self._share * along * sum(b * c for b, c in zip(right, self._common, strict=True))
        return self._weight * product


def fit(
    meter: Meter,
    residuals: tuple[Vector, Vector],
    slope: tuple[Vector, Vector] | None = None,
    *,
    around: float = 0.0,
    log_prior: Callable[[float], float] | None = None,
    positive: bool = False,
    hot: bool = False,
) -> Fit | None:
    """Fit temperature and size; None where no reading depends on the size.

    Args:
        meter: how readings are weighed.
        residuals: measured less computed volts with the coolest copper and with the warmest.
        slope: change of the computed volts with the size, at both; None for a fault without a size.
        around: the size for which they are computed.
        log_prior: logarithm of the density of the size beforehand.
        positive: whether the size is above zero.
        hot: whether the copper may be hotter than it usually is.
    """
    cool, warm = residuals
    a, b, c = meter.dot(cool, cool), meter.dot(cool, warm), meter.dot(warm, warm)
    if slope is not None:
        first, last = slope
        p = (meter.dot(cool, first), meter.dot(cool, last) + meter.dot(warm, first), meter.dot(warm, last))
        q = (meter.dot(first, first), 2.0 * meter.dot(first, last), meter.dot(last, last))
        if min(q[0], q[2]) < 1.0 / UNSEEN**2:
            return None
    logs = []
    best = Fit(log_evidence=0.0, misfit=math.inf, size=around, copper_c=COOLEST_C)
    for copper_c in (*TEMPERATURES_C, *(HOT_C if hot else ())):
        t = (copper_c - COOLEST_C) / (WARMEST_C - COOLEST_C)
        s = 1.0 - t
        misfit, size, log_volume = s * s * a + 2.0 * s * t * b + t * t * c, around, 0.0
        if slope is not None:
            along = s * s * p[0] + s * t * p[1] + t * t * p[2]
            stiffness = s * s * q[0] + s * t * q[1] + t * t * q[2]
            size += along / stiffness
            misfit -= along * along / stiffness
            width = 1.0 / math.sqrt(stiffness)
            if positive:
                log_volume += math.log(max(0.5 * math.erfc(-size / width / math.sqrt(2.0)), 1e-300))
            if log_prior is not None:
                log_volume += log_prior(max(size, 0.0) if positive else size)
                log_volume += math.log(width * math.sqrt(2.0 * math.pi))
        logs.append(-0.5 * misfit + log_volume + (math.log(RARE) if copper_c > WARMEST_C else 0.0))
        if positive and size < 0.0:
            misfit, size = misfit + (size / width) ** 2, 0.0
        if misfit < best.misfit:
            best = Fit(log_evidence=0.0, misfit=misfit, size=size, copper_c=copper_c)
    return Fit(
        log_evidence=log_sum(logs) - math.log(STEPS),
        misfit=best.misfit,
        size=best.size,
        copper_c=best.copper_c,
    )


def log_sum(logs: Sequence[float]) -> float:
    """Logarithm of the sum of some numbers given by their logarithms."""
    most = max(logs)
    return most + math.log(sum(math.exp(each - most) for each in logs))
