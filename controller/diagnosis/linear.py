"""How the volts of a solved network answer a small change: current taken at a node, ohms in a cable.

Every lamp is replaced by its tangent at the solved volts. What is left is linear: one matrix says by how much
the volts at each node rise for each ampere that is let in at another. A change of one resistance is then a
change of rank one, and its answer is exact but for the bend of the lamps' curves (a few hundredths of a volt
where a lamp gets one volt less).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from controller.wiring.network import CableSegment, Network
from controller.wiring.solver import CURRENT_EXPONENTS, LampState, Solution

Rows = list[dict[int, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Load:
    """The lamps of one fixture as their node sees them, each lead included.

    Attributes:
        node: its place; None at the feed.
        amperes, siemens: of all its lamps together, and how much more for each volt at the node.
        volts: at the lamps.
        share: volts more at the lamps for each volt more at the node.
    """

    node: int | None
    amperes: float
    siemens: float
    volts: float
    share: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Branch:
    """One cable: its ends (None for the feed), its ohms and amperes."""

    begin: int | None
    end: int | None
    ohm: float
    amperes: float


class LinearNetwork:
    """A solved network with its lamps replaced by their tangents."""

    def __init__(self, solution: Solution) -> None:
        self.network: Network = solution.network
        feed = self.network.feed
        # A transformer whose volts fall with its load is one more resistance before the feed.
        inner_ohm = (feed.regulation or 0.0) * feed.full_load_v**2 / feed.rated_va
        nodes = (each for each in solution.volts if each != feed.node or inner_ohm)
        self.place = {name: at for at, name in enumerate(nodes)}
        self.volts = [solution.volts[name] for name in self.place]
        self.volts_by_node = solution.volts
        self.feed_v = solution.volts[feed.node]
        self.branches = [self._branch(cable, solution.volts) for cable in self.network.segments]
        if inner_ohm:
            inner_a = (feed.no_load_v - self.feed_v) / inner_ohm
            inner = Branch(begin=None, end=self.place[feed.node], ohm=inner_ohm, amperes=inner_a)
            self.branches.append(inner)
        self.loads = [self._load(state, self.network.temperature_c) for state in solution.lamps]
        elimination = _Elimination(self._rows({}))
        count = len(self.volts)
        # answer[a][b]: volts more at a for each ampere let in at b.
        self.answer = [elimination.solve({at: 1.0}, count) for at in range(count)]

    def _branch(self, cable: CableSegment, volts: Mapping[str, float]) -> Branch:
        ohm = cable.loop_ohm(self.network.temperature_c)
        return Branch(
            begin=self.place.get(cable.from_node),
            end=self.place.get(cable.to_node),
            ohm=ohm,
            amperes=(volts[cable.from_node] - volts[cable.to_node]) / ohm,
        )

    def _load(self, state: LampState, copper_c: float) -> Load:
        fixture = state.fixture
        amperes = fixture.count * state.amperes
        siemens = CURRENT_EXPONENTS[fixture.lamp] * amperes / state.volts
        share = 1.0 / (1.0 + fixture.lead_ohm(copper_c) * siemens)
        return Load(
            node=self.place.get(fixture.node),
            amperes=amperes,
            siemens=siemens * share,
            volts=state.volts,
            share=share,
        )

    def _rows(self, ohms: Mapping[int, float]) -> Rows:
        """The conductances between the nodes, with other ohms in some of the cables."""
        rows: Rows = [{at: 0.0} for at in range(len(self.volts))]
        for at, branch in enumerate(self.branches):
            conductance = 1.0 / ohms.get(at, branch.ohm)
            for here, there in ((branch.begin, branch.end), (branch.end, branch.begin)):
                if here is not None:
                    rows[here][here] += conductance
                    if there is not None:
                        rows[here][there] = rows[here].get(there, 0.0) - conductance
        for load in self.loads:
            if load.node is not None:
                rows[load.node][load.node] += load.siemens
        return rows

    def node_volts(self, node: int | None) -> float:
        """Volts at a place."""
        return self.feed_v if node is None else self.volts[node]

    def between(self, begin: int | None, end: int | None) -> float:
        """Volts more at one place for each ampere let in at another; none at the feed, or from it."""
        return 0.0 if begin is None or end is None else self.answer[begin][end]

    def inserted(self, cable: int, ohm: float) -> list[float] | None:
        """By how much the volts change at every node with more ohms in one cable; None on a collapse."""
        branch = self.branches[cable]
        begin, end = branch.begin, branch.end
        seen = self.between(begin, begin) + self.between(end, end) - 2.0 * self.between(begin, end)
        below = branch.ohm * (branch.ohm + ohm) - ohm * seen
        if below <= 0.0:
            return None
        amperes = branch.amperes * branch.ohm * ohm / below
        change = [0.0] * len(self.volts)
        for sign, node in ((1.0, begin), (-1.0, end)):
            if node is not None:
                row = self.answer[node]
                change = [volts + sign * amperes * each for volts, each in zip(change, row, strict=True)]
        return change

    def exchanged(self, ohms: Mapping[int, float]) -> list[float] | None:
        """By how much the volts change at every node with other ohms in some cables."""
        if len(ohms) == 1:
            [(at, ohm)] = ohms.items()
            return self.inserted(at, ohm - self.branches[at].ohm)
        missing: dict[int, float] = {}
        for at, ohm in ohms.items():
            branch = self.branches[at]
            amperes = branch.amperes * (branch.ohm / ohm - 1.0)
            for sign, node in ((-1.0, branch.begin), (1.0, branch.end)):
                if node is not None:
                    missing[node] = missing.get(node, 0.0) + sign * amperes
        return _Elimination(self._rows(ohms)).solve(missing, len(self.volts))

    def taken(self, node: int | None, amperes: float, siemens: float) -> list[float]:
        """By how much the volts change at every node where a load takes more, its conductance too."""
        if node is None:
            return [0.0] * len(self.volts)
        row = self.answer[node]
        amperes /= 1.0 + siemens * row[node]
        return [-amperes * each for each in row]

    def raised(self, volts: float) -> list[float]:
        """By how much the volts change at every node with more volts at the feed."""
        change = [0.0] * len(self.volts)
        for branch in self.branches:
            for here, there in ((branch.begin, branch.end), (branch.end, branch.begin)):
                if here is None and there is not None:
                    row, amperes = self.answer[there], volts / branch.ohm
                    change = [now + amperes * each for now, each in zip(change, row, strict=True)]
        return change


class _Elimination:
    """Gauss's elimination of a symmetric matrix with few entries, the node with the fewest neighbours first.

    A tree is folded from its ends inwards, and nothing is filled in.
    """

    def __init__(self, rows: Rows) -> None:
        self._steps: list[tuple[int, float, Sequence[tuple[int, float]]]] = []
        waiting = [(len(row), at) for at, row in enumerate(rows)]
        heapify(waiting)
        done = [False] * len(rows)
        while waiting:
            degree, at = heappop(waiting)
            row = rows[at]
            if done[at] or degree != len(row):
                continue
            done[at] = True
            pivot = row.pop(at)
            others = list(row.items())
            self._steps.append((at, pivot, [(other, value / pivot) for other, value in others]))
            for other, value in others:
                target, share = rows[other], value / pivot
                del target[at]
                for third, weight in others:
                    target[third] = target.get(third, 0.0) - share * weight
                heappush(waiting, (len(target), other))

    def solve(self, right: Mapping[int, float], count: int) -> list[float]:
        """Solve for one right-hand side."""
        values = [0.0] * count
        for at, value in right.items():
            values[at] = value
        for at, _, links in self._steps:
            if (value := values[at]) != 0.0:
                for other, share in links:
                    values[other] -= share * value
        for at, pivot, links in reversed(self._steps):
            value = values[at] / pivot
            for other, share in links:
                value -= share * values[other]
            values[at] = value
        return values
