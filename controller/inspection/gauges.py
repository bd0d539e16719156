"""Which cables to make thicker, so that every lamp has its volts with the least copper.

Along a way the drop is the sum of current times resistance. So each gram of copper helps most where the
current is greatest: near the feed. Cables on the ways to lamps with too few volts are taken in the order of
their current, and how many of them it takes is found by halving, each trial solved.
"""

from collections.abc import Sequence

from config.models.cables import Gauge
from controller.wiring.cable import ampacity, loop_ohm, thicker
from controller.wiring.network import Lamp, Network
from controller.wiring.power_flow import branch_currents, try_volts
from controller.wiring.solver import build_tree

Gauges = dict[str, Gauge]
"""New gauges by the node at which a cable ends."""


def needed_volts(network: Network, drop_percent: float | None) -> tuple[float, ...]:
    """The fewest volts allowed at each fixture: its range, and the drop that the site accepts."""
    floor_v = 0.0 if drop_percent is None else network.feed.full_load_v * (1.0 - drop_percent / 100.0)
    return tuple(
        # An LED without a stated range is never an error, so it asks for nothing here.
        floor_v if fixture.lamp is Lamp.POWER and fixture.min_v is None else max(floor_v, fixture.range_v[0])
        for fixture in network.fixtures
    )


def has_volts(network: Network, drop_percent: float | None) -> bool:
    """Whether every lamp has the volts that it needs with everything lit: a quick look at a change."""
    tree, _, at_lamps = build_tree(network)
    volts = try_volts(tree, network.feed.no_load_v)
    needed = zip(at_lamps, needed_volts(network, drop_percent), strict=True)
    return volts is not None and all(volts[place] >= needed_v for place, needed_v in needed)


def within_upper_limit(network: Network, cool_c: float) -> bool:
    """Whether no lamp has too many volts with its zone lit alone on cool cable: the other quick look."""
    for zone in network.zones:
        lamps = [fixture for fixture in network.fixtures if fixture.zone == zone]
        tree, _, at_lamps = build_tree(network, lamps, cool_c)
        volts = try_volts(tree, network.feed.no_load_v)
        if volts is None:
            return False
        for fixture, place in zip(lamps, at_lamps, strict=True):
            forgiving = fixture.lamp is Lamp.POWER and fixture.max_v is None
            if not forgiving and volts[place] > fixture.range_v[1]:
                return False
    return True


class SizingTrial:
    """A network turned into arrays once, whose cables can be exchanged for one solution after another.

    Where the network has no solution the lamps' rated currents order its cables.
    """

    def __init__(self, network: Network, drop_percent: float | None) -> None:
        self._network = network
        self._tree, self._places, at_lamps = build_tree(network)
        self._needed_v = list(zip(at_lamps, needed_volts(network, drop_percent), strict=True))
        parent, needed_v = self._tree.parent, self._needed_v
        volts = try_volts(self._tree, network.feed.no_load_v)
        if volts is None:
            volts, self._short_v = [network.feed.no_load_v] * len(parent), 0.0
            undervolted = {place for place, _ in needed_v}
        else:
            # The volts that the worst lamp lacks now.
            self._short_v = max((needed - volts[place] for place, needed in needed_v), default=0.0)
            undervolted = {place for place, needed in needed_v if volts[place] < needed}
        for place in range(len(parent) - 1, 0, -1):
            if place in undervolted:
                undervolted.add(parent[place])
        flows = branch_currents(self._tree, volts)
        self._flows = {node: flows[place] for node, place in self._places.items()}
        self._forced = self._carry_their_current()
        cables = [cable for cable in network.walk() if self._places[cable.to_node] in undervolted]
        cables.sort(key=lambda cable: -self._flows[cable.to_node])
        self._choices = {
            cable.to_node: thicker(self._forced.get(cable.to_node, cable.gauge)) for cable in cables
        }

    def suffices(self, gauges: Gauges) -> bool:
        """Whether every lamp has its volts with these cables exchanged."""
        network = self._network
        ohms = {
            place: loop_ohm(gauges[cable.to_node], cable.length_m, network.temperature_c) + cable.splice_ohm
            for place, cable in enumerate(network.segments)
            if cable.to_node in gauges
        }
        volts = try_volts(self._tree.exchange(ohms), network.feed.no_load_v)
        return volts is not None and all(volts[place] >= needed_v for place, needed_v in self._needed_v)

    def find_gauges(self) -> list[Gauges]:
        """Sets of thicker cables with which every lamp has its volts; none where no gauge does.

        Returns:
            One set for each gauge that does (that gauge from the feed outwards as far as it takes), the
            cheapest single cable that does alone, and the mix of gauges with the least copper.
        """
        if self.suffices(self._forced):
            return [self._forced] if self._forced else []
        tried = {gauge for gauges in self._choices.values() for gauge in gauges}
        found = [
            self._fewest([(end, gauge) for end, gauges in self._choices.items() if gauge in gauges])
            for gauge in sorted(tried, key=lambda gauge: gauge.area_mm2)
        ]
        found.append(self._single())
        mix = self._fewest(self._by_gain())
        if mix is not None:
            found.append(self._trim(mix))
        different: list[Gauges] = []
        for gauges in found:
            if gauges is not None and gauges not in different:
                different.append(gauges)
        return different

    def _carry_their_current(self) -> Gauges:
        """The least gauges for cables that carry more than they may."""
        forced: Gauges = {}
        for cable in self._network.segments:
            amperes = self._flows[cable.to_node]
            if amperes > cable.limit_a:
                gauge = next((g for g in thicker(cable.gauge) if ampacity(g).amperes >= amperes), None)
                if gauge is not None:
                    forced[cable.to_node] = gauge
        return forced

    def _fewest(self, steps: Sequence[tuple[str, Gauge]]) -> Gauges | None:
        """The shortest beginning of these steps that suffices, found by halving; None where all do not."""

        def taken(count: int) -> Gauges:
            return {**self._forced, **dict(steps[:count])}

        low, high = 0, len(steps)
        if not self.suffices(taken(high)):
            return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.suffices(taken(middle)) else (middle, high)
        return taken(high)

    def _trim(self, mix: Gauges) -> Gauges:
        """Take back from a mix what it does not need, from the cable with the most copper first."""
        trimmed = dict(mix)
        cables = {cable.to_node: cable for cable in self._network.segments}
        for end in sorted(mix, key=lambda end: -cables[end].length_m * mix[end].area_mm2):
            least = self._forced.get(end)
            thinner = [g for g in thicker(least or cables[end].gauge) if g.area_mm2 < mix[end].area_mm2]
            for gauge in (least, *thinner):
                tried = {other: kept for other, kept in trimmed.items() if other != end}
                if gauge is not None:
                    tried[end] = gauge
                if self.suffices(tried):
                    trimmed = tried
                    break
        return trimmed

    def _single(self) -> Gauges | None:
        """The one cable that does alone with the least copper, if any does at its thickest."""
        temperature_c = self._network.temperature_c
        found: list[tuple[float, Gauges]] = []
        for cable in self._network.segments:
            end = cable.to_node
            if not (gauges := self._choices.get(end)):
                continue
            thickest_ohm = loop_ohm(gauges[-1], cable.length_m, temperature_c)
            # A regulated lamp's current falls as its volts rise: a cable may win more, but not twice as much.
            most_v = 2.0 * self._flows[end] * (self._tree.ohm[self._places[end]] - thickest_ohm)
            if most_v >= self._short_v and self.suffices({**self._forced, end: gauges[-1]}):
                gauge = next(g for g in gauges if self.suffices({**self._forced, end: g}))
                found.append((cable.length_m * gauge.area_mm2, {**self._forced, end: gauge}))
        return min(found, key=lambda one: one[0])[1] if found else None

    def _by_gain(self) -> list[tuple[str, Gauge]]:
        """Every step to a next gauge by its gain, current × ohms saved ÷ copper added, the greatest first."""
        temperature_c = self._network.temperature_c
        steps = []
        for cable in self._network.segments:
            end = cable.to_node
            before = self._forced.get(end, cable.gauge)
            for gauge in self._choices.get(end, ()):
                saved_ohm = loop_ohm(before, 1.0, temperature_c) - loop_ohm(gauge, 1.0, temperature_c)
                gain = self._flows[end] * saved_ohm / (gauge.area_mm2 - before.area_mm2)
                steps.append((gain, end, gauge))
                before = gauge
        steps.sort(key=lambda step: -step[0])
        return [(end, gauge) for _, end, gauge in steps]
