"""What could be done to one network: another tap, thicker cable, a feed nearer to the middle, a second run.

These are candidates; ``advice`` inspects them. Those that leave a lamp without its volts even with the
thickest gauge tried are not listed. Lengths of new cable are those of the old way from the feed, so that it
can go into the same trench; a shorter way across the garden is better still.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.models.cables import Gauge
from controller.inspection.gauges import Gauges, SizingTrial, has_volts
from controller.wiring.cable import thicker
from controller.wiring.network import CableSegment, Network, walk, way_to
from controller.wiring.solver import Outcome, Solution

COPPER_G_PER_CM3: Final = 8.89
"""Density of copper, NBS Handbook 100."""

MOST_NODES: Final = 12
"""Nodes of a long way that are tried as the end of a new run, evenly taken, the last among them."""

COMBINED_NODES: Final = 4
"""The same for runs together with thicker cable, each of which is a search of its own."""

RUN_GAUGES: Final = 3
"""Gauges tried for a new run: that of the first cable and the next thicker ones."""


class ChangeKind(StrEnum):
    """What is changed."""

    TAP = "another tap"
    CABLE = "thicker cable"
    FEED = "feed nearer to the middle"
    RUN = "second run"


@dataclass(frozen=True, kw_only=True, slots=True)
class Purchase:
    """New two-conductor cable to lay."""

    gauge: Gauge
    length_m: float

    @property
    def copper_kg(self) -> float:
        """Copper in both conductors: what the cable costs, before any price is known."""
        return 2.0 * self.gauge.area_mm2 * self.length_m * COPPER_G_PER_CM3 / 1000.0


@dataclass(frozen=True, slots=True)
class WiringChange:
    """One thing that could be done to one network.

    Attributes:
        words: what to do, for a person.
        buys: the cable that it takes.
        networks: what stands in the place of the old network.
        tap_v: the tap that all or part of it moves to; None where it stays.
    """

    kind: ChangeKind
    words: str
    buys: tuple[Purchase, ...]
    networks: tuple[Network, ...]
    tap_v: float | None = None

    @property
    def copper_kg(self) -> float:
        """Copper to buy: what orders changes before any price is known."""
        return sum(purchase.copper_kg for purchase in self.buys)


def thicken(network: Network, gauges: Gauges) -> Network:
    """Lay other gauges into the cables that end at these nodes; the old plate's ampacity goes with them."""
    cables = tuple(
        replace(cable, gauge=gauges[cable.to_node], ampacity_a=None) if cable.to_node in gauges else cable
        for cable in network.segments
    )
    return replace(network, segments=cables)


def feed_at(network: Network, node: str, gauge: Gauge) -> tuple[Network, Purchase]:
    """Bring a home run to this node, turn the cables between round, and take away the first of the old way.

    The node is neither the feed nor the end of its first cable.
    """
    way = way_to(network, node)
    turned = {cable.to_node for cable in way[1:]}
    run, purchase = _home_run(way, gauge)
    cables = [run]
    for cable in network.segments:
        if cable.to_node in turned:
            cables.append(replace(cable, from_node=cable.to_node, to_node=cable.from_node))
        elif cable.to_node != way[0].to_node:
            cables.append(cable)
    return replace(network, segments=tuple(cables)), purchase


def second_run(network: Network, node: str, gauge: Gauge) -> tuple[Network, Purchase]:
    """Cut the cable into a node and feed what is behind it by a run of its own from the same tap."""
    run, purchase = _home_run(way_to(network, node), gauge)
    cables = tuple(run if cable.to_node == node else cable for cable in network.segments)
    return replace(network, segments=cables), purchase


def _home_run(way: Sequence[CableSegment], gauge: Gauge) -> tuple[CableSegment, Purchase]:
    """One cable from the feed to the end of a way, as long as the way."""
    length_m = sum(cable.length_m for cable in way)
    start, end = way[0].from_node, way[-1].to_node
    run = CableSegment(from_node=start, to_node=end, gauge=gauge, length_m=length_m)
    return run, Purchase(gauge=gauge, length_m=length_m)


def second_circuit(
    network: Network, node: str, gauge: Gauge, tap_v: float
) -> tuple[tuple[Network, Network], Purchase]:
    """Cut the cable into a node and feed what is behind it from another tap of the transformer."""
    joined, purchase = second_run(network, node, gauge)
    return move_branch(joined, node, tap_v), purchase


def move_branch(network: Network, node: str, tap_v: float) -> tuple[Network, Network]:
    """Move the cable from the feed to this node, with all behind it, to another tap of the transformer."""
    behind = {node, *(cable.to_node for cable in walk(node, network.segments))}
    feed = replace(network.feed, node=f"{network.feed.node}, {tap_v:g} V", source_v=tap_v)
    kept = replace(
        network,
        segments=tuple(c for c in network.segments if c.to_node not in behind),
        fixtures=tuple(f for f in network.fixtures if f.node not in behind),
    )
    cables = (c for c in network.segments if c.to_node in behind)
    moved = replace(
        network,
        feed=feed,
        segments=tuple(replace(c, from_node=feed.node) if c.to_node == node else c for c in cables),
        fixtures=tuple(f for f in network.fixtures if f.node in behind),
    )
    return kept, moved


def attach(standing: Network, other: Network) -> Network:
    """Attach what is on another network to the tap of an existing one: one tap is one circuit."""
    old, new = other.feed.node, standing.feed.node
    cables = (replace(c, from_node=new) if c.from_node == old else c for c in other.segments)
    lamps = (replace(f, node=new) if f.node == old else f for f in other.fixtures)
    segments, fixtures = (*standing.segments, *cables), (*standing.fixtures, *lamps)
    return replace(standing, segments=segments, fixtures=fixtures)


def list_changes(
    outcome: Outcome, taps_v: Sequence[float], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Everything that is tried for one network, with these taps and the drop that the site accepts."""
    network, own_v = outcome.network, outcome.network.feed.source_v
    way = way_to(network, _worst_node(outcome))
    other_taps_v = sorted({tap_v for tap_v in taps_v if tap_v != own_v})
    if not network.is_tree:  # where rings leave several ways, only the tap is tried
        for tap_v in other_taps_v:
            tapped = replace(network, feed=replace(network.feed, source_v=tap_v))
            words = f"use the {tap_v:g} V tap instead of {own_v:g} V"
            yield WiringChange(ChangeKind.TAP, words, (), (tapped,), tap_v)
        return
    yield from _on_one_tap(network, None, way, drop_percent)
    for tap_v in other_taps_v:
        tapped = replace(network, feed=replace(network.feed, source_v=tap_v))
        words = f"use the {tap_v:g} V tap instead of {own_v:g} V"
        yield WiringChange(ChangeKind.TAP, words, (), (tapped,), tap_v)
        yield from _on_one_tap(tapped, tap_v, way, drop_percent)
    yield from _other_circuits(network, way, other_taps_v, drop_percent)


def _worst_node(outcome: Outcome) -> str:
    if not isinstance(outcome, Solution):
        return outcome.farthest
    return outcome.worst.fixture.node if outcome.worst else outcome.network.feed.node


def _on_one_tap(
    network: Network, tap_v: float | None, way: Sequence[CableSegment], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Thicker cables; and home runs to nodes on the way to the worst lamp, instead of the old one or more."""
    also = "" if tap_v is None else f"use the {tap_v:g} V tap and "
    for found in SizingTrial(network, drop_percent).find_gauges():
        words, buys, thickened = _lay_thicker((network,), (found,))
        yield WiringChange(ChangeKind.CABLE, f"{also}{words}", buys, thickened, tap_v)
    for cable in _evenly(way[1:]):
        node, gauges = cable.to_node, _run_gauges(way)
        moved = f"bring the home run to “{node}” and take away the cable to “{way[0].to_node}”"
        split = f"lay a second run to “{node}” and cut the cable from “{cable.from_node}” to it"
        for kind, rewire, words in ((ChangeKind.FEED, feed_at, moved), (ChangeKind.RUN, second_run, split)):
            if has_volts(rewire(network, node, gauges[-1])[0], drop_percent):
                for gauge in gauges:
                    after, purchase = rewire(network, node, gauge)
                    yield WiringChange(kind, f"{also}{words}", (purchase,), (after,), tap_v)


def _other_circuits(
    network: Network, way: Sequence[CableSegment], taps_v: Sequence[float], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Part of the cables on another tap, a circuit of its own: a whole branch, or a second run to a node."""
    branches = [cable.to_node for cable in network.segments if cable.from_node == network.feed.node]
    for tap_v in taps_v:
        for node in branches if len(branches) > 1 else ():
            words = f"move the cable to “{node}” to the {tap_v:g} V tap"
            yield WiringChange(ChangeKind.TAP, words, (), move_branch(network, node, tap_v))
        for cable in _evenly(way[1:]):
            node, gauges = cable.to_node, _run_gauges(way)
            parts, _ = second_circuit(network, node, gauges[-1], tap_v)
            if not all(has_volts(part, drop_percent) for part in parts):
                continue
            words = (
                f"lay a second run from the {tap_v:g} V tap to “{node}” and cut the cable from"
                f" “{cable.from_node}” to it"
            )
            for gauge in gauges:
                parts, purchase = second_circuit(network, node, gauge, tap_v)
                yield WiringChange(ChangeKind.RUN, words, (purchase,), parts, tap_v)


def list_combined(
    outcome: Outcome, taps_v: Sequence[float], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Second runs, from the same tap or another, with thicker cable: for where nothing simpler does."""
    network, own_v = outcome.network, outcome.network.feed.source_v
    way = way_to(network, _worst_node(outcome)) if network.is_tree else ()
    for cable in _evenly(way[1:], COMBINED_NODES):
        node, gauge = cable.to_node, way[0].gauge
        cut = f"cut the cable from “{cable.from_node}” to “{node}”"
        joined, _ = second_run(network, node, gauge)
        for gauges in SizingTrial(joined, drop_percent).find_gauges():
            words, buys, thickened = _lay_thicker((joined,), (gauges,), node)
            yield WiringChange(ChangeKind.RUN, f"{cut}, {words}", buys, thickened)
        for tap_v in sorted({tap_v for tap_v in taps_v if tap_v != own_v}):
            parts, _ = second_circuit(network, node, gauge, tap_v)
            found = [_least_copper(part, drop_percent) for part in parts]
            if any(gauges is None for gauges in found):
                continue
            words, buys, thickened = _lay_thicker(parts, [gauges or {} for gauges in found], node)
            words = f"{cut}, feed it from the {tap_v:g} V tap, {words}"
            yield WiringChange(ChangeKind.RUN, words, buys, thickened, tap_v)


def _least_copper(network: Network, drop_percent: float | None) -> Gauges | None:
    """The thicker cables with the least copper; none where the present ones do, None where none do."""
    if has_volts(network, drop_percent):
        return {}
    lengths_m = {cable.to_node: cable.length_m for cable in network.segments}
    return min(
        SizingTrial(network, drop_percent).find_gauges(),
        key=lambda gauges: sum(lengths_m[end] * gauge.area_mm2 for end, gauge in gauges.items()),
        default=None,
    )


def _evenly(cables: Sequence[CableSegment], most: int = MOST_NODES) -> Iterator[CableSegment]:
    count = min(len(cables), most)
    return (cables[round(part * len(cables) / count) - 1] for part in range(1, count + 1))


def _run_gauges(way: Sequence[CableSegment]) -> tuple[Gauge, ...]:
    return (way[0].gauge, *thicker(way[0].gauge))[:RUN_GAUGES]


def _lay_thicker(
    networks: Sequence[Network], found: Sequence[Gauges], run_to: str | None = None
) -> tuple[str, tuple[Purchase, ...], tuple[Network, ...]]:
    """Lay thicker cables, and say what to lay and to buy for them and for a new run to a node."""
    thickened = tuple(thicken(network, gauges) for network, gauges in zip(networks, found, strict=True))
    laid: dict[Gauge, list[CableSegment]] = {}
    for network, gauges in zip(thickened, found, strict=True):
        for cable in network.walk():
            if cable.to_node in gauges or cable.to_node == run_to:
                laid.setdefault(cable.gauge, []).append(cable)
    words = "lay " + " and ".join(f"{gauge} {_where(cables)}" for gauge, cables in laid.items())
    buys = tuple(
        Purchase(gauge=gauge, length_m=sum(cable.length_m for cable in cables))
        for gauge, cables in laid.items()
    )
    return words, buys, thickened


def _where(cables: Sequence[CableSegment]) -> str:
    """Name cables by the ways that they make, such as “feed” to “oak 3”; the cables come in walking order."""
    ends: dict[str, str] = {}  # the present end of each way, and where the way begins
    for cable in cables:
        ends[cable.to_node] = ends.pop(cable.from_node, cable.from_node)
    return ", ".join(f"from “{start}” to “{end}”" for end, start in ends.items())
