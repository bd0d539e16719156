"""The faults that are looked for, as values: what is wrong, where, and what the network then is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from config.models.cables import Gauge, parse_gauge
from controller.wiring.network import CableSegment, FixtureAt, Lamp, Network, walk

NOTHING_W: Final = 1e-9
"""Watts of a lamp that is dark: it keeps its place, so that the volts at it can still be read."""

NO_LENGTH_M: Final = 1e-6
"""Length of the cable that stands for a splice at a lamp."""

_ANY_GAUGE: Final = parse_gauge("12 AWG")


class WiringFault(StrEnum):
    """What may be wrong on site."""

    NONE = "nothing wrong"
    SPLICE = "bad splice"
    GAUGE = "another gauge"
    LAMP_OUT = "lamp out"
    TAP = "wrong tap"
    SUPPLY = "other volts at the tap"
    ZONE = "wrong zone"
    OPEN = "open splice or cable"


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredVolts:
    """One reading.

    Attributes:
        fixture: its place among the network's fixtures, from 0.
        circuit: the place of its network among those of the transformer.
        alone: whether only its zone was lit; else everything was.
    """

    fixture: int
    volts: float
    circuit: int = 0
    alone: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """One fault at one place; its size (ohms, volts) is fitted where it has one.

    Attributes:
        circuit: the place of its network.
        cables: places of the cables that it is in.
        fixture: place of the fixture that it is at.
        gauge: what the cables really are.
        tap_v: volts of the tap that is really in use.
        goes_to: circuit, node and zone on which a lamp of a wrong zone really is.
    """

    kind: WiringFault
    circuit: int = 0
    cables: tuple[int, ...] = ()
    fixture: int | None = None
    gauge: Gauge | None = None
    tap_v: float | None = None
    goes_to: tuple[int, str, str] | None = None

    @property
    def sized(self) -> bool:
        """Whether it has a size that is fitted: ohms of a splice, volts more at the tap."""
        return self.kind in {WiringFault.SPLICE, WiringFault.SUPPLY}

    def applied_to(self, networks: Sequence[Network], size: float) -> tuple[Network, ...]:
        """The networks with this fault."""
        changed = list(networks)
        network = networks[self.circuit]
        match self.kind:
            case WiringFault.SPLICE if self.fixture is not None:
                changed[self.circuit] = _spliced_lamp(network, self.fixture, size)
            case WiringFault.SPLICE:
                [at] = self.cables
                cable = network.segments[at]
                spliced = replace(cable, splice_ohm=cable.splice_ohm + size)
                changed[self.circuit] = _with_cables(network, {at: spliced})
            case WiringFault.GAUGE if self.gauge is not None:
                changed[self.circuit] = _with_cables(
                    network, {at: replace(network.segments[at], gauge=self.gauge) for at in self.cables}
                )
            case WiringFault.LAMP_OUT if self.fixture is not None:
                lamp = network.fixtures[self.fixture]
                dark = replace(lamp, count=lamp.count - 1) if lamp.count > 1 else out(lamp)
                changed[self.circuit] = with_fixtures(network, {self.fixture: dark})
            case WiringFault.TAP if self.tap_v is not None:
                changed[self.circuit] = _fed_with(network, self.tap_v)
            case WiringFault.SUPPLY:
                changed[self.circuit] = _fed_with(network, network.feed.source_v + size)
            case WiringFault.OPEN:
                dark_ones = {at: out(network.fixtures[at]) for at in self.behind(network)}
                changed[self.circuit] = with_fixtures(network, dark_ones)
            case WiringFault.ZONE if self.fixture is not None and self.goes_to is not None:
                lamp = network.fixtures[self.fixture]
                circuit, node, zone = self.goes_to
                changed[self.circuit] = with_fixtures(network, {self.fixture: out(lamp)})
                there = changed[circuit]
                moved = replace(lamp, node=node, zone=zone)
                changed[circuit] = replace(there, fixtures=(*there.fixtures, moved))
        return tuple(changed)

    def behind(self, network: Network) -> frozenset[int]:
        """The fixtures that nothing reaches where this place is open."""
        if self.fixture is not None:
            return frozenset((self.fixture,))
        kept = [cable for at, cable in enumerate(network.segments) if at not in self.cables]
        back = [replace(cable, from_node=cable.to_node, to_node=cable.from_node) for cable in kept]
        reached = {network.feed.node, *(cable.to_node for cable in walk(network.feed.node, kept + back))}
        return frozenset(at for at, each in enumerate(network.fixtures) if each.node not in reached)


def out(fixture: FixtureAt) -> FixtureAt:
    """The same lamps, dark."""
    return replace(fixture, watts=NOTHING_W, lamp=Lamp.CURRENT)


def lit_alone(network: Network, zone: str) -> Network:
    """The network with only one zone lit; the others keep their places."""
    return with_fixtures(
        network, {at: out(each) for at, each in enumerate(network.fixtures) if each.zone != zone}
    )


def with_fixtures(network: Network, changed: dict[int, FixtureAt]) -> Network:
    """The network with some fixtures exchanged."""
    return replace(network, fixtures=tuple(changed.get(at, each) for at, each in enumerate(network.fixtures)))


def _with_cables(network: Network, changed: dict[int, CableSegment]) -> Network:
    return replace(network, segments=tuple(changed.get(at, each) for at, each in enumerate(network.segments)))


def _fed_with(network: Network, volts: float) -> Network:
    return replace(network, feed=replace(network.feed, source_v=volts))


def _spliced_lamp(network: Network, place: int, ohm: float) -> Network:
    """The network with ohms before one fixture: a cable of no length to a node of its own."""
    old = network.fixtures[place]
    end = f"{old.node}, lamp {place}"
    cable = CableSegment(
        from_node=old.node, to_node=end, gauge=_ANY_GAUGE, length_m=NO_LENGTH_M, splice_ohm=max(0.0, ohm)
    )
    longer = replace(network, segments=(*network.segments, cable))
    return with_fixtures(longer, {place: replace(old, node=end)})
