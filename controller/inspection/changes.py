"""Changes to the wiring of one transformer: carried out on its networks, and said in words.

Lengths of new cable are those of the old way from the transformer, so that it can go into the same trench; a
shorter way across the garden is better still.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from config.models.cable_changes import AddTransformer, CableChange, LayGauge, LayRun, MoveToTap, Terminal
from config.models.cables import Gauge
from config.phrase import Phrase, list_phrases
from controller.inspection.gauges import Gauges, Prices, copper_kg
from controller.wiring.from_site import name_feed
from controller.wiring.network import CableSegment, Feed, Network, way_to


class ChangeKind(StrEnum):
    """What a proposal changes."""

    TAP = "another tap"
    CABLE = "thicker cable"
    FEED = "feed nearer to the middle"
    RUN = "second run"
    TRANSFORMER = "second transformer"


@dataclass(frozen=True, kw_only=True, slots=True)
class Purchase:
    """New two-conductor cable to lay."""

    gauge: Gauge
    length_m: float

    @property
    def copper_kg(self) -> float:
        """Copper in both conductors."""
        return copper_kg(self.gauge, self.length_m)


@dataclass(frozen=True, kw_only=True, slots=True)
class Cost:
    """What a proposal costs: cable by its copper, and digging; common practice, no source.

    ``trench_m`` counts once where several cables are laid along one way.
    """

    buys: tuple[Purchase, ...]
    trench_m: float
    prices: Prices

    @property
    def copper_kg(self) -> float:
        """Copper to buy."""
        return sum(purchase.copper_kg for purchase in self.buys)

    @property
    def total(self) -> float:
        """Price of cable and trench together."""
        return self.copper_kg * self.prices.copper_per_kg + self.trench_m * self.prices.trench_per_m


def cost_of(networks: Sequence[Network], changes: Sequence[CableChange], prices: Prices) -> Cost:
    """Work out what changes cost to these networks, as they are now."""
    length_m: dict[Gauge, float] = {}
    dug: dict[str, float] = {}
    pieces = {cable.to_node: cable for network in networks for cable in network.segments}
    for change in changes:
        if isinstance(change, LayGauge):
            dug.update((end, pieces[end].length_m) for end in change.ends)
        elif isinstance(change, LayRun):
            dug.update((cable.to_node, cable.length_m) for cable in _way(networks, change.node))
        else:
            continue
        length_m[change.gauge] = length_m.get(change.gauge, 0.0) + change.length_m
    buys = tuple(Purchase(gauge=gauge, length_m=each_m) for gauge, each_m in length_m.items())
    return Cost(buys=buys, trench_m=sum(dug.values()), prices=prices)


def _relaid(cable: CableSegment, gauges: Gauges) -> CableSegment:
    """Lay the gauge for the node at which a cable ends; what is on its plate goes with the old one."""
    gauge = gauges.get(cable.to_node)
    return cable if gauge is None else replace(cable, gauge=gauge, ampacity_a=None)


def terminal_of(feed: Feed) -> Terminal:
    """The tap and the common that a feed is."""
    return Terminal(tap_v=feed.source_v, common=feed.common)


def _way(networks: Sequence[Network], node: str) -> tuple[CableSegment, ...]:
    return next((way for network in networks if (way := way_to(network, node))), ())


def carry_out(networks: Sequence[Network], changes: Sequence[CableChange]) -> tuple[Network, ...]:
    """Give the networks of the transformer after some changes, one for each tap and common in use.

    What moves to another transformer is no longer among them. A network with a ring only moves as a whole
    to another tap or common; others may come to its own.
    """
    trees = [network for network in networks if network.is_tree]
    cables = {cable.to_node: cable for network in trees for cable in network.segments}
    starts = {
        cable.to_node: terminal_of(network.feed)
        for network in trees
        for cable in network.segments
        if cable.from_node == network.feed.node
    }
    gauges = {end: each.gauge for each in changes if isinstance(each, LayGauge) for end in each.ends}
    cables = {end: _relaid(cable, gauges) for end, cable in cables.items()}
    moved = {change.node: change.terminal for change in changes if isinstance(change, MoveToTap)}
    rings: dict[Terminal, list[CableSegment]] = {}
    for network in networks:
        if not network.is_tree:
            ends = [c.to_node for c in network.segments if c.from_node == network.feed.node]
            terminal = next((moved[end] for end in ends if end in moved), terminal_of(network.feed))
            rings.setdefault(terminal, []).extend(network.segments)
    for change in changes:
        if isinstance(change, MoveToTap):
            if change.node in starts:
                starts[change.node] = change.terminal
        elif isinstance(change, LayRun):
            if change.instead_of:
                way = _way(networks, change.node)
                turned = [cables.pop(cable.to_node) for cable in way]
                del starts[change.instead_of]
                for cable in turned[1:]:
                    back = replace(cable, from_node=cable.to_node, to_node=cable.from_node)
                    cables[back.to_node] = back
            cables[change.node] = CableSegment(
                from_node=networks[0].feed.node,
                to_node=change.node,
                gauge=change.gauge,
                length_m=change.length_m,
            )
            starts[change.node] = change.terminal
        elif isinstance(change, AddTransformer):
            for node in change.nodes:
                del starts[node]
    return _sort_to_feeds(networks, cables, starts, rings)


def _sort_to_feeds(
    networks: Sequence[Network],
    cables: Mapping[str, CableSegment],
    starts: Mapping[str, Terminal],
    rings: Mapping[Terminal, Sequence[CableSegment]],
) -> tuple[Network, ...]:
    """Build a network for each terminal in use: the present feeds first, then new ones."""
    feeds = {terminal_of(network.feed): network.feed for network in networks}
    known = networks[0].feed
    for terminal in (*starts.values(), *rings):
        if terminal not in feeds:
            feeds[terminal] = _new_feed(known, terminal)
    onward: dict[str, list[CableSegment]] = {}
    for end, cable in cables.items():
        if end not in starts:
            onward.setdefault(cable.from_node, []).append(cable)
    lamps = [fixture for network in networks for fixture in network.fixtures]
    present_nodes = {network.feed.node for network in networks}
    built = []
    for terminal, feed in feeds.items():
        waiting = [
            replace(cables[end], from_node=feed.node) for end, own in starts.items() if own == terminal
        ]
        segments = []
        while waiting:
            cable = waiting.pop()
            segments.append(cable)
            waiting += onward.get(cable.to_node, ())
        segments += (
            replace(cable, from_node=feed.node) if cable.from_node in present_nodes else cable
            for cable in rings.get(terminal, ())
        )
        nodes = {feed.node, *(cable.to_node for cable in segments)}
        fixtures = tuple(lamp for lamp in lamps if lamp.node in nodes)
        if segments or fixtures:
            present = next((each for each in networks if each.feed is feed), networks[0])
            built.append(replace(present, feed=feed, segments=tuple(segments), fixtures=fixtures))
    return tuple(built)


def _new_feed(known: Feed, terminal: Terminal) -> Feed:
    """Make a feed of a terminal that was not in use."""
    node = name_feed(known.transformer, terminal.tap_v, terminal.common, first=False)
    return replace(known, node=node, source_v=terminal.tap_v, common=terminal.common)


def kind_of(changes: Sequence[CableChange]) -> ChangeKind:
    """The greatest of what is changed."""
    kinds = {_kind(change) for change in changes}
    order = (ChangeKind.TRANSFORMER, ChangeKind.FEED, ChangeKind.RUN, ChangeKind.CABLE)
    return next((kind for kind in order if kind in kinds), ChangeKind.TAP)


def _kind(change: CableChange) -> ChangeKind:
    match change:
        case LayGauge():
            return ChangeKind.CABLE
        case LayRun():
            return ChangeKind.FEED if change.instead_of else ChangeKind.RUN
        case AddTransformer():
            return ChangeKind.TRANSFORMER
    return ChangeKind.TAP


def say_changes(networks: Sequence[Network], changes: Sequence[CableChange]) -> tuple[Phrase, ...]:
    """Say what to do, one clause for each thing to do."""
    moves = [change for change in changes if isinstance(change, MoveToTap)]
    laid = [change for change in changes if isinstance(change, LayGauge)]
    runs = [change for change in changes if isinstance(change, LayRun)]
    added = [change for change in changes if isinstance(change, AddTransformer)]
    return (
        *_say_moves(networks, moves, runs),
        *(_say_run(run) for run in runs),
        *_say_gauges(networks, laid),
        *(_say_transformer(each) for each in added),
    )


def _say_moves(
    networks: Sequence[Network], moves: Sequence[MoveToTap], runs: Sequence[LayRun]
) -> Iterator[Phrase]:
    """One clause where all that hangs on one tap moves to another, else one for each cable."""
    left = {move.node: move for move in moves}
    replaced = {run.instead_of for run in runs}
    for network in networks:
        feed = network.feed
        roots = {c.to_node for c in network.segments if c.from_node == feed.node} - replaced
        own = [left[node] for node in roots if node in left]
        alone = not any(fixture.node == feed.node for fixture in network.fixtures)
        if own and alone and len(own) == len(roots) and len({move.terminal for move in own}) == 1:
            old, new = terminal_of(feed), own[0].terminal
            if old.common == new.common:
                yield Phrase("use the {new:g} V tap instead of {old:g} V", new=new.tap_v, old=old.tap_v)
                for move in own:
                    del left[move.node]
    commons = {each.terminal.common for each in moves} | {each.terminal.common for each in runs}
    commons |= {terminal_of(network.feed).common for network in networks}
    for move in left.values():
        to = Phrase("the {volts:g} V tap", volts=move.terminal.tap_v)
        if len(commons) > 1:
            number = str(move.terminal.common)
            to = Phrase("the {volts:g} V tap, common {common}", volts=move.terminal.tap_v, common=number)
        yield Phrase("move the cable to “{node}” to {terminal}", node=move.node, terminal=to)


def _say_run(run: LayRun) -> Phrase:
    gauge, volts, node = str(run.gauge), run.terminal.tap_v, run.node
    if run.instead_of:
        return Phrase(
            "bring the home run to “{node}” in {gauge} from the {volts:g} V tap and take away the cable to"
            " “{other}”",
            gauge=gauge,
            volts=volts,
            node=node,
            other=run.instead_of,
        )
    return Phrase(
        "lay a second run of {gauge} from the {volts:g} V tap to “{node}” and cut the cable from “{other}”"
        " to it",
        gauge=gauge,
        volts=volts,
        node=node,
        other=run.cut_from,
    )


def _say_gauges(networks: Sequence[Network], laid: Sequence[LayGauge]) -> Iterator[Phrase]:
    """One clause for each gauge, with the ways on which it is laid."""
    gauges = {end: change.gauge for change in laid for end in change.ends}
    by_gauge: dict[Gauge, list[CableSegment]] = {}
    for network in networks:
        for cable in network.walk():
            if cable.to_node in gauges:
                by_gauge.setdefault(gauges[cable.to_node], []).append(cable)
    for gauge, cables in by_gauge.items():
        ends: dict[str, str] = {}  # the present end of each way, and where the way begins
        for cable in cables:
            ends[cable.to_node] = ends.pop(cable.from_node, cable.from_node)
        ways = [Phrase("from “{start}” to “{end}”", start=start, end=end) for end, start in ends.items()]
        yield Phrase("lay {gauge} {ways}", gauge=str(gauge), ways=list_phrases(ways))


def _say_transformer(added: AddTransformer) -> Phrase:
    nodes = list_phrases([Phrase("“{node}”", node=node) for node in added.nodes])
    return Phrase(
        "fit a second transformer of {rated_va:g} VA and move the cables to {nodes} to its {volts:g} V tap",
        rated_va=added.rated_va,
        nodes=nodes,
        volts=added.tap_v,
    )
