"""From the site file to the wiring: what hangs on each tap of each transformer, as networks to be solved.

A zone is one relay. Where the relays are on the low-voltage side, each zone has runs of its own from the tap
that they share; where the relay switches the mains, all of the transformer is lit together. Either way the
fewest volts are those with everything lit, and the most those of a zone lit alone. Lights whose cable is not
in the file still load the transformer: they stand at its terminals with their rated power, and ask for no
volts there.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from config.models.cables import Build, Cable, Gauge, Unit, WiringSettings, name_places
from config.models.site import Fixture, Site, Transformer, Zone
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Limits, Network, join, walk
from controller.wiring.solver import Solution, solve_all

USUAL_TAP_V: Final = 12.0
"""Taken where no cable is written down and so no tap either; it decides nothing but the amperes shown."""

USUAL_LEAD: Final = Gauge(size=18, unit=Unit.AWG, build=Build.STRANDED)
"""The lead of most fixtures (common practice, no source)."""

_LEAST_RATED_V: Final = 1e-3
_ANY_V: Final = 1e6
_DRIVERS: Final = {"regulated": Lamp.POWER, "linear": Lamp.CURRENT, "resistor": Lamp.RESISTANCE}


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedLight:
    """Equal lights of one fixture of the site file at one node.

    Attributes:
        fixture: its place among the zone's fixtures, from 1; 0 for a zone that lists none.
        number: its place among the fixture's lights, from 1.
        placed: whether its cable is known.
        dimmed: whether a dimmer is in front of it.
        at: the same for the solver.
    """

    zone: str
    fixture: int
    number: int = 1
    kind: str = ""
    name: str = ""
    placed: bool = True
    dimmed: bool = False
    measured_v: float | None = None
    at: FixtureAt


@dataclass(frozen=True, kw_only=True, slots=True)
class Circuit:
    """Everything on one tap and one common of one transformer.

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
        circuits: one for each tap and common in use.
        prices: the settings of the site's wiring, for their prices.
    """

    transformer: Transformer
    zones: tuple[Zone, ...]
    taps_v: tuple[float, ...]
    tap_known: bool
    circuits: tuple[Circuit, ...]
    limits: Limits
    prices: WiringSettings

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
        WiringError: a cable hangs on no feed or on two; the check of the site file lets none such through.
    """
    ends = _Ends(site)
    return tuple(_wire(site, transformer, ends) for transformer in site.transformers)


class _Ends:
    """The cables of a site as segments, and the nodes on which the lights of a line or a hub hang."""

    def __init__(self, site: Site) -> None:
        self.segments: list[CableSegment] = []
        self.simple: dict[str, tuple[str, ...]] = {}
        names = {name for each in site.cables for name in (each.line, each.hub) if name is not None}
        self._lights = Counter[str]()
        for zone in site.zones:
            for fixture in zone.fixtures:
                self._lights[zone.node_of(fixture, names) or ""] += fixture.count
        self._laid = Counter[str]()
        self._connector_a = site.wiring.connector_a
        self._usual = {each.id: each.tap for each in site.transformers}
        self.feeds: dict[str, dict[tuple[float, int], str]] = {
            each.id: {} if each.tap is None else {(each.tap, 1): each.id} for each in site.transformers
        }
        for table, cable in enumerate(site.cables):
            self._lay(table, cable)

    def _start_of(self, cable: Cable) -> str:
        """Name the node that a cable begins at; another tap or common than the usual is a feed of its own."""
        if cable.begins not in self.feeds:
            return cable.begins
        feeds, usual_v = self.feeds[cable.begins], self._usual[cable.begins]
        tap_v = next(each for each in (cable.tap, usual_v, USUAL_TAP_V) if each is not None)
        common = cable.common or 1
        return feeds.setdefault((tap_v, common), name_feed(cable.begins, tap_v, common, first=not feeds))

    def _lay(self, table: int, cable: Cable) -> None:
        start, gauge = self._start_of(cable), cable.gauge
        if cable.line is not None:
            every = self.simple.setdefault(cable.line, name_places(cable.line, self._lights[cable.line]))
            first = self._laid[cable.line]
            nodes = every[first:] if cable.lights is None else every[first : first + cable.lights]
            self._laid[cable.line] += len(nodes)
            # The lights are spread evenly, the last at the end.
            pieces = [
                (near, far, gauge, cable.length_m / len(nodes))
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
                # The legs of a hub part from each other, and so from the conduit.
                cables_in_conduit=1 if near == cable.hub else cable.cables_in_conduit,
                connector_a=self._connector_a if cable.connector_a is None else cable.connector_a,
                table=table,
            )
            for near, far, own_gauge, length_m in pieces
        ]


def _wire(site: Site, transformer: Transformer, ends: _Ends) -> TransformerWiring:
    zones = tuple(zone for zone in site.zones if site.transformer_of(zone) is transformer)
    known = ends.feeds[transformer.id]
    regulation, full_load = _regulation_of(transformer)
    feeds = [
        Feed(
            node=node,
            transformer=transformer.id,
            rated_va=transformer.rated_va,
            source_v=tap_v,
            common=common,
            commons_known="commons" in transformer.model_fields_set,
            limit_a=transformer.common_limit_a,
            regulation=regulation,
            full_load=full_load,
        )
        for (tap_v, common), node in (known or {(USUAL_TAP_V, 1): transformer.id}).items()
    ]
    lights = list(_attach_lights(site, zones, ends.simple, feeds[0].node))
    reached = {feed.node for feed in feeds}
    reached.update(each.to_node for feed in feeds for each in walk(feed.node, ends.segments))
    segments = [each for each in ends.segments if each.from_node in reached]
    networks = join(feeds, segments, [light.at for light in lights], site.wiring.copper_c)
    if transformer.measured_volts is not None and transformer.tap is not None:
        networks = _as_measured(networks, transformer.measured_volts / transformer.tap)
    circuits = []
    for network in [each for each in networks if each.fixtures or each.segments] or networks[:1]:
        nodes = {network.feed.node, *(cable.to_node for cable in network.segments)}
        measured_v = transformer.measured_volts if network.feed.source_v == transformer.tap else None
        own = tuple(light for light in lights if light.at.node in nodes)
        circuits.append(Circuit(network=network, lights=own, measured_v=measured_v))
    return TransformerWiring(
        transformer=transformer,
        zones=zones,
        taps_v=tuple(sorted(set(transformer.taps) or {tap_v for tap_v, _ in known})),
        tap_known=bool(known),
        circuits=tuple(circuits),
        limits=Limits(drop_percent=site.wiring.drop_percent),
        prices=site.wiring,
    )


def _as_measured(networks: Sequence[Network], part: float) -> tuple[Network, ...]:
    """Take the volts of all taps with everything lit from those measured at one, a part of its rated ones."""
    held = [
        replace(each, feed=replace(each.feed, regulation=None, full_load=part, at_load=1.0))
        for each in networks
    ]
    load_va = 0.0
    for outcome in solve_all(held):
        lamps = outcome.network.fixtures
        rated_va = sum(lamp.rated_va for lamp in lamps)
        load_va += outcome.source_va if isinstance(outcome, Solution) else rated_va
    return tuple(
        replace(each, feed=replace(each.feed, full_load=part, at_load=load_va / each.feed.rated_va))
        for each in networks
    )


def _regulation_of(transformer: Transformer) -> tuple[float | None, float]:
    """Give how far the volts rise without load, None where not known, and those at full load, as parts."""
    tap_v, no_load_v = transformer.tap, transformer.no_load_volts
    if tap_v is None or no_load_v is None:
        percent = transformer.regulation_percent
        return None if percent is None else percent / 100.0, 1.0
    full_load_v = transformer.full_load_volts or tap_v
    return no_load_v / full_load_v - 1.0, full_load_v / tap_v


def name_feed(transformer: str, tap_v: float, common: int, *, first: bool) -> str:
    """Name a tap and common by its transformer: ``house`` for the usual, ``house, 13 V, common 2``."""
    if first:
        return transformer
    return f"{transformer}, {tap_v:g} V" + (f", common {common}" if common > 1 else "")


def _attach_lights(
    site: Site, zones: tuple[Zone, ...], simple: dict[str, tuple[str, ...]], terminals: str
) -> Iterator[PlacedLight]:
    """Attach the lights of some zones to their nodes; those of a line or a hub one after the other.

    ``simple`` has the nodes of each line and hub; lights whose cable is not known go to the terminals.
    """
    free = {name: iter(nodes) for name, nodes in simple.items()}
    for zone in site.zones:
        for place, fixture in enumerate(zone.fixtures, start=1):
            node = zone.node_of(fixture, free)
            if node in free:
                numbers = range(1, fixture.count + 1)
                found = [_light(zone, place, fixture, next(free[node]), number=each) for each in numbers]
            elif node is not None:
                found = [_light(zone, place, fixture, node, count=fixture.count)]
            else:
                found = [_loose(zone, fixture.count * fixture.watts, terminals, place, fixture)]
            if zone in zones:
                yield from found
        if zone in zones and not zone.fixtures and zone.rated_load.watts is not None:
            yield _loose(zone, zone.rated_load.watts, terminals)


def _light(
    zone: Zone, place: int, fixture: Fixture, node: str, *, number: int = 1, count: int = 1
) -> PlacedLight:
    """Make a light whose cable is known."""
    min_v, max_v = fixture.volts or (None, None)
    lead = None
    if fixture.lead_m is not None:
        lead = Lead(gauge=fixture.lead_gauge or USUAL_LEAD, length_m=fixture.lead_m)
    at = FixtureAt(
        node=node,
        zone=zone.id,
        watts=fixture.watts,
        lamp=Lamp.FILAMENT if fixture.lamp == "filament" else _DRIVERS[fixture.driver],
        rated_v=fixture.rated_volts,
        count=count,
        lead=lead,
        power_factor=fixture.power_factor,
        min_v=min_v,
        max_v=max_v,
        name=fixture.name or fixture.kind,
    )
    return PlacedLight(
        zone=zone.id,
        fixture=place,
        number=number,
        kind=fixture.kind,
        name=fixture.name,
        dimmed=fixture.dimmed,
        measured_v=_reading_of(fixture, number, alone=count == fixture.count),
        at=at,
    )


def _reading_of(fixture: Fixture, number: int, *, alone: bool) -> float | None:
    """Give what was measured at a light: its own reading of a list; a single one is the last light's."""
    readings = fixture.measured_volts
    if readings is None:
        return None
    if alone:
        # All its lights stand at one node and get the same: the lowest is the one that asks a question.
        return min(readings)
    if len(readings) == 1:
        return readings[0] if number == fixture.count else None
    return readings[number - 1] if number <= len(readings) else None


def _loose(
    zone: Zone, watts: float, terminals: str, place: int = 0, fixture: Fixture | None = None
) -> PlacedLight:
    """Make lights whose cable is not known: a load at the terminals that asks for no volts."""
    at = FixtureAt(
        node=terminals,
        zone=zone.id,
        watts=watts,
        lamp=Lamp.POWER,
        rated_v=_LEAST_RATED_V,
        power_factor=fixture.power_factor if fixture else 1.0,
        min_v=0.0,
        max_v=_ANY_V,
        name="lights on no cable",
    )
    kind, name = (fixture.kind, fixture.name) if fixture else ("", "")
    return PlacedLight(zone=zone.id, fixture=place, kind=kind, name=name, placed=False, at=at)
