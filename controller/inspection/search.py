"""The search for changes: each run of cable by itself, then all of them together on the taps and commons.

What one run costs on a tap does not depend on the other runs. So each is worked out alone for every tap: as
it is, with thicker cable, with a second run to each of some nodes, with its feed moved there. Then one way is
chosen for each run, so that the whole costs least and neither the transformer nor a common carries too much.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

from config.models.cable_changes import CableChange, LayGauge, LayRun, MoveToTap, Terminal
from config.models.cables import Gauge
from controller.inspection.changes import ChangeKind
from controller.inspection.gauges import (
    HOME_RUN,
    SMALL,
    Front,
    Point,
    Sizing,
    amperes_at,
    cheapest,
    gauges_of,
)
from controller.wiring.network import CableSegment, FixtureAt, Network, walk, way_to
from controller.wiring.power_flow import try_volts
from controller.wiring.solver import build_tree

MOST_NODES: Final = 12
"""Nodes of a long way that are tried as the end of a second run, evenly taken, the last among them."""

MOST_FEEDS: Final = 4
"""The same for a feed that is moved."""

MOST_TRIED: Final = 4000
"""Partial choices that are looked at before the search for all runs together ends."""

MOST_SINGLE: Final = 8
"""Up to so many new cables are made thinner one by one where they give a lamp too many volts."""

MOVED_COST: Final = 0.01
"""What a wire that is moved at the transformer counts, so that none is moved for nothing."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """One cable from the transformer with everything behind it, as a network of its own."""

    network: Network
    terminal: Terminal

    @property
    def first(self) -> CableSegment:
        """The cable at the transformer."""
        return next(c for c in self.network.segments if c.from_node == self.network.feed.node)


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """One way to lay a run: as it is, with a second run to the end of a way, or with its feed moved there.

    Attributes:
        below_mm2: areas that new gauges stay below, by the ends of their cables; see ``Sizing``.
        fronts: one for each cable that then leaves the transformer.
    """

    kind: ChangeKind
    way: tuple[CableSegment, ...]
    below_mm2: tuple[tuple[str, float], ...] = ()
    fronts: tuple[Front, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """A plan with volts for each cable that then leaves the transformer.

    ``moves`` says whether a cable that is there now gets other volts.
    """

    plan: Plan
    volts: tuple[float, ...]
    points: tuple[Point, ...]
    cost: float
    amperes: tuple[float, ...]
    moves: bool

    @property
    def key(self) -> tuple[object, ...]:
        """What it is called when it is ruled out."""
        plan = self.plan
        return plan.kind, plan.way[-1].to_node if plan.way else "", plan.below_mm2, self.volts

    @property
    def buys_nothing(self) -> bool:
        """Whether no cable is laid."""
        return not any(point[4] for point in self.points)


Chosen = tuple[tuple[Choice, tuple[Terminal, ...]], ...]
"""A choice for each run with the terminals of its cables."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """What a transformer can carry besides what cannot be moved.

    Attributes:
        terminals: every tap with every common.
        most_a: amperes that are left for the circuit of a terminal.
        by_common: whether a common with all its taps is one circuit; otherwise each tap is its own.
        most_va: volt-amperes that are left.
    """

    terminals: tuple[Terminal, ...]
    most_a: Callable[[Terminal], float]
    most_va: float
    by_common: bool = True

    def circuit_of(self, terminal: Terminal) -> Terminal | int:
        """The circuit that a terminal belongs to."""
        return terminal.common if self.by_common else terminal


def split_runs(networks: Sequence[Network], terminals: Sequence[Terminal]) -> tuple[Run, ...]:
    """Part the networks at the transformer's terminals into runs."""
    runs = []
    for network, terminal in zip(networks, terminals, strict=True):
        for first in (each for each in network.segments if each.from_node == network.feed.node):
            cables = (first, *walk(first.to_node, network.segments))
            nodes = {cable.to_node for cable in cables}
            fixtures = tuple(fixture for fixture in network.fixtures if fixture.node in nodes)
            alone = Network(
                feed=network.feed, segments=cables, fixtures=fixtures, temperature_c=network.temperature_c
            )
            runs.append(Run(network=alone, terminal=terminal))
    return tuple(runs)


def list_plans(run: Run, sizing: Sizing, *, rewired: bool) -> tuple[Plan, ...]:
    """List the ways to lay a run; only as it is or with thicker cable unless it may be ``rewired``."""
    plans = [lay_plan(sizing, ChangeKind.CABLE, ())]
    if rewired and run.network.fixtures:
        small = len(run.network.segments) <= SMALL
        plans += [
            lay_plan(sizing, kind, way)
            for kind, most in ((ChangeKind.RUN, MOST_NODES), (ChangeKind.FEED, MOST_FEEDS))
            for way in _ways(run, small=small, most=most)
        ]
    return tuple(plan for plan in plans if plan is not None)


def lay_plan(
    sizing: Sizing,
    kind: ChangeKind,
    way: tuple[CableSegment, ...],
    below_mm2: tuple[tuple[str, float], ...] = (),
) -> Plan | None:
    """Work out one way to lay a run; None where it leaves a cable without lamps, or does on no tap."""
    fronts: tuple[Front, ...] = (sizing.front,)
    if kind is ChangeKind.RUN:
        fronts = sizing.second_run(way)
        if not all(fronts) or fronts[0][-1][0] <= 0.0:
            return None
    elif kind is ChangeKind.FEED:
        fronts = (sizing.moved_feed(way),)
    return Plan(kind=kind, way=way, below_mm2=below_mm2, fronts=fronts) if all(fronts) else None


def _ways(run: Run, *, small: bool, most: int) -> Iterator[tuple[CableSegment, ...]]:
    """The ways to nodes beyond the first: to all of a small run, else to some on the way with most drop."""
    network = run.network
    if small:
        ways = (way_to(network, cable.to_node) for cable in network.segments)
        yield from (way for way in ways if len(way) > 1)
        return
    way = _longest(network)
    count = min(len(way) - 1, most)
    for part in range(1, count + 1):
        yield way[: 1 + round(part * (len(way) - 1) / count)]


def _longest(network: Network) -> tuple[CableSegment, ...]:
    """The way to the lamp with the most metres times watts behind each of them, the one that drops most."""
    watts: dict[str, float] = {}
    for fixture in network.fixtures:
        watts[fixture.node] = watts.get(fixture.node, 0.0) + fixture.count * fixture.watts
    cables = network.walk()
    for cable in reversed(cables):
        behind = watts.get(cable.to_node, 0.0)
        watts[cable.from_node] = watts.get(cable.from_node, 0.0) + behind
    drop = {network.feed.node: 0.0}
    for cable in cables:
        loss = watts.get(cable.to_node, 0.0) * cable.length_m / cable.gauge.area_mm2
        drop[cable.to_node] = drop[cable.from_node] + loss
    farthest = max((fixture.node for fixture in network.fixtures), key=lambda node: drop[node])
    return way_to(network, farthest)


def list_choices(
    run: Run,
    plans: Sequence[Plan],
    taps_v: Sequence[float],
    lit_v: Callable[[float], float],
    excessive: Callable[[float], frozenset[str]],
) -> list[Choice]:
    """List what each plan costs on each tap.

    Args:
        run: the run.
        plans: ways to lay it.
        taps_v: rated volts of the taps.
        lit_v: what a tap gives with everything lit.
        excessive: nodes at which lamps would get too many volts on a tap with the cables as they are.
    """
    choices = []
    nodes = {fixture.node for fixture in run.network.fixtures}
    for plan in plans:
        behind: set[str] = set()
        if plan.kind is ChangeKind.RUN:
            end = plan.way[-1].to_node
            behind = {end, *(cable.to_node for cable in walk(end, run.network.segments))}
        for volts in product(taps_v, repeat=len(plan.fronts)):
            stays = plan.kind is not ChangeKind.FEED
            if stays and excessive(volts[0]) & (nodes - behind):
                continue
            points = [
                cheapest(front, lit_v(each_v)) for front, each_v in zip(plan.fronts, volts, strict=True)
            ]
            found = tuple(point for point in points if point is not None)
            if len(found) < len(points):
                continue
            amperes = (amperes_at(point, lit_v(each_v)) for point, each_v in zip(found, volts, strict=True))
            moves = volts[0] != run.terminal.tap_v
            choices.append(
                Choice(
                    plan=plan,
                    volts=volts,
                    points=found,
                    cost=sum(point[1] for point in found) + moves * MOVED_COST,
                    amperes=tuple(amperes),
                    moves=moves,
                )
            )
    return choices


def list_thinner(choice: Choice) -> list[tuple[tuple[str, float], ...]]:
    """The ways to make a choice thinner somewhere, for where a lamp gets too many volts with it.

    Returns:
        Areas to stay below, by the ends of the cables: for each of a few new cables, else for each gauge.
    """
    laid = gauges_of_all(choice.points)
    known = dict(choice.plan.below_mm2)
    if len(laid) <= MOST_SINGLE:
        groups = [[end] for end in laid]
    else:
        groups = [[end for end in laid if laid[end] == gauge] for gauge in dict.fromkeys(laid.values())]
    return [tuple(sorted({**known, **{end: laid[end].area_mm2 for end in ends}}.items())) for ends in groups]


def find_excessive(
    run: Run, volts: float, highest_v: Callable[[FixtureAt], float], cool_c: float
) -> frozenset[str]:
    """Nodes at which lamps get too many volts from a tap of these, with their zone alone on cool cable."""
    feed = replace(run.network.feed, source_v=volts)
    network = replace(run.network, feed=feed)
    if all(feed.no_load_v <= highest_v(fixture) for fixture in network.fixtures):
        return frozenset()
    nodes = set()
    for zone in network.zones:
        lamps = [fixture for fixture in network.fixtures if fixture.zone == zone]
        tree, _, at_lamps = build_tree(network, lamps, cool_c)
        found = try_volts(tree, feed.no_load_v)
        if found is not None:
            nodes |= {
                lamp.node for lamp, at in zip(lamps, at_lamps, strict=True) if found[at] > highest_v(lamp)
            }
    return frozenset(nodes)


def choose_together(runs: Sequence[Run], choices: Sequence[Sequence[Choice]], room: Room) -> Chosen | None:
    """Take one choice for each run, with terminals, at the least cost that the transformer can carry.

    Returns:
        The choices in the order of the runs; None where nothing was found among the first few thousand.
    """
    if not all(choices):
        return None
    together = _Together(runs, choices, room)
    together.place_run(0, 0.0, 0.0, ())
    return together.best


class _Together:
    """The search for one choice for each run: depth first, cheapest first, bounded by the best so far."""

    def __init__(self, runs: Sequence[Run], choices: Sequence[Sequence[Choice]], room: Room) -> None:
        self._runs, self._choices, self._room = runs, choices, room
        self._rest = [0.0] * (len(runs) + 1)
        for place in range(len(runs) - 1, -1, -1):
            self._rest[place] = self._rest[place + 1] + choices[place][0].cost
        self._terminals: dict[float, list[Terminal]] = {}
        for terminal in room.terminals:
            self._terminals.setdefault(terminal.tap_v, []).append(terminal)
        self._load_a: dict[Terminal | int, float] = {}
        self._left = MOST_TRIED
        self._best_cost = float("inf")
        self.best: Chosen | None = None

    def place_run(self, place: int, cost: float, load_va: float, chosen: Chosen) -> None:
        if place == len(self._runs):
            self._best_cost, self.best = cost, chosen
            return
        for choice in self._choices[place]:
            if self._left < 0 or self._is_dearer(place, cost + choice.cost):
                return
            va = sum(a * v for a, v in zip(choice.amperes, choice.volts, strict=True))
            if load_va + va > self._room.most_va:
                continue
            for terminals in product(*(self._terminals[volts] for volts in choice.volts)):
                self._left -= 1
                shifted = terminals[0] != self._runs[place].terminal and not choice.moves
                more = choice.cost + shifted * MOVED_COST
                if self._left < 0 or self._is_dearer(place, cost + more):
                    continue
                circuits = [self._room.circuit_of(terminal) for terminal in terminals]
                loads = list(zip(circuits, choice.amperes, strict=True))
                self._add(loads, 1.0)
                if all(
                    self._load_a[circuit] <= self._room.most_a(terminal)
                    for circuit, terminal in zip(circuits, terminals, strict=True)
                ):
                    self.place_run(place + 1, cost + more, load_va + va, (*chosen, (choice, terminals)))
                self._add(loads, -1.0)

    def _is_dearer(self, place: int, cost: float) -> bool:
        return cost + self._rest[place + 1] >= self._best_cost - 1e-9

    def _add(self, loads: Sequence[tuple[Terminal | int, float]], times: float) -> None:
        for circuit, amperes in loads:
            self._load_a[circuit] = self._load_a.get(circuit, 0.0) + times * amperes


def to_changes(runs: Sequence[Run], chosen: Chosen) -> tuple[CableChange, ...]:
    """Say as changes what was chosen."""
    changes: list[CableChange] = []
    for run, (choice, terminals) in zip(runs, chosen, strict=True):
        plan = choice.plan
        laid = gauges_of_all(choice.points)
        new_gauge = laid.pop(HOME_RUN, None)
        if plan.kind is ChangeKind.FEED and new_gauge is not None:
            changes.append(_run_change(plan, new_gauge, terminals[0]))
        elif terminals[0] != run.terminal:
            changes.append(MoveToTap(table=run.first.table, node=run.first.to_node, terminal=terminals[0]))
        if plan.kind is ChangeKind.RUN and new_gauge is not None:
            changes.append(_run_change(plan, new_gauge, terminals[1]))
        by_cable: dict[tuple[int | None, Gauge], list[CableSegment]] = {}
        for cable in run.network.walk():
            if (gauge := laid.get(cable.to_node)) is not None:
                # Without a file every piece is a cable of its own.
                by_cable.setdefault((cable.table, gauge), []).append(cable)
        changes += [
            LayGauge(
                table=table,
                ends=tuple(cable.to_node for cable in cables),
                gauge=gauge,
                length_m=sum(cable.length_m for cable in cables),
            )
            for (table, gauge), cables in by_cable.items()
        ]
    return tuple(changes)


def gauges_of_all(points: Sequence[Point]) -> dict[str, Gauge]:
    """The gauges of several entries together."""
    return {end: gauge for point in points for end, gauge in gauges_of(point).items()}


def _run_change(plan: Plan, gauge: Gauge, terminal: Terminal) -> LayRun:
    last = plan.way[-1]
    return LayRun(
        table=last.table,
        node=last.to_node,
        cut_from=last.from_node,
        instead_of=plan.way[0].to_node if plan.kind is ChangeKind.FEED else "",
        gauge=gauge,
        length_m=sum(cable.length_m for cable in plan.way),
        terminal=terminal,
    )
