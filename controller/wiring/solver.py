"""Whether every lamp gets its volts: a network solved, with currents, losses and the account of its power.

What is simplified, all of it stated here once:
- the feed holds its volts (no regulation of the transformer), and both conductors of a cable are alike;
- cable has resistance only. Reactance is about 3 % of it at 12 AWG and 13 % at 6 AWG (NEC chapter 9 table 9,
  from memory) and stands across the volts of lamps near unity power factor: 25 A over 100 ft of 6 AWG lose
  0.004 V by it;
- splices have the resistance that a segment states, none where it states none;
- currents add up as numbers. A power factor below 1 makes the current larger by its inverse, and its whole
  drop counts, which is the safe side; with power factor 1 everywhere volt-amperes are watts;
- an LED driver keeps its power at any volts. Below its input range the real one drops out: it is named.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from config.errors import WiringError
from config.phrase import Phrase
from controller.wiring.cable import loop_ohm
from controller.wiring.network import CableSegment, FixtureAt, Lamp, Network
from controller.wiring.power_flow import FILAMENT_CURRENT_EXPONENT, Limit, Tree, branch_currents, solve_volts


@dataclass(frozen=True, kw_only=True, slots=True)
class LampState:
    """What one lamp of a fixture gets."""

    fixture: FixtureAt
    volts: float
    amperes: float
    watts: float

    @property
    def drops_out(self) -> bool:
        """Whether a regulated driver is below its input range, so that it flickers or goes dark."""
        fixture = self.fixture
        return fixture.lamp is Lamp.POWER and fixture.min_v is not None and self.volts < fixture.min_v


@dataclass(frozen=True, kw_only=True, slots=True)
class SegmentState:
    """What one cable carries: amperes, watts lost in it, volts lost along it."""

    segment: CableSegment
    amperes: float
    loss_w: float
    drop_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Solution:
    """A network that works.

    Attributes:
        volts: at every node of the cables, the feed's among them.
        lamps: in the order of the network's fixtures.
        segments: in the order of the network's cables.
        source_va: volt-amperes out of the feed; watts where every power factor is 1.
        loss_w: watts lost in cables, leads and splices.
    """

    network: Network
    volts: dict[str, float]
    lamps: tuple[LampState, ...]
    segments: tuple[SegmentState, ...]
    source_a: float
    source_va: float
    lamp_w: float
    lamp_va: float
    loss_w: float

    @property
    def cables(self) -> dict[str, SegmentState]:
        """What each cable carries, by the node at which it ends."""
        return {state.segment.to_node: state for state in self.segments}

    @property
    def worst(self) -> LampState | None:
        """The lamps with the fewest volts in proportion to their rated ones; None without lamps."""
        return min(self.lamps, key=lambda lamp: lamp.volts / lamp.fixture.rated_v, default=None)


@dataclass(frozen=True, kw_only=True, slots=True)
class NoSolution:
    """A network that cannot work: no volts satisfy what the lamps ask for.

    Attributes:
        asked_w: watts that the regulated and fixed-current lamps ask for.
        deliverable_w: the most they could get through these cables, all reduced alike, within 1e-6.
        farthest: node of the lamp behind the most resistance among those.
    """

    network: Network
    asked_w: float
    deliverable_w: float
    farthest: str

    @property
    def words(self) -> Phrase:
        """Say why there is none."""
        return Phrase(
            "no solution: the lamps ask for {asked:.4g} W, and from {source:g} V these cables deliver"
            " {deliverable:.4g} W at most; the worst place is “{farthest}”",
            asked=self.asked_w,
            source=self.network.feed.source_v,
            deliverable=self.deliverable_w,
            farthest=self.farthest,
        )

    def __str__(self) -> str:
        return self.words


Outcome = Solution | NoSolution


def solve(network: Network) -> Outcome:
    """Compute the volts at every node, the current in every cable and the losses, or that there are none.

    Returns:
        Volts within 1 mV, the high-voltage solution; ``NoSolution`` where the lamps ask for too much.

    Source: ``power_flow`` names the method. Held by ``test_solver.py`` (ngspice and scipy results of six
    networks under four kinds of lamp; random trees against scipy).
    """
    tree, at_nodes, at_lamps = build_tree(network)
    found = solve_volts(tree, network.feed.full_load_v)
    if isinstance(found, Limit):
        return _refuse(network, tree, at_lamps, found)
    return _account(network, tree, at_nodes, at_lamps, found)


def build_tree(
    network: Network, fixtures: Sequence[FixtureAt] | None = None, temperature_c: float | None = None
) -> tuple[Tree, dict[str, int], tuple[int, ...]]:
    """Turn a network into arrays, with all its fixtures or these, at its temperature or this one.

    Returns:
        The arrays, the place of each node by its name, and the place at which the lamps of each fixture sit.
        Equal lamps on leads of their own become one place: the leads side by side, the lamps together.
    """
    places = {network.feed.node: 0}
    tree = Tree(parent=[0], ohm=[0.0], fixed_a=[0.0], siemens=[0.0], filament=[0.0], power_va=[0.0])
    lit = network.fixtures if fixtures is None else fixtures
    copper_c = network.temperature_c if temperature_c is None else temperature_c
    if not network.is_tree:
        raise WiringError(f"the cables of “{network.feed.node}” form a ring, which is not solved yet")
    for cable in network.walk():
        resistance = loop_ohm(cable.gauge, cable.length_m, copper_c) + cable.splice_ohm
        places[cable.to_node] = _add_place(tree, places[cable.from_node], resistance)
    at_lamps = []
    for fixture in lit:
        place = places[fixture.node]
        if (lead := fixture.lead) is not None:
            each_ohm = loop_ohm(lead.gauge, lead.length_m, copper_c)
            place = _add_place(tree, place, each_ohm / fixture.count)
        _add_lamps(tree, place, fixture)
        at_lamps.append(place)
    return tree, places, tuple(at_lamps)


def _add_place(tree: Tree, parent: int, resistance: float) -> int:
    tree.parent.append(parent)
    tree.ohm.append(resistance)
    for loads in (tree.fixed_a, tree.siemens, tree.filament, tree.power_va):
        loads.append(0.0)
    return len(tree.parent) - 1


def _add_lamps(tree: Tree, place: int, fixture: FixtureAt) -> None:
    volt_amperes = fixture.count * fixture.watts / fixture.power_factor
    match fixture.lamp:
        case Lamp.CURRENT:
            tree.fixed_a[place] += volt_amperes / fixture.rated_v
        case Lamp.RESISTANCE:
            tree.siemens[place] += volt_amperes / fixture.rated_v**2
        case Lamp.FILAMENT:
            tree.filament[place] += volt_amperes / fixture.rated_v ** (1.0 + FILAMENT_CURRENT_EXPONENT)
        case Lamp.POWER:
            tree.power_va[place] += volt_amperes


def lamp_amperes(fixture: FixtureAt, volts: float) -> float:
    """Current through ONE lamp at these volts, in amperes."""
    at_rated_a = fixture.watts / fixture.power_factor / fixture.rated_v
    match fixture.lamp:
        case Lamp.CURRENT:
            return at_rated_a
        case Lamp.RESISTANCE:
            return at_rated_a * volts / fixture.rated_v
        case Lamp.FILAMENT:
            return at_rated_a * math.pow(volts / fixture.rated_v, FILAMENT_CURRENT_EXPONENT)
        case Lamp.POWER:
            return at_rated_a * fixture.rated_v / volts


def _account(
    network: Network, tree: Tree, places: dict[str, int], at_lamps: tuple[int, ...], volts: list[float]
) -> Solution:
    flows = branch_currents(tree, volts)
    lamps = []
    for fixture, place in zip(network.fixtures, at_lamps, strict=True):
        here_v = volts[place]
        amperes = lamp_amperes(fixture, here_v)
        watts = here_v * amperes * fixture.power_factor
        lamps.append(LampState(fixture=fixture, volts=here_v, amperes=amperes, watts=watts))
    segments = []
    for cable in network.segments:
        place = places[cable.to_node]
        drop_v = volts[tree.parent[place]] - volts[place]
        loss_w = flows[place] ** 2 * tree.ohm[place]
        segments.append(SegmentState(segment=cable, amperes=flows[place], loss_w=loss_w, drop_v=drop_v))
    return Solution(
        network=network,
        volts={name: volts[place] for name, place in places.items()},
        lamps=tuple(lamps),
        segments=tuple(segments),
        source_a=flows[0],
        source_va=flows[0] * volts[0],
        lamp_w=sum(lamp.fixture.count * lamp.watts for lamp in lamps),
        lamp_va=sum(lamp.fixture.count * lamp.volts * lamp.amperes for lamp in lamps),
        loss_w=sum(flow * flow * ohm for flow, ohm in zip(flows, tree.ohm, strict=True)),
    )


def _refuse(network: Network, tree: Tree, at_lamps: tuple[int, ...], limit: Limit) -> NoSolution:
    behind_ohm = [0.0] * len(tree.ohm)
    for place in range(1, len(tree.ohm)):
        behind_ohm[place] = behind_ohm[tree.parent[place]] + tree.ohm[place]
    insisting = [
        (behind_ohm[place], fixture)
        for fixture, place in zip(network.fixtures, at_lamps, strict=True)
        if fixture.lamp in {Lamp.POWER, Lamp.CURRENT}
    ]
    asked_w = sum(fixture.count * fixture.watts for _, fixture in insisting)
    _, farthest = max(insisting, key=lambda pair: pair[0])
    return NoSolution(
        network=network, asked_w=asked_w, deliverable_w=limit.factor * asked_w, farthest=farthest.node
    )
