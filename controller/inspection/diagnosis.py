"""Single faults of a network that would explain readings: each fitted and solved.

Tried are one lamp that is out, a splice with too many ohms in any cable or at any lamp, one that is open,
another gauge than noted, and other volts at the tap.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial, reduce
from itertools import chain
from typing import Final

from config.models.cables import parse_gauge
from config.phrase import Phrase
from controller.inspection.changes import thicken
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


_WORDS: Final = {
    WiringFault.LAMP_OUT: Phrase("a lamp of {size:g} W at {where} may be out", size=0.0, where=""),
    WiringFault.SPLICE: Phrase(
        "a splice at {where} may have {size:.2f} ohm too many: open it and make it anew", size=0.0, where=""
    ),
    WiringFault.OPEN: Phrase(
        "nothing comes through {where}: look for an open splice, a cut cable or a loose plug",
        size=0.0,
        where="",
    ),
    WiringFault.GAUGE: Phrase(
        "the cable may be {where} and not as noted: read what is printed on it", size=0.0, where=""
    ),
    WiringFault.TAP: Phrase(
        "the tap at {where} may give {size:.2f} V: measure at the transformer under load", size=0.0, where=""
    ),
}


@dataclass(frozen=True, slots=True)
class Explanation:
    """A fault that was tried, and may explain every reading.

    Attributes:
        places: where to look, the likeliest first; several where the readings cannot tell them apart.
        size: watts of the lamp that is out, ohms of the splice, mm² of the gauge or volts of the tap.
        misfit_v: the largest difference that remains with it.
    """

    fault: WiringFault
    places: tuple[str, ...]
    size: float
    misfit_v: float

    @property
    def words(self) -> Phrase:
        """What to look for, and where."""
        first, *others = (Phrase("“{text}”", text=place) for place in self.places[:3])
        where = reduce(lambda one, other: Phrase("{one} or {other}", one=one, other=other), others, first)
        return _WORDS[self.fault].fill(size=self.size, where=where)


def diagnose(
    network: Network, readings: Sequence[MeasuredVolts], tolerance_v: float, *, tap_measured: bool = False
) -> tuple[Explanation, ...]:
    """Find the faults that explain all readings within a meter's tolerance: one a kind, the best first.

    Where the feed's volts were measured too, other volts there explain nothing.
    """
    base = solve(replace(network, temperature_c=LIKELY_C))
    if not readings or not isinstance(base, Solution):
        return ()
    search = _Search(base, readings, tolerance_v)
    tried = [*search.lamps_out(), *search.splices(), *search.gauges(), *search.opens()]
    if not tap_measured:
        tried += search.other_taps()
    tried = sorted((one for one in tried if one.misfit_v <= tolerance_v), key=lambda one: one.misfit_v)
    explanations = []
    for fault in WiringFault:
        fitting = [one for one in tried if one.fault is fault]
        if fitting:
            alike = [one.places for one in fitting if one.misfit_v <= fitting[0].misfit_v + ALIKE_V]
            explanations.append(replace(fitting[0], places=tuple(dict.fromkeys(chain.from_iterable(alike)))))
    return tuple(sorted(explanations, key=lambda explanation: explanation.misfit_v))


class _Search:
    """The search for faults: the network as noted, solved, and the readings to be explained."""

    def __init__(self, base: Solution, readings: Sequence[MeasuredVolts], tolerance_v: float) -> None:
        self._base, self._readings, self._tolerance_v = base, readings, tolerance_v
        self._network = base.network
        self._off_v = self._differences(base)
        fixtures = base.network.fixtures
        # The ends of the cables on the way to each fixture.
        self._ways = [{cable.to_node for cable in way_to(base.network, each.node)} for each in fixtures]

    def lamps_out(self) -> Iterator[Explanation]:
        for place, fixture in enumerate(self._network.fixtures):
            out = replace(fixture, count=fixture.count - 1) if fixture.count > 1 else _out(fixture)
            lit = _with_fixture(self._network, place, out)
            yield from self._try(WiringFault.LAMP_OUT, fixture.node, fixture.watts, lit)

    def gauges(self) -> Iterator[Explanation]:
        """All cables of one noted gauge as another gauge of the same kind."""
        cables = self._network.segments
        for noted in dict.fromkeys(cable.gauge for cable in cables):
            ends = [cable.to_node for cable in cables if cable.gauge == noted]
            for gauge in same_kind(noted):
                if gauge != noted:
                    other = thicken(self._network, dict.fromkeys(ends, gauge))
                    yield from self._try(WiringFault.GAUGE, str(gauge), gauge.area_mm2, other)

    def other_taps(self) -> Iterator[Explanation]:
        feed, everywhere = self._network.feed, range(len(self._readings))

        def tapped(source_v: float) -> Network:
            return replace(self._network, feed=replace(feed, source_v=source_v))

        source_v = self._fit(
            tapped, feed.source_v, feed.source_v - _mean(self._off_v, everywhere), everywhere
        )
        if source_v is not None:
            yield from self._try(WiringFault.TAP, feed.node, source_v, tapped(source_v))

    def splices(self) -> Iterator[Explanation]:
        """Ohms in each cable that readings lie behind, and at each lamp that was read."""
        for place, state in enumerate(self._base.segments):
            cable = state.segment
            behind = [at for at, one in enumerate(self._readings) if cable.to_node in self._ways[one.fixture]]
            if state.amperes > 0.0:
                make = partial(_in_cable, self._network, place)
                yield from self._splice(make, f"{cable.from_node} to {cable.to_node}", state.amperes, behind)
        for at, reading in enumerate(self._readings):
            lamp = self._base.lamps[reading.fixture]
            make = partial(_at_lamp, self._network, reading.fixture)
            amperes = lamp.amperes * lamp.fixture.count
            yield from self._splice(make, f"lamp at {lamp.fixture.node}", amperes, [at])

    def _splice(
        self, make: Callable[[float], Network], place: str, amperes: float, behind: Sequence[int]
    ) -> Iterator[Explanation]:
        """Fit a splice: readings behind it are too low; the others hardly move, so they agree already."""
        others = (abs(off) for at, off in enumerate(self._off_v) if at not in behind)
        if not behind or max(others, default=0.0) > 2.0 * self._tolerance_v:
            return
        lacking_v = _mean(self._off_v, behind)
        if lacking_v > 0.0:
            ohm = self._fit(make, 0.0, lacking_v / amperes, behind)
            if ohm is not None and ohm >= LEAST_SPLICE_OHM:
                yield from self._try(WiringFault.SPLICE, place, ohm, make(ohm))

    def opens(self) -> Iterator[Explanation]:
        """Whatever lets nothing through: every reading behind it is nothing, and no other is."""
        readings, fixtures = self._readings, self._network.fixtures
        dark = {at for at, one in enumerate(readings) if one.volts < OPEN_V}
        if not dark:
            return
        cuts: dict[str, set[int]] = {}  # what may be open, and the fixtures behind it
        for cable in self._network.segments:
            behind = {place for place, way in enumerate(self._ways) if cable.to_node in way}
            cuts[f"{cable.from_node} to {cable.to_node}"] = behind
        for one in readings:
            cuts[f"lamp at {fixtures[one.fixture].node}"] = {one.fixture}
        for name, behind in cuts.items():
            if {at for at, one in enumerate(readings) if one.fixture in behind} == dark:
                lit = (_out(each) if place in behind else each for place, each in enumerate(fixtures))
                off_v = self._solve(replace(self._network, fixtures=tuple(lit)))
                if off_v is not None:
                    lit_v = [abs(off) for at, off in enumerate(off_v) if at not in dark]
                    yield Explanation(WiringFault.OPEN, (name,), 0.0, max(lit_v, default=0.0))

    def _try(self, fault: WiringFault, place: str, size: float, network: Network) -> Iterator[Explanation]:
        off_v = self._solve(network)
        if off_v is not None:
            yield Explanation(fault, (place,), size, max(map(abs, off_v)))

    def _fit(
        self, make: Callable[[float], Network], first: float, second: float, among: Sequence[int]
    ) -> float | None:
        """The size for which the mean difference of some readings is zero, by the secant method."""
        last, last_v, size = first, 0.0, first
        for step in range(MOST_STEPS):
            off_v = self._solve(make(size))
            if off_v is None:
                return None
            mean_v = _mean(off_v, among)
            if abs(mean_v) < FITTED_V or (step > 0 and mean_v == last_v):
                return size
            following = second if step == 0 else size - mean_v * (size - last) / (mean_v - last_v)
            last, last_v, size = size, mean_v, max(following, 0.0)
        return size

    def _solve(self, network: Network) -> list[float] | None:
        """Computed less measured volts of each reading; None where the network has no solution."""
        outcome = solve(network)
        return self._differences(outcome) if isinstance(outcome, Solution) else None

    def _differences(self, solution: Solution) -> list[float]:
        return [solution.lamps[one.fixture].volts - one.volts for one in self._readings]


def _out(fixture: FixtureAt) -> FixtureAt:
    """The same lamps, dark: they keep their place, so that their volts can still be read."""
    return replace(fixture, watts=NOTHING_W, lamp=Lamp.CURRENT)


def _with_fixture(network: Network, place: int, fixture: FixtureAt) -> Network:
    fixtures = network.fixtures
    return replace(network, fixtures=(*fixtures[:place], fixture, *fixtures[place + 1 :]))


def _in_cable(network: Network, place: int, ohm: float) -> Network:
    """The network with more ohms in one cable."""
    cables = network.segments
    spliced = replace(cables[place], splice_ohm=cables[place].splice_ohm + ohm)
    return replace(network, segments=(*cables[:place], spliced, *cables[place + 1 :]))


def _at_lamp(network: Network, place: int, ohm: float) -> Network:
    """The network with ohms before one lamp: a cable of no length to a node of its own."""
    old = network.fixtures[place]
    end = f"{old.node}, lamp {place}"
    cable = CableSegment(
        from_node=old.node, to_node=end, gauge=_ANY_GAUGE, length_m=NO_LENGTH_M, splice_ohm=max(0.0, ohm)
    )
    longer = replace(network, segments=(*network.segments, cable))
    return _with_fixture(longer, place, replace(old, node=end))


def _mean(off_v: Sequence[float], among: Sequence[int]) -> float:
    return sum(off_v[at] for at in among) / len(among)
