"""The arithmetic of a two-wire network: sweeps over arrays of numbers; volts, amperes and ohms, no names.

Method. Every lamp's current is replaced by its tangent at the present volts. A sweep from the leaves to
the feed folds each branch into one conductance and one current as its parent sees it; a sweep back gives
the volts. That is Newton's method, each step solved exactly by one backward and one forward sweep, as in
R. D. Zhang and C. S. Cheng, "A modified Newton method for radial distribution system power flow analysis",
IEEE Trans. Power Systems 12(1), 1997; the plain sweep is D. Shirmohammadi and others, "A compensation-based
power flow method for weakly meshed distribution and transmission networks", IEEE Trans. Power Systems 3(2),
1988 (both from memory). Where cables close rings, ``mesh`` takes the place of the two sweeps in each step.

Why never the low-voltage root, and never an endless loop. With lamps of constant resistance, current or
power the equations are convex. Newton's steps from the feed's volts then fall monotonically to the highest
solution, and every pivot stays above zero on the way; a pivot at or below zero proves that there is none
(the Newton-Baluev theorem, for a convex function whose derivative is an M-matrix: J. M. Ortega and
W. C. Rheinboldt, "Iterative Solution of Nonlinear Equations in Several Variables", 1970, section 13.3; from
memory). Filament lamps bend the other way, so a failed start is tried again from lighter loads upwards.
The number of steps is bounded in every case.
"""

from dataclasses import dataclass, field
from typing import Final

from controller.wiring.mesh import Branch, Elimination, Solved, eliminate, plan_elimination

FILAMENT_CURRENT_EXPONENT: Final = 0.55
"""Current of a filament lamp by V^0.55: Standard Handbook for Electrical Engineers, 11th ed., p. 22-8."""

SETTLED_V: Final = 1e-9
"""A step smaller than this at every node ends the sweeps; a million times finer than the promised 1 mV."""

MOST_STEPS: Final = 80
"""Four to six are usual; at the very edge of what can be carried each step only halves the rest, about 35."""

EDGE: Final = 1e-9
"""How closely the greatest load is found, as a part of itself."""

MOST_HALVINGS: Final = 100
"""Enough for ``EDGE`` even where only 1e-20 of the load could be carried."""

_LOWEST_PART: Final = 0.1
"""Volts that would fall to zero or below fall to this part of what they were."""


@dataclass(kw_only=True, slots=True)
class Tree:
    """A tree as arrays; place 0 is the feed, and a parent always stands before its children.

    Attributes:
        parent: place of the node that feeds each node.
        ohm: loop resistance from there.
        links: what closes rings: a branch beyond those of the tree each.
        cables: for each cable of the network the place that it leads to, or ``-1 - n`` for link ``n``.
        plan: the order of elimination where there are links, once it is found.
        fixed_a: current that does not depend on the volts.
        siemens: conductance of the resistive lamps.
        filament: current of the filament lamps at 1 V, to be multiplied by V^0.55.
        power_va: load of the regulated drivers, to be divided by V.
    """

    parent: list[int]
    ohm: list[float]
    fixed_a: list[float]
    siemens: list[float]
    filament: list[float]
    power_va: list[float]
    links: list[Branch] = field(default_factory=list)
    cables: list[int] = field(default_factory=list)
    plan: Elimination | None = None

    def branches(self) -> list[Branch]:
        """All branches: those of the tree from place 1 on, then the links."""
        return [*((self.parent[to], to, self.ohm[to]) for to in range(1, len(self.parent))), *self.links]


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """The greatest part of the insisting loads (constant power, constant current) that can be carried.

    ``volts`` are those at every node with that part.
    """

    factor: float
    volts: list[float]


def solve_volts(tree: Tree, source_v: float) -> list[float] | Limit:
    """Volts at every node, the high-voltage solution, or how much of the load could be carried at most.

    Source: the module's docstring; held by tests/controller/wiring/test_solver.py against ngspice and scipy.
    """
    volts = try_volts(tree, source_v)
    return find_load_limit(tree, source_v) if volts is None else volts


def try_volts(
    tree: Tree, source_v: float, *, factor: float = 1.0, start_v: list[float] | None = None
) -> list[float] | None:
    """Sweep until the volts settle; None where they do not: without filament lamps there is no solution then.

    ``factor`` multiplies the insisting loads; the volts begin at ``start_v``, else at the feed's everywhere.
    """
    count = len(tree.parent)
    volts = [source_v] * count if start_v is None else list(start_v)
    gain, offset_v = [1.0] * count, [0.0] * count
    convex = not any(tree.filament)
    for _ in range(MOST_STEPS):
        if tree.links:
            solved = _eliminate(tree, volts, factor)
            if solved is None:
                return None
            settled = _substitute(solved, volts)
        else:
            if not _backward_sweep(tree, volts, factor, gain, offset_v):
                return None
            settled = _forward_sweep(tree.parent, gain, offset_v, volts)
        if settled:
            return volts
        if settled is None and convex:
            return None
    return None


def _backward_sweep(
    tree: Tree, volts: list[float], factor: float, gain: list[float], offset_v: list[float]
) -> bool:
    """Backward sweep: a node's volts will be ``gain`` × its parent's − ``offset_v``; False at a pivot ≤ 0."""
    parent, ohm, power_va, filament = tree.parent, tree.ohm, tree.power_va, tree.filament
    conductance = list(tree.siemens)
    current = [factor * amperes for amperes in tree.fixed_a]
    for node in range(len(parent) - 1, 0, -1):
        here_v, g, j = volts[node], conductance[node], current[node]
        if (power := power_va[node]) > 0.0:
            amperes = factor * power / here_v
            g -= amperes / here_v
            j += 2.0 * amperes
        if (at_1_v := filament[node]) > 0.0:
            amperes = at_1_v * here_v**FILAMENT_CURRENT_EXPONENT
            g += FILAMENT_CURRENT_EXPONENT * amperes / here_v
            j += (1.0 - FILAMENT_CURRENT_EXPONENT) * amperes
        resistance = ohm[node]
        pivot = 1.0 + resistance * g
        if pivot <= 0.0:
            return False
        share = 1.0 / pivot
        above = parent[node]
        conductance[above] += g * share
        current[above] += j * share
        gain[node] = share
        offset_v[node] = resistance * j * share
    return True


def _forward_sweep(
    parent: list[int], gain: list[float], offset_v: list[float], volts: list[float]
) -> bool | None:
    """Forward sweep: set the volts from the feed outwards.

    Returns:
        True where none of them moved any more, False where one did, None where one fell to zero. Steps of a
        convex tree fall towards the solution and never below it, so None proves that there is none; a
        filament's tangent may point below zero on the way to a solution above it, and the volts are held up.
    """
    settled: bool | None = True
    for node in range(1, len(parent)):
        before = volts[node]
        now = volts[parent[node]] * gain[node] - offset_v[node]
        if now <= 0.0:
            now, settled = _LOWEST_PART * before, None
        elif settled and not -SETTLED_V < now - before < SETTLED_V:
            settled = False
        volts[node] = now
    return settled


def _eliminate(tree: Tree, volts: list[float], factor: float) -> list[Solved] | None:
    """Do what the backward sweep does, where there are rings."""
    branches = tree.branches()
    if tree.plan is None:
        tree.plan = plan_elimination(len(tree.parent), branches)
    conductance = list(tree.siemens)
    current = [factor * amperes for amperes in tree.fixed_a]
    for node, (here_v, power, at_1_v) in enumerate(zip(volts, tree.power_va, tree.filament, strict=True)):
        if power > 0.0:
            amperes = factor * power / here_v
            conductance[node] -= amperes / here_v
            current[node] += 2.0 * amperes
        if at_1_v > 0.0:
            amperes = at_1_v * here_v**FILAMENT_CURRENT_EXPONENT
            conductance[node] += FILAMENT_CURRENT_EXPONENT * amperes / here_v
            current[node] += (1.0 - FILAMENT_CURRENT_EXPONENT) * amperes
    return eliminate(tree.plan, branches, conductance, current)


def _substitute(solved: list[Solved], volts: list[float]) -> bool | None:
    """Set the volts of the nodes that were taken out, the last one first; returns as _forward_sweep does."""
    settled: bool | None = True
    for node, ends, siemens, amperes, total in reversed(solved):
        before = volts[node]
        carried = sum(each * volts[end] for end, each in zip(ends, siemens, strict=True))
        now = (carried - amperes) / total
        if now <= 0.0:
            now, settled = _LOWEST_PART * before, None
        elif settled and not -SETTLED_V < now - before < SETTLED_V:
            settled = False
        volts[node] = now
    return settled


def find_load_limit(tree: Tree, source_v: float) -> list[float] | Limit:
    """From no insisting load upwards: the solution at full load after all, or the greatest part of it.

    The greatest part is found by halving, each trial started from the solution below it.
    """
    below_v = try_volts(tree, source_v, factor=0.0)
    if below_v is None:  # resistances and filaments alone always have a solution; a test holds it
        raise ArithmeticError("the sweeps did not settle without any insisting load")
    low, high = 0.0, 1.0
    for _ in range(MOST_HALVINGS):
        if high - low <= EDGE * high:
            break
        middle = 0.5 * (low + high)
        found_v = try_volts(tree, source_v, factor=middle, start_v=below_v)
        if found_v is None:
            high = middle
        else:
            low, below_v = middle, found_v
    if high == 1.0:
        full_v = try_volts(tree, source_v, start_v=below_v)
        if full_v is not None:
            return full_v
    return Limit(factor=low, volts=below_v)


def branch_currents(tree: Tree, volts: list[float]) -> list[float]:
    """Amperes that flow into each place from its parent, below zero where they flow back; at 0 the feed's."""
    amperes = [
        fixed + siemens * v + (at_1_v * v**FILAMENT_CURRENT_EXPONENT if at_1_v else 0.0) + power / v
        for fixed, siemens, at_1_v, power, v in zip(
            tree.fixed_a, tree.siemens, tree.filament, tree.power_va, volts, strict=True
        )
    ]
    for near, far, ohm in tree.links:
        flow = (volts[near] - volts[far]) / ohm
        amperes[near] += flow
        amperes[far] -= flow
    for node in range(len(amperes) - 1, 0, -1):
        amperes[tree.parent[node]] += amperes[node]
    return amperes
