"""Which gauges to lay, so that every lamp has its volts at the least cost: one pass from lamps to feed.

At every node stands what the cables behind it cost for the volts that they need there: thick cable costs more
and needs less. A lamp needs the fewest volts that it is allowed. A cable needs those of its far end and the
drop of its current on top, and so on up to the feed, where the list says what every tap would cost, all at
once. Of two entries the one that costs more and needs more volts is left out.

The currents are those at the volts that are needed, so what is found is within a few millivolts of what the
solver says; whoever uses it solves it afterwards.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from config.models.cables import Gauge, Unit
from config.models.site import CONTINUOUS_SHARE
from controller.wiring.cable import same_kind
from controller.wiring.network import CableSegment, FixtureAt, Network
from controller.wiring.solver import CURRENT_EXPONENTS, lamp_amperes

Gauges = dict[str, Gauge]
"""New gauges by the node at which a cable ends."""

COPPER_G_PER_CM3: Final = 8.89
"""Density of copper, NBS Handbook 100."""

LOAD_PART: Final = 0.95
"""Part of a limit that is used at most, so that a proposal does not stand at its very edge."""

LEAST_MM2: Final = 1.5
"""The thinnest metric cable that is laid anew: IEC 60364-7-715 (quoted from a summary)."""

HOME_RUN: Final = ""
"""Stands for the end of a new run among the gauges of an entry."""

SMALL: Final = 12
"""Up to so many cables every entry is kept; in larger networks the nearest ones become one."""

_MOST_POINTS, _MOST_POINTS_IF_SMALL = 32, 400
_COLLAPSE: Final = 0.05

# Volts needed, cost, amperes at these volts, exponent by which the amperes follow the volts, and how it is
# laid: None, a pair of two such, or the end of a cable with its new gauge and what lies behind. A front is a
# Pareto front: of its entries none both costs less and needs fewer volts than another.
Point = tuple[float, float, float, float, Any]
Front = Sequence[Point]
_NO_LOAD: Final[Front] = ((0.0, 0.0, 0.0, 0.0, None),)


@dataclass(frozen=True, kw_only=True, slots=True)
class Prices:
    """What cable and digging cost, in any one currency: common practice, no source.

    The price of copper is that of cable with its sheath, by the copper in it.
    """

    copper_per_kg: float = 40.0
    trench_per_m: float = 6.0

    def cable(self, gauge: Gauge, length_m: float) -> float:
        """Price of two-conductor cable, without its trench."""
        return copper_kg(gauge, length_m) * self.copper_per_kg


@dataclass(frozen=True, slots=True)
class _Step:
    """A gauge for one cable: None for the present one."""

    gauge: Gauge | None
    ohm: float
    most_a: float
    cable_cost: float
    trench_cost: float


def copper_kg(gauge: Gauge, length_m: float) -> float:
    """Copper in both conductors of a cable."""
    return 2.0 * gauge.area_mm2 * length_m * COPPER_G_PER_CM3 / 1000.0


def laid_anew(gauge: Gauge) -> tuple[Gauge, ...]:
    """The gauges of the same kind that a new run may have, the thinnest first."""
    return tuple(g for g in same_kind(gauge) if g.unit is Unit.AWG or g.area_mm2 >= LEAST_MM2)


def new_limit_a(cable: CableSegment) -> float:
    """The most current for which a cable is laid anew: what it may carry for hours on end."""
    return CONTINUOUS_SHARE * cable.limit_a


class Sizing:
    """One run of cable with the least cost of every voltage at its feed; the run is as it is in the network.

    Args:
        network: a feed with cables and lamps.
        needed_v: the fewest volts that a fixture is to get.
        prices: of cable and digging.
        highest_v: the volts of the highest tap; what needs more is left out.
        below_mm2: for some cables, by their ends, the area that a new gauge has to stay below.
    """

    def __init__(
        self,
        network: Network,
        needed_v: Callable[[FixtureAt], float],
        prices: Prices,
        highest_v: float,
        below_mm2: Mapping[str, float] | None = None,
    ) -> None:
        self._network, self._prices, self._highest_v = network, prices, highest_v
        self._below_mm2 = below_mm2 or {}
        small = len(network.segments) <= SMALL
        self._most_points = _MOST_POINTS_IF_SMALL if small else _MOST_POINTS
        self._onward: dict[str, list[CableSegment]] = {}
        self._lamps: dict[str, list[Front]] = {}
        cables = network.walk()
        for cable in cables:
            self._onward.setdefault(cable.from_node, []).append(cable)
        for fixture in network.fixtures:
            self._lamps.setdefault(fixture.node, []).append(self._lamp(fixture, needed_v(fixture)))
        self._steps = {cable.to_node: self._list_steps(cable) for cable in cables}
        self._near: dict[str, Front] = {}
        for cable in reversed(cables):
            end = cable.to_node
            self._near[end] = self._through(self._own(end), self._steps[end], end)
        self.front = self._own(network.feed.node)

    def second_run(self, way: Sequence[CableSegment]) -> tuple[Front, Front]:
        """Cut the last cable of a way and feed its end by a run of its own: what stays, and the new run.

        Whatever is laid along the way shares its trench.
        """
        end = way[-1].to_node
        new = self._through(self._own(end), self._run_steps(way), HOME_RUN)
        stays = self._own(way[-1].from_node, without=end)
        for cable in reversed(way[:-1]):
            there = cable.to_node
            stays = self._through(stays, self._steps[there], there, shares_trench=True)
            stays = self._join([stays, self._own(cable.from_node, without=there)])
        return stays, new

    def moved_feed(self, way: Sequence[CableSegment]) -> Front:
        """Bring the home run to the end of a way, and feed what lies on the way backwards."""
        found = self._own(way[0].to_node, without=way[1].to_node)
        for place, cable in enumerate(way[1:], start=1):
            there = cable.to_node
            onward = way[place + 1].to_node if place + 1 < len(way) else ""
            turned = self._through(found, self._steps[there], there, shares_trench=True)
            found = self._join([turned, self._own(there, without=onward)])
        return self._through(found, self._run_steps(way), HOME_RUN)

    def _lamp(self, fixture: FixtureAt, needed_v: float) -> Front:
        amperes = fixture.count * lamp_amperes(fixture, needed_v) if needed_v > 0.0 else 0.0
        point: Point = (needed_v, 0.0, amperes, CURRENT_EXPONENTS[fixture.lamp], None)
        if fixture.lead is None:
            return (point,)
        lead = _Step(None, fixture.lead_ohm(self._network.temperature_c), float("inf"), 0.0, 0.0)
        return self._through((point,), (lead,), "")

    def _list_steps(self, cable: CableSegment) -> tuple[_Step, ...]:
        """List the present gauge of a cable and all thicker ones."""
        ohm = cable.loop_ohm(self._network.temperature_c)
        steps = [_Step(None, ohm, LOAD_PART * cable.limit_a, 0.0, 0.0)]
        below_mm2 = self._below_mm2.get(cable.to_node, float("inf"))
        steps += [
            self._step(replace(cable, gauge=gauge, ampacity_a=None))
            for gauge in laid_anew(cable.gauge)
            if cable.gauge.area_mm2 < gauge.area_mm2 < below_mm2
        ]
        return tuple(steps)

    def _run_steps(self, way: Sequence[CableSegment]) -> tuple[_Step, ...]:
        length_m = sum(cable.length_m for cable in way)
        below_mm2 = self._below_mm2.get(HOME_RUN, float("inf"))
        start, end = way[0].from_node, way[-1].to_node
        runs = (
            CableSegment(from_node=start, to_node=end, gauge=gauge, length_m=length_m)
            for gauge in laid_anew(way[0].gauge)
        )
        return tuple(self._step(run) for run in runs if run.gauge.area_mm2 < below_mm2)

    def _step(self, cable: CableSegment) -> _Step:
        """The step to a cable that is laid anew."""
        return _Step(
            gauge=cable.gauge,
            ohm=cable.loop_ohm(self._network.temperature_c),
            most_a=new_limit_a(cable),
            cable_cost=self._prices.cable(cable.gauge, cable.length_m),
            trench_cost=self._prices.trench_per_m * cable.length_m,
        )

    def _own(self, node: str, without: str = "") -> Front:
        """What a node needs for its lamps and all cables from it but one."""
        onward = [cable.to_node for cable in self._onward.get(node, ()) if cable.to_node != without]
        return self._join([*self._lamps.get(node, ()), *(self._near[end] for end in onward)])

    def _through(
        self, front: Front, steps: Sequence[_Step], end: str, *, shares_trench: bool = False
    ) -> Front:
        """What the near end of a cable needs."""
        found: list[Point] = []
        highest_v = self._highest_v
        for step in steps:
            ohm, most_a, gauge = step.ohm, step.most_a, step.gauge
            added = step.cable_cost + (0.0 if shares_trench else step.trench_cost)
            for volts, cost, amperes, exponent, how in front:
                if amperes > most_a:
                    continue
                near_v = volts + amperes * ohm
                if near_v > highest_v:
                    break
                near_exponent = 0.0
                if amperes > 0.0:
                    siemens = exponent * amperes / volts
                    pivot = 1.0 + ohm * siemens
                    if pivot < _COLLAPSE:
                        continue
                    near_exponent = siemens / pivot * near_v / amperes
                laid = how if gauge is None else (end, gauge, how)
                found.append((near_v, cost + added, amperes, near_exponent, laid))
        return self._thin(found)

    def _join(self, fronts: Sequence[Front]) -> Front:
        """What several things at one node need together."""
        if not fronts:
            return _NO_LOAD
        joined = fronts[0]
        for other in fronts[1:]:
            joined = self._join_two(joined, other)
        return joined

    def _join_two(self, one: Front, other: Front) -> Front:
        if not one or not other:
            return ()
        least_v = max(one[0][0], other[0][0])
        levels = sorted(
            {least_v, *(p[0] for p in one if p[0] > least_v), *(p[0] for p in other if p[0] > least_v)}
        )
        found: list[Point] = []
        first = second = 0
        for volts in levels:
            while first + 1 < len(one) and one[first + 1][0] <= volts:
                first += 1
            while second + 1 < len(other) and other[second + 1][0] <= volts:
                second += 1
            a, b = one[first], other[second]
            a_amperes, b_amperes = amperes_at(a, volts), amperes_at(b, volts)
            amperes = a_amperes + b_amperes
            exponent = (a[3] * a_amperes + b[3] * b_amperes) / amperes if amperes > 0.0 else 0.0
            how = (a[4], b[4]) if a[4] and b[4] else a[4] or b[4]
            found.append((volts, a[1] + b[1], amperes, exponent, how))
        return self._thin(found)

    def _thin(self, points: list[Point]) -> Front:
        """Leave out what another beats; where many are left, keep the cheapest of those that lie together."""
        points.sort(key=_need_and_cost)
        kept: list[Point] = []
        for point in points:
            if not kept or point[1] < kept[-1][1] - 1e-9:
                kept.append(point)
        if len(kept) <= self._most_points:
            return kept
        low_v = kept[0][0]
        width_v = (kept[-1][0] - low_v) / self._most_points
        last_of = {int((point[0] - low_v) / width_v): point for point in kept}
        thinned = list(last_of.values())
        return thinned if thinned[0] is kept[0] else [kept[0], *thinned]


def _need_and_cost(point: Point) -> tuple[float, float]:
    return point[0], point[1]


def amperes_at(point: Point, volts: float) -> float:
    """Current that an entry takes at more volts than it needs."""
    needed_v, _, amperes, exponent, _ = point
    if volts == needed_v or needed_v <= 0.0:
        return amperes
    return float(amperes * (volts / needed_v) ** exponent)


def cheapest(front: Front, volts: float) -> Point | None:
    """The entry with the least cost for which these volts are enough."""
    return next((point for point in reversed(front) if point[0] <= volts), None)


def gauges_of(point: Point) -> Gauges:
    """The cables that an entry lays anew, and their gauges."""
    gauges: Gauges = {}
    waiting = [point[4]]
    while waiting:
        how = waiting.pop()
        if how is None:
            continue
        if len(how) == 3:  # noqa: PLR2004 (end, gauge, what lies behind)
            gauges[how[0]] = how[1]
            waiting.append(how[2])
        else:
            waiting += how
    return gauges
