"""The lights of a site on the nodes of its cables: what each takes, its range, what was measured at it.

Lights whose cable is not in the file still load the transformer: they stand at its terminals with the power
that they are rated for, and ask for no volts there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from config.models.cables import Build, Gauge, Unit
from config.models.site import Fixture, Site, Zone
from controller.wiring.network import FixtureAt, Lamp, Lead

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
        at: the same for the solver.
    """

    zone: str
    fixture: int
    number: int = 1
    kind: str = ""
    name: str = ""
    placed: bool = True
    measured_v: float | None = None
    at: FixtureAt


def count_lights(site: Site, simple: set[str]) -> dict[str, int]:
    """Count the lights that hang on each line and hub by its name."""
    counts: dict[str, int] = dict.fromkeys(simple, 0)
    for zone in site.zones:
        for fixture in zone.fixtures:
            node = zone.node_of(fixture, simple)
            if node in counts:
                counts[node] += fixture.count
    return counts


def attach_lights(
    site: Site, zones: Sequence[Zone], simple: Mapping[str, Sequence[str]], terminals: str
) -> list[PlacedLight]:
    """Attach the lights of some zones to their nodes; those of a line or a hub one after the other.

    ``simple`` has the nodes of each line and hub; lights whose cable is not known go to the terminals.
    """
    free: dict[str, list[str]] = {name: list(nodes) for name, nodes in simple.items()}
    lights: list[PlacedLight] = []
    for zone in site.zones:
        for place, fixture in enumerate(zone.fixtures, start=1):
            node = zone.node_of(fixture, free)
            if node in free:
                numbers = range(1, fixture.count + 1)
                found = [_light(zone, place, fixture, free[node].pop(0), number=each) for each in numbers]
            elif node is not None:
                found = [_light(zone, place, fixture, node, count=fixture.count)]
            else:
                found = [_loose(zone, fixture.count * fixture.watts, terminals, place, fixture)]
            lights += found if zone in zones else []
        if zone in zones and not zone.fixtures and zone.rated_load.watts is not None:
            lights.append(_loose(zone, zone.rated_load.watts, terminals))
    return lights


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
