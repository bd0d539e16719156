"""The search for the fault behind some readings: all are tried by the linear network, the best solved."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from controller.diagnosis.candidates import (
    MOST_OHM,
    PRIOR,
    list_candidates,
    splice_prior,
    supply_prior,
    taps_of,
)
from controller.diagnosis.faults import Fault, MeasuredVolts, WiringFault
from controller.diagnosis.likelihood import METER_NOISE_V, Fit, Meter, fit
from controller.diagnosis.predictions import COOLEST_C, WARMEST_C, LinearPredictions, Predictions, Vector
from controller.diagnosis.shortlist import shortlist
from controller.wiring.network import Network

MOST_TRIED: Final = 400
"""Of more faults than this, only those at places where a fault could explain the most are tried."""

MOST_SOLVED: Final = 60
FEWEST_SOLVED: Final = 12
MOST_WORK: Final = 2500
"""So many of the faults that fit best by the linear network are solved, times the number of cables."""

FAR_BEHIND: Final = 12.0
"""A fault whose likelihood is e^12 times less than the best by the linear network is not solved."""

SCREENING_NOISE_V: Final = 0.1
SCREENING_PART: Final = 0.1
"""By the linear network a fault counts as if readings were this far off, and by a part of what it changes."""

STRAY_V: Final = 0.25
"""Standard deviation of what is read at a tap from the volts on its label (common practice, no source)."""

_SMALL_OHM: Final = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class Solved:
    """A fault that was solved, with its fit and the logarithm of its weight: prior times likelihood."""

    fault: Fault
    fit: Fit
    log_weight: float


def search(
    networks: Sequence[Network],
    readings: Sequence[MeasuredVolts],
    taps_v: Sequence[float],
    tap_readings: Mapping[int, float] | None = None,
) -> list[Solved]:
    """Weigh the faults of some networks by the readings, the likeliest first; none without a solution.

    Args:
        networks: as noted, those of one transformer.
        readings: at least one.
        taps_v: the volts of the transformer's taps.
        tap_readings: volts measured at the feeds with everything lit, by the place of their network.
    """
    read_v = tap_readings or {}
    held = [
        replace(each, feed=each.feed.held_at(read_v[at])) if at in read_v else each
        for at, each in enumerate(networks)
    ]
    predictions = Predictions(held, readings)
    cool, warm, linear = predictions.noted(COOLEST_C), predictions.noted(WARMEST_C), predictions.linear()
    volts = [each.volts for each in readings]
    if cool is None or warm is None or linear is None:
        return []
    residuals = _subtract(volts, cool), _subtract(volts, warm)
    common = linear.follow(read_v) if read_v else []
    meter = Meter(METER_NOISE_V, common)
    node_volts = [linear.all_lit(circuit).volts_by_node for circuit in range(len(networks))]
    priors = dict(list_candidates(held, readings, taps_v, node_volts, read_v))
    candidates = list(priors)
    if len(candidates) > MOST_TRIED:
        candidates = shortlist(linear, residuals, candidates)
    screened = []
    for fault in candidates:
        quick = _screen(linear, common, residuals, fault)
        if quick is not None:
            screened.append((quick.log_evidence + math.log(priors[fault]), fault, quick.size))
    screened.sort(key=lambda each: -each[0])
    cables = sum(len(each.segments) for each in networks)
    count = max(FEWEST_SOLVED, min(MOST_SOLVED, MOST_WORK // max(cables, 1)))
    least = screened[0][0] - FAR_BEHIND if screened else 0.0
    tried = [(fault, size) for log_weight, fault, size in screened[:count] if log_weight >= least]
    # What is open has no answer by the linear network, and what is not is always to be compared with.
    tried += [(each, 0.0) for each in candidates if each.kind in {WiringFault.NONE, WiringFault.OPEN}]
    found = []
    for fault, size in dict(tried).items():
        exact = _solve(predictions, meter, volts, fault, size)
        if exact is not None:
            log_weight = exact.log_evidence + math.log(priors[fault])
            found.append(Solved(fault=fault, fit=exact, log_weight=log_weight))
    found += _other_taps(networks, found, taps_v, read_v)
    return sorted(found, key=lambda each: -each.log_weight)


def _other_taps(
    networks: Sequence[Network], found: Sequence[Solved], taps_v: Sequence[float], read_v: Mapping[int, float]
) -> Iterator[Solved]:
    """Where the volts of a tap were read, whether they are nearer to those of another one."""
    nothing = next((each for each in found if each.fault.kind is WiringFault.NONE), None)
    if nothing is None:
        return
    for circuit, volts in read_v.items():
        noted_v = networks[circuit].feed.source_v
        for tap_v in taps_of(taps_v):
            if tap_v != noted_v:
                nearer = 0.5 * ((volts - noted_v) ** 2 - (volts - tap_v) ** 2) / STRAY_V**2
                log_prior = math.log(PRIOR[WiringFault.TAP] / PRIOR[WiringFault.NONE])
                yield Solved(
                    fault=Fault(kind=WiringFault.TAP, circuit=circuit, tap_v=tap_v),
                    fit=nothing.fit,
                    log_weight=nothing.log_weight + nearer + log_prior,
                )


def _subtract(left: Sequence[float], right: Sequence[float]) -> Vector:
    return [a - b for a, b in zip(left, right, strict=True)]


def _screen(
    linear: LinearPredictions, common: Vector, residuals: tuple[Vector, Vector], fault: Fault
) -> Fit | None:
    """Fit one fault by the linear network; None where it changes nothing, or the volts collapse."""
    cool, warm = residuals
    if not fault.sized:
        effect = linear.effect(fault, 0.0)
        if effect is None:
            return None
        return fit(_coarse(effect, common), (_subtract(cool, effect), _subtract(warm, effect)))
    size, found = _SMALL_OHM, None
    # Each time at the size found before, as the answer bends with the size.
    for _ in range(3):
        effect = linear.effect(fault, size)
        if effect is None:
            return found
        slope = [each / size for each in effect]
        before, found = size, _fit_sized(_coarse(effect, common), residuals, (slope, slope), fault, 0.0)
        if found is None or not _SMALL_OHM < abs(found.size) < 2.0 * MOST_OHM:
            return found
        size = found.size
        if abs(size - before) < 0.05 * abs(size):
            return found
    return found


def _coarse(effect: Vector, common: Vector) -> Meter:
    return Meter(SCREENING_NOISE_V + SCREENING_PART * max(map(abs, effect)), common)


def _fit_sized(
    meter: Meter, residuals: tuple[Vector, Vector], slope: tuple[Vector, Vector], fault: Fault, around: float
) -> Fit | None:
    splice = fault.kind is WiringFault.SPLICE
    log_prior = splice_prior if splice else supply_prior
    return fit(meter, residuals, slope, around=around, log_prior=log_prior, positive=splice)


def _solve(predictions: Predictions, meter: Meter, volts: Vector, fault: Fault, size: float) -> Fit | None:
    """Fit one fault by solving the networks with it; None where they have no solution."""
    found = None
    # A fault with a size is solved twice, the second time at the size of the first.
    for _ in range(2 if fault.sized else 1):
        if fault.kind is WiringFault.SPLICE:
            size = max(size, _SMALL_OHM)
        cool, warm = (predictions.exact(fault, size, copper_c) for copper_c in (COOLEST_C, WARMEST_C))
        if cool is None or warm is None:
            return found
        residuals = _subtract(volts, cool), _subtract(volts, warm)
        if not fault.sized:
            return fit(meter, residuals, hot=fault.kind is WiringFault.NONE)
        step = 0.05 * abs(size) + 0.01
        cool_more, warm_more = (
            predictions.exact(fault, size + step, copper_c) for copper_c in (COOLEST_C, WARMEST_C)
        )
        if cool_more is None or warm_more is None:
            return found
        cool_slope, warm_slope = _subtract(cool_more, cool), _subtract(warm_more, warm)
        slope = [each / step for each in cool_slope], [each / step for each in warm_slope]
        before, found = size, _fit_sized(meter, residuals, slope, fault, size)
        if found is None or abs(found.size - before) < 0.1 * abs(before):
            return found
        size = found.size
    return found
