"""Single faults of a network that would explain readings: each fitted and solved.

Tried are one lamp that is out, a splice with too many ohms in any cable or at any lamp, one that is open,
another gauge than noted, and other volts at the tap.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from typing import Final, NamedTuple

from config.models.cables import parse_gauge
from controller.inspection.rewiring import thicken
from controller.wiring.cable import same_kind
from controller.wiring.network import CableSegment, FixtureAt, Lamp, Network, way_to
from controller.wiring.solver import Solution, solve

LIKELY_C: Final = 25.0
"""Garden cable carries little for its size and stays near the ground's temperature; faults are fitted so."""

MOST_STEPS: Final = 8
FITTED_V: Final = 1e-3
"""A fit ends where the mean difference is a millivolt, or after these steps of the secant method."""

NOTHING_W: Final = 1e-9
"""Watts of a lamp that is out."""

NO_LENGTH_M: Final = 1e-6
"""Length of the cable that stands for a splice at a lamp."""

_ANY_GAUGE: Final = parse_gauge("12 AWG")

LEAST_SPLICE_OHM: Final = 0.01
"""A splice with less is a good one (common practice, no source)."""

OPEN_V: Final = 0.5
"""A meter that shows less than this is behind something open (common practice, no source)."""

ALIKE_V: Final = 0.02
"""Places whose misfits differ by less cannot be told apart by the last digit of a hand meter."""


class WiringFault(StrEnum):
    """What may be wrong on site."""

    LAMP_OUT = "lamp out"
    SPLICE = "bad splice"
    OPEN = "open splice or cable"
    GAUGE = "another gauge"
    TAP = "other volts at the tap"


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredVolts:
    """One reading: the fixture by its place among the network's fixtures, from 0, and its volts."""

    fixture: int
    volts: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Explanation:
    """One kind of fault that would explain every reading.

    Attributes:
        places: where to look, the likeliest first; several where the readings cannot tell them apart.
        size: watts of the lamp that is out, ohms of the splice, mm² of the gauge or volts of the tap.
        misfit_v: the largest difference that remains with it.
    """

    fault: WiringFault
    places: tuple[str, ...]
    size: float
    misfit_v: float
    words: str


class _Tried(NamedTuple):
    fault: WiringFault
    place: str
    size: float
    misfit_v: float


_WORDS: Final = {
    WiringFault.LAMP_OUT: "a lamp of {size:g} W at {where} may be out",
    WiringFault.SPLICE: "a splice at {where} may have {size:.2f} ohm too many: open it and make it anew",
    WiringFault.OPEN: "nothing comes through {where}: look for an open splice, a cut cable or a loose plug",
    WiringFault.GAUGE: "the cable may be {where} and not as noted: read what is printed on it",
    WiringFault.TAP: "the tap at {where} may give {size:.2f} V: measure at the transformer under load",
}


def diagnose(
    network: Network, readings: Sequence[MeasuredVolts], tolerance_v: float, *, tap_measured: bool = False
) -> tuple[Explanation, ...]:
    """Find the faults that explain all readings within a meter's tolerance: one a kind, the best first.

    Where the feed's volts were measured too, other volts there explain nothing.
    """
    base = solve(replace(network, temperature_c=LIKELY_C))
    if not readings or not isinstance(base, Solution):
        return ()
    tried = [*_lamps_out(base, readings), *_splices(base, readings, tolerance_v), *_gauges(base, readings)]
    tried += _opens(base, readings)
    if not tap_measured:
        tried += _other_taps(base, readings)
    explanations = []
    for fault in WiringFault:
        fitting = [one for one in tried if one.fault is fault and one.misfit_v <= tolerance_v]
        fitting.sort(key=lambda one: one.misfit_v)
        if fitting:
            explanations.append(_explanation(fitting))
    return tuple(sorted(explanations, key=lambda explanation: explanation.misfit_v))


def _explanation(fitting: Sequence[_Tried]) -> Explanation:
    best = fitting[0]
    alike = dict.fromkeys(one.place for one in fitting if one.misfit_v <= best.misfit_v + ALIKE_V)
    where = " or ".join(f"“{place}”" for place in list(alike)[:3])
    words = _WORDS[best.fault].format(size=best.size, where=where)
    return Explanation(
        fault=best.fault, places=tuple(alike), size=best.size, misfit_v=best.misfit_v, words=words
    )


def _out(fixture: FixtureAt) -> FixtureAt:
    """The same lamps, dark: they keep their place, so that their volts can still be read."""
    return replace(fixture, watts=NOTHING_W, lamp=Lamp.CURRENT)


def _lamps_out(base: Solution, readings: Sequence[MeasuredVolts]) -> Iterator[_Tried]:
    fixtures = base.network.fixtures
    for place, fixture in enumerate(fixtures):
        out = replace(fixture, count=fixture.count - 1) if fixture.count > 1 else _out(fixture)
        lit = replace(base.network, fixtures=(*fixtures[:place], out, *fixtures[place + 1 :]))
        yield from _try(WiringFault.LAMP_OUT, fixture.node, fixture.watts, lit, readings)


def _gauges(base: Solution, readings: Sequence[MeasuredVolts]) -> Iterator[_Tried]:
    """All cables of one noted gauge as another gauge of the same kind."""
    cables = base.network.segments
    for noted in dict.fromkeys(cable.gauge for cable in cables):
        ends = [cable.to_node for cable in cables if cable.gauge == noted]
        for gauge in same_kind(noted):
            if gauge != noted:
                other = thicken(base.network, dict.fromkeys(ends, gauge))
                yield from _try(WiringFault.GAUGE, str(gauge), gauge.area_mm2, other, readings)


def _try(
    fault: WiringFault, place: str, size: float, network: Network, readings: Sequence[MeasuredVolts]
) -> Iterator[_Tried]:
    off_v = _off(network, readings)
    if off_v is not None:
        yield _Tried(fault, place, size, max(map(abs, off_v)))


def _other_taps(base: Solution, readings: Sequence[MeasuredVolts]) -> Iterator[_Tried]:
    network, feed = base.network, base.network.feed
    everywhere = range(len(readings))

    def tapped(source_v: float) -> Network:
        return replace(network, feed=replace(feed, source_v=source_v))

    mean_v = _mean(_off_now(base, readings), everywhere)
    source_v = _fit(tapped, feed.source_v, feed.source_v - mean_v, readings, everywhere)
    if source_v is not None:
        yield from _try(WiringFault.TAP, feed.node, source_v, tapped(source_v), readings)


def _splices(base: Solution, readings: Sequence[MeasuredVolts], tolerance_v: float) -> Iterator[_Tried]:
    """Ohms in each cable that readings lie behind, and at each lamp that was read."""
    network = base.network
    ways = [{cable.to_node for cable in way_to(network, fixture.node)} for fixture in network.fixtures]
    off_v = _off_now(base, readings)
    for place, state in enumerate(base.segments):
        name = f"{state.segment.from_node} to {state.segment.to_node}"
        behind = [at for at, one in enumerate(readings) if state.segment.to_node in ways[one.fixture]]
        if state.amperes > 0.0 and _may_be_splice(off_v, behind, tolerance_v):
            first_ohm = _mean(off_v, behind) / state.amperes
            yield from _splice(partial(_in_cable, network, place), name, first_ohm, readings, behind)
    for at, reading in enumerate(readings):
        lamp = base.lamps[reading.fixture]
        if _may_be_splice(off_v, [at], tolerance_v):
            name, first_ohm = f"lamp at {lamp.fixture.node}", off_v[at] / lamp.amperes / lamp.fixture.count
            yield from _splice(partial(_at_lamp, network, reading.fixture), name, first_ohm, readings, [at])


def _opens(base: Solution, readings: Sequence[MeasuredVolts]) -> Iterator[_Tried]:
    """Whatever lets nothing through: every reading behind it is nothing, and no other is."""
    network, fixtures = base.network, base.network.fixtures
    dark = {at for at, one in enumerate(readings) if one.volts < OPEN_V}
    if not dark:
        return
    cuts: dict[str, set[int]] = {}  # what may be open, and the fixtures behind it
    ways = [{cable.to_node for cable in way_to(network, fixture.node)} for fixture in fixtures]
    for cable in network.segments:
        behind = {place for place, way in enumerate(ways) if cable.to_node in way}
        cuts[f"{cable.from_node} to {cable.to_node}"] = behind
    for one in readings:
        cuts[f"lamp at {fixtures[one.fixture].node}"] = {one.fixture}
    for name, behind in cuts.items():
        if {at for at, one in enumerate(readings) if one.fixture in behind} == dark:
            lit = (_out(each) if place in behind else each for place, each in enumerate(fixtures))
            off_v = _off(replace(network, fixtures=tuple(lit)), readings)
            if off_v is not None:
                lit_v = [abs(off) for at, off in enumerate(off_v) if at not in dark]
                yield _Tried(WiringFault.OPEN, name, 0.0, max(lit_v, default=0.0))


def _may_be_splice(off_v: Sequence[float], behind: Sequence[int], tolerance_v: float) -> bool:
    """Readings behind a bad splice are too low; the others hardly move, so they must agree already."""
    others = (abs(off) for at, off in enumerate(off_v) if at not in behind)
    return bool(behind) and _mean(off_v, behind) > 0.0 and max(others, default=0.0) <= 2.0 * tolerance_v


def _splice(
    make: Callable[[float], Network],
    place: str,
    first_ohm: float,
    readings: Sequence[MeasuredVolts],
    behind: Sequence[int],
) -> Iterator[_Tried]:
    ohm = _fit(make, 0.0, first_ohm, readings, behind)
    if ohm is not None and ohm >= LEAST_SPLICE_OHM:
        yield from _try(WiringFault.SPLICE, place, ohm, make(ohm), readings)


def _in_cable(network: Network, place: int, ohm: float) -> Network:
    """The network with more ohms in one cable."""
    cables = network.segments
    spliced = replace(cables[place], splice_ohm=cables[place].splice_ohm + ohm)
    return replace(network, segments=(*cables[:place], spliced, *cables[place + 1 :]))


def _at_lamp(network: Network, place: int, ohm: float) -> Network:
    """The network with ohms before one lamp: a cable of no length to a node of its own."""
    fixtures, old = network.fixtures, network.fixtures[place]
    end = f"{old.node}, lamp {place}"
    cable = CableSegment(
        from_node=old.node, to_node=end, gauge=_ANY_GAUGE, length_m=NO_LENGTH_M, splice_ohm=max(0.0, ohm)
    )
    lamps = (*fixtures[:place], replace(old, node=end), *fixtures[place + 1 :])
    return replace(network, segments=(*network.segments, cable), fixtures=lamps)


def _fit(
    make: Callable[[float], Network],
    first: float,
    second: float,
    readings: Sequence[MeasuredVolts],
    among: Sequence[int],
) -> float | None:
    """The size for which the mean difference of some readings is zero, by the secant method."""
    last, last_v, size = first, 0.0, first
    for step in range(MOST_STEPS):
        off_v = _off(make(size), readings)
        if off_v is None:
            return None
        mean_v = _mean(off_v, among)
        if abs(mean_v) < FITTED_V or (step > 0 and mean_v == last_v):
            return size
        following = second if step == 0 else size - mean_v * (size - last) / (mean_v - last_v)
        last, last_v, size = size, mean_v, max(following, 0.0)
    return size


def _off(network: Network, readings: Sequence[MeasuredVolts]) -> list[float] | None:
    """Computed less measured volts of each reading; None where the network has no solution."""
    outcome = solve(network)
    return _off_now(outcome, readings) if isinstance(outcome, Solution) else None


def _off_now(solution: Solution, readings: Sequence[MeasuredVolts]) -> list[float]:
    return [solution.lamps[reading.fixture].volts - reading.volts for reading in readings]


def _mean(off_v: Sequence[float], among: Sequence[int]) -> float:
    return sum(off_v[at] for at in among) / len(among)
