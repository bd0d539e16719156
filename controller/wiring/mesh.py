"""Rings and cables side by side: the arithmetic of a network that is no tree, without names.

Method. As in ``power_flow`` every lamp's current is replaced by its tangent at the present volts, which
leaves a network of conductances. Its nodes are taken out one after the other: a node with conductances G1 …
Gn to its neighbours and g to the other conductor is replaced by conductances Gi Gj ÷ (ΣG + g) between each
two of them (star to mesh, A. Rosen, "A new network theorem", Journal IEE 62, 1924; from memory). Then the
volts follow in the opposite order. That is Gaussian elimination of the nodal equations, written without a
subtraction between conductances: a cable of a few millimetres costs no digits beside one of a hundred metres.

The node with the fewest neighbours goes first (W. F. Tinney and J. W. Walker, "Direct solutions of sparse
network equations by optimally ordered triangular factorization", Proc. IEEE 55, 1967; from memory), so what
hangs on a ring as a tree costs little more than the sweeps of a tree. The order depends only on which nodes
are joined, and is found once.

A pivot, ΣG + g, at or below zero proves that there is no solution just as it does in a tree: the matrix is
symmetric, and with positive pivots alone it is an M-matrix.
"""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush
from typing import NamedTuple

Branch = tuple[int, int, float]
"""Places of its two ends, and the ohms of the loop."""


class Step(NamedTuple):
    """One node taken out.

    Attributes:
        ends: its neighbours at that moment.
        slots: where the conductance to each of them is kept.
        fills: two neighbours, by their place in ``ends``, and the slot of the conductance between them.
    """

    node: int
    ends: tuple[int, ...]
    slots: tuple[int, ...]
    fills: tuple[tuple[int, int, int], ...]


class Elimination(NamedTuple):
    """The order in which the nodes of a network are taken out; place 0 is the feed and stays.

    Attributes:
        branch_slots: for each branch, the slot of the conductance between its ends.
        slots: how many there are.
    """

    steps: tuple[Step, ...]
    branch_slots: tuple[int, ...]
    slots: int


def plan_elimination(count: int, branches: Sequence[Branch]) -> Elimination:
    """Find the order for a network of so many places, joined by these branches."""
    neighbours: list[dict[int, int]] = [{} for _ in range(count)]  # and the slot of each
    slots = 0
    branch_slots = []
    for near, far, _ in branches:
        slot = neighbours[near].get(far)
        if slot is None:
            slot = neighbours[near][far] = neighbours[far][near] = slots
            slots += 1
        branch_slots.append(slot)
    queue = [(len(neighbours[node]), node) for node in range(1, count)]
    heapify(queue)
    steps = []
    out = [False] * count
    while queue:
        degree, node = heappop(queue)
        if out[node] or degree != len(neighbours[node]):
            continue
        out[node] = True
        own = neighbours[node]
        ends = tuple(own)
        fills = []
        for end in ends:
            del neighbours[end][node]
        for one, near in enumerate(ends):
            for other in range(one + 1, len(ends)):
                far = ends[other]
                slot = neighbours[near].get(far)
                if slot is None:
                    slot = neighbours[near][far] = neighbours[far][near] = slots
                    slots += 1
                fills.append((one, other, slot))
        for end in ends:
            if end:
                heappush(queue, (len(neighbours[end]), end))
        steps.append(Step(node, ends, tuple(own.values()), tuple(fills)))
    return Elimination(tuple(steps), tuple(branch_slots), slots)


class Solved(NamedTuple):
    """A node that was taken out.

    Its volts are (Σ ``siemens`` × volts of ``ends`` − ``amperes``) ÷ ``total``.
    """

    node: int
    ends: tuple[int, ...]
    siemens: list[float]
    amperes: float
    total: float


def eliminate(
    plan: Elimination, branches: Sequence[Branch], conductance: list[float], current: list[float]
) -> list[Solved] | None:
    """Take out every node but the feed; None at a pivot of zero or less.

    ``conductance`` and ``current`` are those of the lamps at each place, and are used up.
    """
    between = [0.0] * plan.slots
    for slot, (_, _, ohm) in zip(plan.branch_slots, branches, strict=True):
        between[slot] += 1.0 / ohm
    solved = []
    for node, ends, slots, fills in plan.steps:
        siemens = [between[slot] for slot in slots]
        here, amperes = conductance[node], current[node]
        total = sum(siemens) + here
        if total <= 0.0:
            return None
        for end, each in zip(ends, siemens, strict=True):
            share = each / total
            conductance[end] += here * share
            current[end] += amperes * share
        for one, other, slot in fills:
            between[slot] += siemens[one] * siemens[other] / total
        solved.append(Solved(node, ends, siemens, amperes, total))
    return solved
