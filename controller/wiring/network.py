"""The cables and fixtures behind one tap of a transformer, as a tree of values.

Every node is fed by exactly one cable. The check of the site file explains what is not such a tree
(config/validation/cable_tree.py); here it is only refused.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.errors import WiringError
from config.models.cables import Gauge
from controller.wiring.cable import DEFAULT_TEMPERATURE_C, ampacity

FILAMENT_BAND: Final = (0.90, 1.05)
"""Range of a lamp that states none, in parts of its rated volts: 10.8 to 12.6 V at 12 V (common practice)."""


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
    """One tap of one transformer: where a network begins.

    Attributes:
        rated_va: the transformer's rating, over all its taps.
        source_v: volts at the tap under load, r.m.s. for AC.
    """

    node: str
    transformer: str
    rated_va: float
    source_v: float

    def __post_init__(self) -> None:
        _refuse_unless_named(f"feed of “{self.transformer}”", self.node)
        _refuse_unless_positive(f"feed “{self.node}”", rated_va=self.rated_va, source_v=self.source_v)


@dataclass(frozen=True, kw_only=True, slots=True)
class CableSegment:
    """One piece of two-conductor cable from one node to the next, away from the feed.

    Attributes:
        length_m: of the cable, not of the copper out and back.
        splice_ohm: what the splices add to the loop.
        ampacity_a: the current on the cable's own plate; None takes the gauge's default.
    """

    from_node: str
    to_node: str
    gauge: Gauge
    length_m: float
    splice_ohm: float = 0.0
    ampacity_a: float | None = None

    @property
    def limit_a(self) -> float:
        """The current that it is allowed to carry: its own plate's, else its gauge's."""
        return ampacity(self.gauge).amperes if self.ampacity_a is None else self.ampacity_a

    def __post_init__(self) -> None:
        what = f"cable “{self.from_node}” to “{self.to_node}”"
        _refuse_unless_named(what, self.from_node, self.to_node)
        _refuse_unless_positive(what, length_m=self.length_m)
        if not (math.isfinite(self.splice_ohm) and self.splice_ohm >= 0.0):
            raise WiringError(f"{what}: splice_ohm = {self.splice_ohm:g}; it must be zero or more")
        if self.ampacity_a is not None:
            _refuse_unless_positive(what, ampacity_a=self.ampacity_a)


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
    def range_v(self) -> tuple[float, float]:
        """Lowest and highest volts: the plate's, else 0.90 and 1.05 of the rated volts."""
        low_v = FILAMENT_BAND[0] * self.rated_v if self.min_v is None else self.min_v
        high_v = FILAMENT_BAND[1] * self.rated_v if self.max_v is None else self.max_v
        return low_v, high_v

    @property
    def label(self) -> str:
        """What to call it in a sentence: its name and node, or its node."""
        return f"“{self.name}” at “{self.node}”" if self.name else f"the lamp at “{self.node}”"


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """One feed with its cables, in any order, and lamps.

    Attributes:
        temperature_c: of the copper; 75 °C is the tables' own and the safe side for low volts.

    Raises:
        WiringError: it is not a tree.
    """

    feed: Feed
    segments: tuple[CableSegment, ...]
    fixtures: tuple[FixtureAt, ...]
    temperature_c: float = DEFAULT_TEMPERATURE_C

    def __post_init__(self) -> None:
        _refuse_unless_tree((self.feed,), self.segments, self.fixtures)

    @property
    def zones(self) -> tuple[str, ...]:
        """Ids of the zones that have lamps here, in the order of the fixtures."""
        return tuple(dict.fromkeys(fixture.zone for fixture in self.fixtures))

    def lit(self, zones: Iterable[str]) -> Network:
        """The same cables with only the lamps of these zones lit."""
        kept = frozenset(zones)
        return replace(self, fixtures=tuple(f for f in self.fixtures if f.zone in kept))

    def walk(self) -> tuple[CableSegment, ...]:
        """The cables in an order in which each comes after the one that feeds it."""
        return walk(self.feed.node, self.segments)


def join(
    feeds: Sequence[Feed],
    segments: Sequence[CableSegment],
    fixtures: Sequence[FixtureAt],
    temperature_c: float = DEFAULT_TEMPERATURE_C,
) -> tuple[Network, ...]:
    """Sort cables and fixtures to the feeds that they hang on; what hangs on none, or on two, is refused."""
    _refuse_unless_tree(feeds, segments, fixtures)
    networks = []
    for feed in feeds:
        cables = walk(feed.node, segments)
        nodes = {feed.node, *(cable.to_node for cable in cables)}
        lamps = tuple(fixture for fixture in fixtures if fixture.node in nodes)
        networks.append(Network(feed=feed, segments=cables, fixtures=lamps, temperature_c=temperature_c))
    return tuple(networks)


def walk(start: str, segments: Sequence[CableSegment]) -> tuple[CableSegment, ...]:
    """The cables that a feed reaches, each after the one that feeds it; rings are walked once."""
    outward: dict[str, list[CableSegment]] = {}
    for segment in segments:
        outward.setdefault(segment.from_node, []).append(segment)
    reached, found, waiting = {start}, [], deque((start,))
    while waiting:
        for segment in outward.get(waiting.popleft(), ()):
            if segment.to_node not in reached:
                reached.add(segment.to_node)
                found.append(segment)
                waiting.append(segment.to_node)
    return tuple(found)


def _refuse_unless_tree(
    feeds: Sequence[Feed], segments: Sequence[CableSegment], fixtures: Sequence[FixtureAt]
) -> None:
    starts = [feed.node for feed in feeds]
    reached = {*starts, *(cable.to_node for start in starts for cable in walk(start, segments))}
    fed = Counter([*starts, *(cable.to_node for cable in segments)])
    twice = [node for node, times in fed.items() if times > 1]
    loose = [node for node in (*fed, *(fixture.node for fixture in fixtures)) if node not in reached]
    if twice or loose:
        nodes = ", ".join(f"“{node}”" for node in dict.fromkeys((*twice, *loose)))
        raise WiringError(f"the cables are not a tree: {nodes} must be fed by one cable, from a feed")


def way_to(network: Network, node: str) -> tuple[CableSegment, ...]:
    """The cables from the feed to a node, in that order."""
    into = {cable.to_node: cable for cable in network.segments}
    way = []
    while node in into:
        way.append(into[node])
        node = into[node].from_node
    return tuple(reversed(way))
