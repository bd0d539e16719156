"""What it takes to build the wiring of a site: fixtures, cable by gauge, connectors, trench.

Two connectors to a splice, and a lead for each light, are common practice. Prices are not known here.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from config.models.cables import M_PER_FT, Gauge, Unit
from config.models.site import Site
from controller.wiring.from_site import TransformerWiring

_CONDUCTORS: Final = 2
_ONE_CORD: Final = frozenset({"string", "tape"})
"""Fixtures whose lamps hang on one cord of their own."""


class FixtureKind(NamedTuple):
    """What to ask for when buying a fixture."""

    kind: str
    name: str
    watts: float
    rated_volts: float
    lamp: str


@dataclass(frozen=True, kw_only=True, slots=True)
class CableToBuy:
    """Cable of one gauge in its own unit, feet or metres: what is laid, and what to buy with the spare."""

    gauge: Gauge
    unit: str
    laid: float
    buy: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Materials:
    """The list for a site.

    Attributes:
        fixtures: how many of each kind.
        cables: by gauge, the thickest first.
        leads: of the fixtures, by gauge; as a rule they come with the fixtures.
        connectors: how many by the number of wires in each; two for each splice.
        trench_m: length of all cables; less where two share a trench.
        spare_percent: what the cable to buy has on top.
    """

    fixtures: Mapping[FixtureKind, int]
    cables: tuple[CableToBuy, ...]
    leads: tuple[CableToBuy, ...]
    connectors: Mapping[int, int]
    trench_m: float
    spare_percent: float


def list_materials(site: Site, wirings: Sequence[TransformerWiring]) -> Materials:
    """List what some transformers' wiring takes; fixtures only of the zones that they feed."""
    zones = {zone.id for wiring in wirings for zone in wiring.zones}
    networks = [network for wiring in wirings for network in wiring.networks]
    laid_m: dict[Gauge, float] = defaultdict(float)
    leads_m: dict[Gauge, float] = defaultdict(float)
    for network in networks:
        for cable in network.segments:
            laid_m[cable.gauge] += cable.length_m
        for fixture in network.fixtures:
            if fixture.lead is not None:
                leads_m[fixture.lead.gauge] += fixture.count * fixture.lead.length_m
    spare_percent = site.wiring.spare_percent
    return Materials(
        fixtures=_count_fixtures(site, zones),
        cables=_list_cables(laid_m, spare_percent),
        leads=_list_cables(leads_m, 0.0),
        connectors=_count_connectors(wirings),
        trench_m=sum(laid_m.values()),
        spare_percent=spare_percent,
    )


def _count_fixtures(site: Site, zones: set[str]) -> Counter[FixtureKind]:
    counts: Counter[FixtureKind] = Counter()
    for zone in site.zones:
        for each in zone.fixtures if zone.id in zones else ():
            counts[FixtureKind(each.kind, each.name, each.watts, each.rated_volts, each.lamp)] += each.count
    return counts


def _list_cables(lengths_m: Mapping[Gauge, float], spare_percent: float) -> tuple[CableToBuy, ...]:
    """List cable by gauge, the thickest first; what to buy in whole units."""
    cables = []
    for gauge, length_m in sorted(lengths_m.items(), key=lambda item: -item[0].area_mm2):
        unit, unit_m = ("ft", M_PER_FT) if gauge.unit is Unit.AWG else ("m", 1.0)
        buy_m = length_m * (1.0 + spare_percent / 100.0)
        # A hair of rounding must not buy a foot more.
        buy = math.ceil(buy_m / unit_m - 1e-9)
        cables.append(CableToBuy(gauge=gauge, unit=unit, laid=length_m / unit_m, buy=buy))
    return tuple(cables)


def _count_connectors(wirings: Sequence[TransformerWiring]) -> dict[int, int]:
    """Count the wires that meet at each node: the cable to it, those from it, and a lead for each light."""
    splices: Counter[int] = Counter()
    for wiring in wirings:
        for circuit in wiring.circuits:
            network = circuit.network
            wires = Counter(cable.to_node for cable in network.segments)
            wires.update(cable.from_node for cable in network.segments)
            for light in circuit.lights:
                if light.placed:
                    wires[light.at.node] += 1 if light.kind in _ONE_CORD else light.at.count
            # At the transformer wires go under its own screws.
            splices.update(met for node, met in wires.items() if met > 1 and node != network.feed.node)
    return {met: _CONDUCTORS * number for met, number in sorted(splices.items())}
