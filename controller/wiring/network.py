"""The cables and fixtures behind one tap of a transformer, as values.

Usually each node is fed by one cable and the network is a tree; a further cable to a node closes a ring, or
lies beside another. The check of the site file explains what hangs on no feed, or would join two
(config/validation/cable_tree.py); here it is only refused.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from config.errors import WiringError
from config.models.cables import COMMON_LIMIT_A, Gauge
from config.phrase import Phrase
from controller.wiring.cable import DEFAULT_TEMPERATURE_C, Ampacity, ampacity, bunched, loop_ohm

ASSUMED_REGULATION: Final = 0.10
"""Rise of a transformer's volts without load where it is not known: the middle of the 5 to 15 % of magnetic
transformers (from memory of data sheets). The most volts are computed with it, the fewest without any."""

FILAMENT_BAND: Final = (0.90, 1.05)
"""Range of a lamp that states none, in parts of its rated volts: 10.8 to 12.6 V at 12 V (common practice)."""

LED_BAND: Final = (0.75, 1.25)
"""What an LED that states no range stands at most, in parts of its rated volts (common practice)."""

_BY_PLATE: Final = Phrase("the cable's own plate")


class Lamp(StrEnum):
    """How a lamp's current follows its voltage."""

    FILAMENT = "filament"  # I by V^0.55
    RESISTANCE = "resistance"  # I by V
    CURRENT = "current"  # I the same at any V: the hand calculation
    POWER = "power"  # I by 1/V: an LED with a regulated driver


def _refuse_unless_named(what: str, *names: str) -> None:
    if not all(names):
        raise WiringError(f"{what}: a node has no name; give each node one")


def _refuse_unless_positive(what: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise WiringError(f"{what}: {name} = {value:g}; it must be a number above zero")


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """What the site asks of its wiring beyond the rules.

    Attributes:
        drop_percent: greatest voltage drop that the site accepts; None where it names none.
        cool_c: temperature of cable that has not warmed; the most volts are computed with it.
        low_light: least light of the dimmest filament lamp as a part of the brightest (common practice).
        low_life: least life of a filament lamp as a part of its rated life (common practice).
    """

    drop_percent: float | None = None
    cool_c: float = 20.0
    low_light: float = 0.7
    low_life: float = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Feed:
    """One tap and one common of one transformer: where a network begins.

    Attributes:
        rated_va: the transformer's rating, over all its taps and commons.
        source_v: rated volts of the tap, r.m.s. for AC.
        common: which of the transformer's commons, from 1.
        commons_known: whether the site file says how many there are.
        limit_a: the most amperes of a common.
        regulation: how far the volts rise from the rated load to none, as a part of ``full_load_v``; None
            where not known, which counts as no rise.
        full_load: volts at ``at_load`` as a part of ``source_v``.
        at_load: load at which these volts are given, as a part of the rated load: 1, unless they were
            measured with everything lit.
    """

    node: str
    transformer: str
    rated_va: float
    source_v: float
    common: int = 1
    commons_known: bool = False
    limit_a: float = COMMON_LIMIT_A
    regulation: float | None = None
    full_load: float = 1.0
    at_load: float = 1.0

    def __post_init__(self) -> None:
        what = f"feed “{self.node}”"
        _refuse_unless_named(f"feed of “{self.transformer}”", self.node)
        _refuse_unless_positive(what, rated_va=self.rated_va, source_v=self.source_v, limit_a=self.limit_a)
        _refuse_unless_positive(what, full_load=self.full_load)
        if not self.at_load >= 0.0:
            raise WiringError(f"{what}: at_load = {self.at_load:g}; it must be 0 or more")
        if self.common < 1:
            raise WiringError(f"{what}: common = {self.common}; the first one is 1")
        if self.regulation is not None and not 0.0 <= self.regulation < 1.0:
            raise WiringError(f"{what}: regulation = {self.regulation:g}; it must be 0 or more, and below 1")

    @property
    def circuit(self) -> str | int:
        """What ``limit_a`` holds for: its common, or the tap alone where the commons are not known."""
        return self.common if self.commons_known else self.node

    @property
    def full_load_v(self) -> float:
        """Volts of the tap while the transformer carries its rated load.

        With x times the volts that are given for a load of s, the current of that load being s ÷ x of the
        rated one, a straight line says x (1 + r) − r s x² = 1.
        """
        given_v, rise = self.source_v * self.full_load, self.regulation or 0.0
        root = math.sqrt(max(0.0, (1.0 + rise) ** 2 - 4.0 * rise * self.at_load))
        return given_v if self.at_load == 1.0 else given_v * 2.0 / (1.0 + rise + root)

    @property
    def no_load_v(self) -> float:
        """Volts of the tap with nothing lit on the transformer."""
        return self.full_load_v * (1.0 + (self.regulation or 0.0))

    def held_at(self, volts: float) -> Feed:
        """Give the same tap with volts that no load changes: those measured with everything lit."""
        return replace(self, source_v=volts, regulation=0.0, full_load=1.0, at_load=1.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class CableSegment:
    """One piece of two-conductor cable from one node to the next, away from the feed.

    In a ring the current may flow the other way. Cables that lie side by side are told apart by their place
    among the network's.

    Attributes:
        length_m: of the cable, not of the copper out and back.
        splice_ohm: what the splices add to the loop.
        ampacity_a: the current on the cable's own plate; None takes the gauge's default.
        cables_in_conduit: how many cables lie in the same conduit or bundle, this one counted.
        connector_a: the current that its connectors are rated for; None where not known.
        table: place of its [[cables]] table in the site file, from 0; None where it is from no file.
    """

    from_node: str
    to_node: str
    gauge: Gauge
    length_m: float
    splice_ohm: float = 0.0
    ampacity_a: float | None = None
    cables_in_conduit: int = 1
    connector_a: float | None = None
    table: int | None = field(default=None, compare=False)

    def loop_ohm(self, copper_c: float) -> float:
        """Ohms out and back at a temperature of the copper, splices included."""
        return loop_ohm(self.gauge, self.length_m, copper_c) + self.splice_ohm

    @property
    def limit(self) -> Ampacity:
        """The current that it is allowed to carry, and by whom: its own plate, else its gauge."""
        limit = ampacity(self.gauge)
        if self.ampacity_a is not None:
            limit = Ampacity(amperes=self.ampacity_a, source=_BY_PLATE)
        return bunched(limit, self.gauge, self.cables_in_conduit)

    @property
    def limit_a(self) -> float:
        """The same in amperes."""
        return self.limit.amperes

    def __post_init__(self) -> None:
        what = f"cable “{self.from_node}” to “{self.to_node}”"
        _refuse_unless_named(what, self.from_node, self.to_node)
        _refuse_unless_positive(what, length_m=self.length_m)
        if self.from_node == self.to_node:
            raise WiringError(f"{what}: it leads to where it begins; name the node at its other end")
        if not (math.isfinite(self.splice_ohm) and self.splice_ohm >= 0.0):
            raise WiringError(f"{what}: splice_ohm = {self.splice_ohm:g}; it must be zero or more")
        if self.ampacity_a is not None:
            _refuse_unless_positive(what, ampacity_a=self.ampacity_a)
        if self.connector_a is not None:
            _refuse_unless_positive(what, connector_a=self.connector_a)
        if self.cables_in_conduit < 1:
            raise WiringError(f"{what}: cables_in_conduit = {self.cables_in_conduit}; it counts itself")


@dataclass(frozen=True, kw_only=True, slots=True)
class Lead:
    """The thin cable of a fixture's own, from its node to the lamp."""

    gauge: Gauge
    length_m: float

    def __post_init__(self) -> None:
        _refuse_unless_positive("a fixture's lead", length_m=self.length_m)


@dataclass(frozen=True, kw_only=True, slots=True)
class FixtureAt:
    """Equal lamps of one zone at one node.

    Attributes:
        watts: of one lamp at its rated volts (of a regulated LED: at any volts).
        rated_v: volts for which the watts are stated.
        lead: each lamp's own thin cable, None where it sits at the node.
        power_factor: above 0 to 1; below 1 the current is watts ÷ (volts × power factor).
        min_v, max_v: volts by its plate; None where not known.
    """

    node: str
    zone: str
    watts: float
    lamp: Lamp
    rated_v: float = 12.0
    count: int = 1
    lead: Lead | None = None
    power_factor: float = 1.0
    min_v: float | None = None
    max_v: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        what = f"fixture at “{self.node}”"
        _refuse_unless_named(what, self.node)
        _refuse_unless_positive(what, watts=self.watts, rated_v=self.rated_v, power_factor=self.power_factor)
        if self.power_factor > 1.0:
            raise WiringError(f"{what}: power_factor = {self.power_factor:g}; it is 1 at most")
        if self.count < 1:
            raise WiringError(f"{what}: count = {self.count}; it must be 1 or more")
        low_v, high_v = self.range_v
        if not (math.isfinite(low_v) and math.isfinite(high_v) and 0.0 <= low_v < high_v):
            raise WiringError(f"{what}: {low_v:g} to {high_v:g} V is no range; give the lower volts first")

    @property
    def rated_va(self) -> float:
        """Volt-amperes of all its lamps at their rated volts."""
        return self.count * self.watts / self.power_factor

    def lead_ohm(self, copper_c: float) -> float:
        """Ohms of the leads of its lamps, side by side, at a temperature of the copper; 0 without leads."""
        if self.lead is None:
            return 0.0
        return loop_ohm(self.lead.gauge, self.lead.length_m, copper_c) / self.count

    @property
    def range_v(self) -> tuple[float, float]:
        """Lowest and highest volts: the plate's, else 0.90 and 1.05 of the rated volts."""
        low_v = FILAMENT_BAND[0] * self.rated_v if self.min_v is None else self.min_v
        high_v = FILAMENT_BAND[1] * self.rated_v if self.max_v is None else self.max_v
        return low_v, high_v

    @property
    def error_v(self) -> tuple[float, float]:
        """Volts beyond which it is an error: its range, or for an LED that states none more than that."""
        band = FILAMENT_BAND if self.lamp is Lamp.FILAMENT else LED_BAND
        low_v = band[0] * self.rated_v if self.min_v is None else self.min_v
        high_v = band[1] * self.rated_v if self.max_v is None else self.max_v
        return low_v, high_v

    @property
    def label(self) -> Phrase:
        """What to call it in a sentence: its name and node, or its node."""
        if self.name:
            return Phrase("“{name}” at “{node}”", name=self.name, node=self.node)
        return Phrase("the lamp at “{node}”", node=self.node)


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """One feed with its cables, in any order, and lamps.

    Attributes:
        temperature_c: of the copper; 75 °C is the tables' own and the safe side for low volts.

    Raises:
        WiringError: no cable from the feed leads to a node.
    """

    feed: Feed
    segments: tuple[CableSegment, ...]
    fixtures: tuple[FixtureAt, ...]
    temperature_c: float = DEFAULT_TEMPERATURE_C

    def __post_init__(self) -> None:
        _refuse_unless_fed((self.feed,), self.segments, self.fixtures)

    @property
    def zones(self) -> tuple[str, ...]:
        """Ids of the zones that have lamps here, in the order of the fixtures."""
        return tuple(dict.fromkeys(fixture.zone for fixture in self.fixtures))

    @property
    def is_tree(self) -> bool:
        """Whether one cable leads to each node, and no ring is closed."""
        return len({cable.to_node for cable in self.segments}) == len(self.segments)

    def lit(self, zones: Iterable[str]) -> Network:
        """The same cables with only the lamps of these zones lit."""
        kept = frozenset(zones)
        return replace(self, fixtures=tuple(f for f in self.fixtures if f.zone in kept))

    def walk(self) -> tuple[CableSegment, ...]:
        """All cables, in an order in which each comes after one that feeds it."""
        return tuple(cable for _, cable in self.walk_places())

    def walk_places(self) -> tuple[tuple[int, CableSegment], ...]:
        """The same, each with its place among the network's cables."""
        return tuple(_walk(self.feed.node, self.segments))

    def outward(self) -> dict[str, list[tuple[CableSegment, bool]]]:
        """The cables that begin at each node, for drawing the network as a tree.

        With each cable stands whether it is the one that reaches its other end, by the fewest cables from the
        feed; one that is not closes a ring there, or lies beside another.
        """
        reached, begin = {self.feed.node}, dict[str, list[tuple[CableSegment, bool]]]()
        for cable in self.walk():
            begin.setdefault(cable.from_node, []).append((cable, cable.to_node not in reached))
            reached.add(cable.to_node)
        return begin

    def with_regulation(self, part: float) -> Network:
        """The same network, with this regulation where that of its transformer is not known."""
        if self.feed.regulation is not None:
            return self
        return replace(self, feed=replace(self.feed, regulation=part))


def join(
    feeds: Sequence[Feed],
    segments: Sequence[CableSegment],
    fixtures: Sequence[FixtureAt],
    temperature_c: float = DEFAULT_TEMPERATURE_C,
) -> tuple[Network, ...]:
    """Sort cables and fixtures to the feeds that they hang on; what hangs on none, or on two, is refused."""
    _refuse_unless_fed(feeds, segments, fixtures)
    networks = []
    for feed in feeds:
        cables = walk(feed.node, segments)
        nodes = {feed.node, *(cable.to_node for cable in cables)}
        lamps = tuple(fixture for fixture in fixtures if fixture.node in nodes)
        networks.append(Network(feed=feed, segments=cables, fixtures=lamps, temperature_c=temperature_c))
    return tuple(networks)


def walk(start: str, segments: Sequence[CableSegment]) -> tuple[CableSegment, ...]:
    """The cables that a feed reaches, each after one that feeds it.

    The first that leads to a node reaches it; any further one closes a ring, or lies beside another.
    """
    return tuple(cable for _, cable in _walk(start, segments))


def _walk(start: str, segments: Sequence[CableSegment]) -> Iterator[tuple[int, CableSegment]]:
    outward: dict[str, list[tuple[int, CableSegment]]] = {}
    for numbered in enumerate(segments):
        outward.setdefault(numbered[1].from_node, []).append(numbered)
    reached, waiting = {start}, deque((start,))
    while waiting:
        for place, segment in outward.get(waiting.popleft(), ()):
            yield place, segment
            if segment.to_node not in reached:
                reached.add(segment.to_node)
                waiting.append(segment.to_node)


def _refuse_unless_fed(
    feeds: Sequence[Feed], segments: Sequence[CableSegment], fixtures: Sequence[FixtureAt]
) -> None:
    fed: dict[str, None] = {}
    for feed in feeds:
        own = dict.fromkeys([feed.node, *(cable.to_node for cable in walk(feed.node, segments))])
        if twice := [node for node in own if node in fed]:
            raise WiringError(f"{_name_all(twice)} would be fed by two feeds; keep their cables apart")
        fed.update(own)
    into = [cable.to_node for cable in segments]
    if back := [feed.node for feed in feeds if feed.node in into]:
        raise WiringError(f"a cable leads to the feed {_name_all(back)}; cables lead away from it")
    ends = [node for cable in segments for node in (cable.from_node, cable.to_node)]
    if loose := [node for node in (*ends, *(fixture.node for fixture in fixtures)) if node not in fed]:
        raise WiringError(f"no cable from a feed leads to {_name_all(loose)}; connect each node to one")


def _name_all(nodes: Iterable[str]) -> str:
    return ", ".join(f"“{node}”" for node in dict.fromkeys(nodes))


def way_to(network: Network, node: str) -> tuple[CableSegment, ...]:
    """The cables from the feed to a node, in that order; where rings leave a choice, the fewest cables."""
    into: dict[str, CableSegment] = {}
    for cable in network.segments if network.is_tree else network.walk():
        into.setdefault(cable.to_node, cable)
    way = []
    while node in into:
        way.append(into[node])
        node = into[node].from_node
    return tuple(reversed(way))
