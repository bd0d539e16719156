"""From the site file to the wiring: what hangs on each tap of each transformer, as networks to be solved.

A zone is one relay. Where the relays are on the low-voltage side, each zone has runs of its own from the tap
that they share; where the relay switches the mains, all of the transformer is lit together. Either way the
fewest volts are those with everything lit, and the most those of a zone lit alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from config.models.cables import Cable, name_places
from config.models.site import Site, Transformer, Zone
from controller.wiring.fixtures import PlacedLight, attach_lights, count_lights
from controller.wiring.network import CableSegment, Feed, Limits, Network, join, walk

USUAL_TAP_V: Final = 12.0
"""Taken where no cable is written down and so no tap either; it decides nothing but the amperes shown."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Circuit:
    """Everything on one tap of one transformer.

    Attributes:
        lights: one for each fixture of the network, in the same order.
        measured_v: volts measured at the tap with everything lit; None where not measured.
    """

    network: Network
    lights: tuple[PlacedLight, ...]
    measured_v: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformerWiring:
    """One transformer with all that hangs on it.

    Attributes:
        taps_v: volts of its taps; none where the file has none.
        tap_known: whether the tap in use was written down.
        circuits: one for each tap in use.
    """

    transformer: Transformer
    zones: tuple[Zone, ...]
    taps_v: tuple[float, ...]
    tap_known: bool
    circuits: tuple[Circuit, ...]
    limits: Limits

    @property
    def networks(self) -> tuple[Network, ...]:
        """What is solved, tap by tap."""
        return tuple(circuit.network for circuit in self.circuits)

    @property
    def has_cables(self) -> bool:
        """Whether any of its cables are written down."""
        return any(network.segments for network in self.networks)

    @property
    def unknown_zones(self) -> tuple[Zone, ...]:
        """The zones whose load is not known."""
        return tuple(zone for zone in self.zones if zone.rated_load.watts is None)


def build_wiring(site: Site) -> tuple[TransformerWiring, ...]:
    """Give the wiring of every transformer of a site, in the order of its file.

    Raises:
        WiringError: the cables are not a tree; the check of the site file lets none such through.
    """
    ends = _Ends(site)
    return tuple(_wire(site, transformer, ends) for transformer in site.transformers)


class _Ends:
    """The cables of a site as segments, and the nodes on which the lights of a line or a hub hang."""

    def __init__(self, site: Site) -> None:
        self.segments: list[CableSegment] = []
        self.simple: dict[str, tuple[str, ...]] = {}
        names = {name for each in site.cables for name in (each.line, each.hub) if name is not None}
        self._lights = count_lights(site, names)
        self._usual = {transformer.id: transformer.tap for transformer in site.transformers}
        self.feeds: dict[str, dict[float, str]] = {each.id: {} for each in site.transformers}
        for transformer in site.transformers:
            if transformer.tap is not None:
                self.feeds[transformer.id][transformer.tap] = transformer.id
        for cable in site.cables:
            self._lay(cable)

    def _start_of(self, cable: Cable) -> str:
        """Name the node that a cable begins at; another tap than the usual one is a feed of its own."""
        if cable.begins not in self.feeds:
            return cable.begins
        taps, usual_v = self.feeds[cable.begins], self._usual[cable.begins]
        tap_v = cable.tap if cable.tap is not None else usual_v
        if tap_v is None:
            tap_v = USUAL_TAP_V
        return taps.setdefault(tap_v, cable.begins if not taps else f"{cable.begins}, {tap_v:g} V")

    def _lay(self, cable: Cable) -> None:
        start, gauge = self._start_of(cable), cable.gauge
        if cable.line is not None:
            lights = self._lights.get(cable.line, 0)
            nodes = self.simple[cable.line] = name_places(cable.line, lights)
            # The lights are spread evenly, the last at the end.
            pieces = [
                (near, far, gauge, cable.length_m / lights)
                for near, far in zip((start, *nodes), nodes, strict=False)
            ]
        elif cable.hub is not None:
            nodes = self.simple[cable.hub] = name_places(cable.hub, len(cable.leg_lengths_m))
            legs = zip(nodes, cable.leg_lengths_m, strict=True)
            pieces = [(start, cable.hub, gauge, cable.length_m)]
            pieces += [(cable.hub, node, cable.leg_gauge or gauge, length_m) for node, length_m in legs]
        else:
            pieces = [(start, str(cable.to), gauge, cable.length_m)]
        self.segments += [
            CableSegment(
                from_node=near,
                to_node=far,
                gauge=own_gauge,
                length_m=length_m,
                splice_ohm=cable.splice_ohm,
                # A leg of another gauge is not what the plate is of.
                ampacity_a=cable.rated_a if own_gauge == gauge else None,
            )
            for near, far, own_gauge, length_m in pieces
        ]


def _wire(site: Site, transformer: Transformer, ends: _Ends) -> TransformerWiring:
    zones = tuple(zone for zone in site.zones if site.transformer_of(zone) is transformer)
    known = ends.feeds[transformer.id]
    taps = known or {USUAL_TAP_V: transformer.id}
    id_, rated_va = transformer.id, transformer.rated_va
    feeds = [
        Feed(node=node, transformer=id_, rated_va=rated_va, source_v=tap_v, tap=f"{tap_v:g} V")
        for tap_v, node in taps.items()
    ]
    lights = attach_lights(site, zones, ends.simple, feeds[0].node)
    reached = {feed.node for feed in feeds}
    reached.update(each.to_node for feed in feeds for each in walk(feed.node, ends.segments))
    segments = [each for each in ends.segments if each.from_node in reached]
    networks = join(feeds, segments, [light.at for light in lights], site.wiring.copper_c)
    circuits = []
    for network in [each for each in networks if each.fixtures or each.segments] or networks[:1]:
        nodes = {network.feed.node, *(cable.to_node for cable in network.segments)}
        measured_v = transformer.measured_volts if network.feed.source_v == transformer.tap else None
        own = tuple(light for light in lights if light.at.node in nodes)
        circuits.append(Circuit(network=network, lights=own, measured_v=measured_v))
    return TransformerWiring(
        transformer=transformer,
        zones=zones,
        taps_v=tuple(sorted(transformer.taps or known)),
        tap_known=bool(known),
        circuits=tuple(circuits),
        limits=Limits(drop_percent=site.wiring.drop_percent),
    )
