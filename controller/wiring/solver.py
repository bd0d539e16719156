"""Whether every lamp gets its volts: a network solved, with currents, losses and the account of its power.

What is simplified, all of it stated here once:
- both conductors of a cable are alike;
- the transformer is a resistance: its volts fall in a straight line with its current, by its regulation at
  the rated load. The currents of all taps and commons are added, each in proportion to its tap's volts.
  ``solve`` knows of one feed only, ``solve_all`` of all. Where the regulation is not known the volts are
  those at the rated load, whatever is lit;
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
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from config.phrase import Phrase
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
    """What one cable carries: amperes, watts lost in it, volts lost along it.

    ``backwards`` says that the current flows from its ``to_node``, as it may in a ring.
    """

    segment: CableSegment
    amperes: float
    loss_w: float
    drop_v: float
    backwards: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Solution:
    """A network that works.

    Attributes:
        volts: at every node of the cables, and at the feed: with regulation fewer than without load.
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
        """What each cable carries, by the node at which it ends; of several to one node the most."""
        carried = sorted(self.segments, key=lambda state: state.amperes)
        return {state.segment.to_node: state for state in carried}

    @property
    def carried(self) -> dict[CableSegment, SegmentState]:
        """What each cable carries; equal cables side by side carry the same."""
        return {state.segment: state for state in self.segments}

    @property
    def feed_v(self) -> float:
        """Volts at the feed."""
        return self.volts[self.network.feed.node]

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
        worst_node: of the lamp among those that then has the fewest volts in proportion to its rated ones.
    """

    network: Network
    asked_w: float
    deliverable_w: float
    worst_node: str

    @property
    def words(self) -> Phrase:
        """Say why there is none."""
        return Phrase(
            "no solution: the lamps ask for {asked:.4g} W, and from {source:g} V these cables deliver"
            " {deliverable:.4g} W at most; the worst place is “{worst}”",
            asked=self.asked_w,
            source=self.network.feed.full_load_v,
            deliverable=self.deliverable_w,
            worst=self.worst_node,
        )

    def __str__(self) -> str:
        return self.words


Outcome = Solution | NoSolution

_INSISTING: Final = frozenset({Lamp.POWER, Lamp.CURRENT})


def solve(network: Network) -> Outcome:
    """Compute the volts at every node, the current in every cable and the losses, or that there are none.

    Of its transformer this network alone is lit; ``solve_all`` takes the others into account.

    Returns:
        Volts within 1 mV, the high-voltage solution; ``NoSolution`` where the lamps ask for too much.

    Source: ``power_flow`` names the method. Held by ``test_solver.py`` (ngspice and scipy results of six
    networks under four kinds of lamp; random trees against scipy) and ``test_random_networks.py`` (rings,
    commons and regulation against ngspice and scipy).
    """
    [outcome] = _solve_together((network,))
    return outcome


def solve_all(networks: Sequence[Network]) -> tuple[Outcome, ...]:
    """Solve the networks of one transformer, all lit: by its regulation each lowers the others' volts."""
    coupled = [network for network in networks if network.feed.regulation]
    outcomes = iter(_solve_together(coupled) if coupled else ())
    return tuple(next(outcomes) if network.feed.regulation else solve(network) for network in networks)


def _solve_together(networks: Sequence[Network]) -> tuple[Outcome, ...]:
    tree, parts = _build(networks)
    found = solve_volts(tree, networks[0].feed.no_load_v)
    if not isinstance(found, Limit):
        flows = branch_currents(tree, found)
        return tuple(_account(part, tree, found, flows) for part in parts)
    if len(networks) == 1:
        return (_refuse(parts[0], found),)
    # What asks for too much even alone has no solution, else everything that asks for fixed watts or amperes.
    alone = [solve(network) for network in networks]
    if all(isinstance(outcome, Solution) for outcome in alone):
        asking = [any(fixture.lamp in _INSISTING for fixture in network.fixtures) for network in networks]
        alone = [
            _refuse(part, found) if asks else outcome
            for part, asks, outcome in zip(parts, asking, alone, strict=True)
        ]
    rest = [at for at, outcome in enumerate(alone) if isinstance(outcome, Solution)]
    if rest:
        for at, outcome in zip(rest, _solve_together([networks[at] for at in rest]), strict=True):
            alone[at] = outcome
    return tuple(alone)


def build_tree(
    network: Network, fixtures: Sequence[FixtureAt] | None = None, temperature_c: float | None = None
) -> tuple[Tree, dict[str, int], tuple[int, ...]]:
    """Turn a network into arrays, with all its fixtures or these, at its temperature or this one.

    The volts of place 0 are the feed's ``no_load_v``.

    Returns:
        The arrays, the place of each node by its name, and the place at which the lamps of each fixture sit.
        Equal lamps on leads of their own become one place: the leads side by side, the lamps together.
    """
    lit = network if fixtures is None else replace(network, fixtures=tuple(fixtures))
    copper_c = network.temperature_c if temperature_c is None else temperature_c
    tree, [part] = _build((replace(lit, temperature_c=copper_c),))
    return tree, part.places, part.at_lamps


class _Part(NamedTuple):
    """One network in the arrays of a transformer.

    Attributes:
        ratio: volts of the first network's tap over those of its own; the arrays are in the former.
        places: of its nodes by their names.
        at_lamps: the place at which the lamps of each fixture sit.
        first, first_link, first_cable: where its own places, links and cables begin.
        last, last_link: where they end; the next one's begin there.
    """

    network: Network
    ratio: float
    places: dict[str, int]
    at_lamps: tuple[int, ...]
    first: int
    first_link: int
    first_cable: int
    last: int
    last_link: int


def _build(networks: Sequence[Network]) -> tuple[Tree, list[_Part]]:
    """Turn networks of one transformer into arrays, all referred to the first one's volts.

    A winding with regulation is the one branch that they have in common.
    """
    tree = Tree(parent=[0], ohm=[0.0], fixed_a=[0.0], siemens=[0.0], filament=[0.0], power_va=[0.0])
    feed, terminals = networks[0].feed, 0
    if feed.regulation:
        terminals = _add_place(tree, 0, feed.regulation * feed.full_load_v**2 / feed.rated_va)
    parts = []
    for network in networks:
        ratio = feed.full_load_v / network.feed.full_load_v
        parts.append(_add_network(tree, terminals, network, ratio))
    return tree, parts


def _add_network(tree: Tree, terminals: int, network: Network, ratio: float) -> _Part:
    first, first_link, first_cable = len(tree.parent), len(tree.links), len(tree.cables)
    places = {network.feed.node: terminals}
    branch_of = [0] * len(network.segments)
    scale = ratio * ratio
    for place, cable in network.walk_places():
        resistance = scale * cable.loop_ohm(network.temperature_c)
        near = places[cable.from_node]
        if cable.to_node in places:
            tree.links.append((near, places[cable.to_node], resistance))
            branch_of[place] = -len(tree.links)
        else:
            branch_of[place] = places[cable.to_node] = _add_place(tree, near, resistance)
    tree.cables += branch_of
    at_lamps = []
    for fixture in network.fixtures:
        place = places[fixture.node]
        if fixture.lead is not None:
            place = _add_place(tree, place, scale * fixture.lead_ohm(network.temperature_c))
        _add_lamps(tree, place, fixture, ratio)
        at_lamps.append(place)
    last, last_link = len(tree.parent), len(tree.links)
    return _Part(network, ratio, places, tuple(at_lamps), first, first_link, first_cable, last, last_link)


def _add_place(tree: Tree, parent: int, resistance: float) -> int:
    tree.parent.append(parent)
    tree.ohm.append(resistance)
    tree.fixed_a.append(0.0)
    tree.siemens.append(0.0)
    tree.filament.append(0.0)
    tree.power_va.append(0.0)
    return len(tree.parent) - 1


def _add_lamps(tree: Tree, place: int, fixture: FixtureAt, ratio: float) -> None:
    volt_amperes = fixture.rated_va
    rated_v = fixture.rated_v * ratio
    match fixture.lamp:
        case Lamp.CURRENT:
            tree.fixed_a[place] += volt_amperes / rated_v
        case Lamp.RESISTANCE:
            tree.siemens[place] += volt_amperes / rated_v**2
        case Lamp.FILAMENT:
            tree.filament[place] += volt_amperes / rated_v ** (1.0 + FILAMENT_CURRENT_EXPONENT)
        case Lamp.POWER:
            tree.power_va[place] += volt_amperes


CURRENT_EXPONENTS: Final = {
    Lamp.FILAMENT: FILAMENT_CURRENT_EXPONENT,
    Lamp.RESISTANCE: 1.0,
    Lamp.CURRENT: 0.0,
    Lamp.POWER: -1.0,
}
"""The power of the volts by which each kind of lamp's current goes, as ``lamp_amperes`` computes it."""


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


def _account(part: _Part, tree: Tree, volts: list[float], flows: list[float]) -> Solution:
    """Gather what one network does; volts and ohms of the arrays are those of the first network."""
    network, ratio = part.network, part.ratio
    lamps = []
    for fixture, place in zip(network.fixtures, part.at_lamps, strict=True):
        here_v = volts[place] / ratio
        amperes = lamp_amperes(fixture, here_v)
        watts = here_v * amperes * fixture.power_factor
        lamps.append(LampState(fixture=fixture, volts=here_v, amperes=amperes, watts=watts))
    segments = []
    for cable, branch in zip(network.segments, tree.cables[part.first_cable :], strict=False):
        if branch > 0:
            near, far, ohm, flow = tree.parent[branch], branch, tree.ohm[branch], flows[branch]
        else:
            near, far, ohm = tree.links[-1 - branch]
            flow = (volts[near] - volts[far]) / ohm
        drop_v = abs(volts[near] - volts[far]) / ratio
        state = SegmentState(
            segment=cable,
            amperes=abs(flow) * ratio,
            loss_w=flow**2 * ohm,
            drop_v=drop_v,
            backwards=flow < 0.0,
        )
        segments.append(state)
    source_a = sum(lamp.fixture.count * lamp.amperes for lamp in lamps)
    loss_w = sum(flows[place] ** 2 * tree.ohm[place] for place in range(part.first, part.last))
    loss_w += sum(
        (volts[a] - volts[b]) ** 2 / ohm for a, b, ohm in tree.links[part.first_link : part.last_link]
    )
    return Solution(
        network=network,
        volts={name: volts[place] / ratio for name, place in part.places.items()},
        lamps=tuple(lamps),
        segments=tuple(segments),
        source_a=source_a,
        source_va=source_a * volts[part.places[network.feed.node]] / ratio,
        lamp_w=sum(lamp.fixture.count * lamp.watts for lamp in lamps),
        lamp_va=sum(lamp.fixture.count * lamp.volts * lamp.amperes for lamp in lamps),
        loss_w=loss_w,
    )


def _refuse(part: _Part, limit: Limit) -> NoSolution:
    network = part.network
    insisting = [
        (limit.volts[place] / part.ratio / fixture.rated_v, fixture)
        for fixture, place in zip(network.fixtures, part.at_lamps, strict=True)
        if fixture.lamp in _INSISTING
    ]
    asked_w = sum(fixture.count * fixture.watts for _, fixture in insisting)
    _, worst = min(insisting, key=lambda pair: pair[0])
    return NoSolution(
        network=network, asked_w=asked_w, deliverable_w=limit.factor * asked_w, worst_node=worst.node
    )
