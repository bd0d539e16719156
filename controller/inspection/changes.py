"""What could be done to one network: another tap, thicker cable, a feed nearer to the middle, a second run.

These are candidates; ``advice`` inspects them. Those that leave a lamp without its volts even with the
thickest gauge tried are not listed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.models.cables import Gauge
from controller.inspection.gauges import Gauges, SizingTrial, has_volts
from controller.inspection.rewiring import Purchase, feed_at, move_branch, second_circuit, second_run, thicken
from controller.wiring.cable import thicker
from controller.wiring.network import CableSegment, Network, way_to
from controller.wiring.solver import Outcome, Solution

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


def list_changes(
    outcome: Outcome, taps_v: Sequence[float], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Everything that is tried for one network, with these taps and the drop that the site accepts."""
    network, own_v = outcome.network, outcome.network.feed.source_v
    way = way_to(network, _worst_node(outcome))
    other_taps_v = sorted({tap_v for tap_v in taps_v if tap_v != own_v})
    for tap_v in (None, *other_taps_v):
        tapped = network
        if tap_v is not None:
            tapped = replace(network, feed=replace(network.feed, source_v=tap_v, tap=f"{tap_v:g} V"))
            words = f"use the {tap_v:g} V tap instead of {own_v:g} V"
            yield WiringChange(ChangeKind.TAP, words, (), (tapped,), tap_v)
        yield from _thicker_cables(tapped, tap_v, drop_percent)
        yield from _new_runs(tapped, tap_v, way, drop_percent)
    yield from _other_circuits(network, way, other_taps_v, drop_percent)


def _worst_node(outcome: Outcome) -> str:
    if not isinstance(outcome, Solution):
        return outcome.farthest
    return outcome.worst.fixture.node if outcome.worst else outcome.network.feed.node


def _with_tap(tap_v: float | None, words: str) -> str:
    return words if tap_v is None else f"use the {tap_v:g} V tap and {words}"


def _thicker_cables(
    network: Network, tap_v: float | None, drop_percent: float | None
) -> Iterator[WiringChange]:
    for gauges in SizingTrial(network, drop_percent).find_gauges():
        words, buys, thickened = _lay_thicker((network,), (gauges,))
        yield WiringChange(ChangeKind.CABLE, _with_tap(tap_v, words), buys, thickened, tap_v)


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


def _new_runs(
    network: Network, tap_v: float | None, way: Sequence[CableSegment], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Home runs to a node on the way to the worst lamp: instead of the old one, or next to it."""
    for cable in _evenly(way[1:]):
        node, gauges = cable.to_node, _run_gauges(way)
        moved = f"bring the home run to “{node}” and take away the cable to “{way[0].to_node}”"
        split = f"lay a second run to “{node}” and cut the cable from “{cable.from_node}” to it"
        for kind, rewire, words in ((ChangeKind.FEED, feed_at, moved), (ChangeKind.RUN, second_run, split)):
            if not has_volts(rewire(network, node, gauges[-1])[0], drop_percent):
                continue
            for gauge in gauges:
                after, purchase = rewire(network, node, gauge)
                yield WiringChange(kind, _with_tap(tap_v, words), (purchase,), (after,), tap_v)


def _other_circuits(
    network: Network, way: Sequence[CableSegment], taps_v: Sequence[float], drop_percent: float | None
) -> Iterator[WiringChange]:
    """Part of the cables on another tap, a circuit of its own: a whole branch, or a second run to a node."""
    branches = [cable.to_node for cable in network.segments if cable.from_node == network.feed.node]
    for tap_v in taps_v:
        for node in branches if len(branches) > 1 else ():
            words = f"move the cable to “{node}” to the {tap_v:g} V tap"
            parts = move_branch(network, node, tap_v)
            yield WiringChange(ChangeKind.TAP, words, (), parts)
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
    way = way_to(network, _worst_node(outcome))
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
