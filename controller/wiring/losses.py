"""What the wiring means for energy and lamp life: watts lost in the cables of a zone, volts at its lamps.

A zone whose watts were measured has its cables in them already. Cables that cannot be solved, or that are not
in the file, lose nothing here; a filament lamp whose cable is not known is taken to get its rated volts.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from config.errors import WiringError
from config.models.site import Site
from controller.wiring.from_site import Circuit, TransformerWiring, build_wiring
from controller.wiring.solver import Solution, solve_all


@dataclass(frozen=True, kw_only=True, slots=True)
class CableLosses:
    """What the cables of a site do while its zones are lit.

    Attributes:
        cable_w: watts lost in cables, leads and splices by zone.
        volts: by zone and fixture, from 1: the most that any of its lights gets, since that one ends first.
    """

    cable_w: Mapping[str, Decimal]
    volts: Mapping[tuple[str, int], float]


@lru_cache(maxsize=4)
def cable_losses(site: Site) -> CableLosses:
    """Solve the cables of a site, once for each site.

    Where the relays stand behind the transformer a zone is solved lit alone, with the copper as warm as the
    site file says; where the relay switches the mains, everything on the transformer is lit together.
    """
    cable_w: dict[str, Decimal] = defaultdict(Decimal)
    volts: dict[tuple[str, int], float] = {}
    measured = {zone.id for zone in site.zones if zone.rated_load.origin == "measured"}
    try:
        wirings = build_wiring(site)
    except WiringError:
        wirings = ()
    for wiring in wirings:
        for circuit, zones, found in _solve(wiring):
            lost_w = Decimal(repr(found.loss_w))
            for zone in zones:
                if zone not in measured and found.lamp_w > 0:
                    lamps = (lamp for lamp in found.lamps if lamp.fixture.zone == zone)
                    zone_w = sum(lamp.fixture.count * lamp.watts for lamp in lamps)
                    cable_w[zone] += lost_w * Decimal(repr(zone_w / found.lamp_w))
            at_light = {lamp.fixture: lamp.volts for lamp in found.lamps}
            for light in circuit.lights:
                if light.placed and light.fixture and light.at in at_light:
                    key = light.zone, light.fixture
                    volts[key] = max(volts.get(key, 0.0), at_light[light.at])
    return CableLosses(cable_w=dict(cable_w), volts=volts)


def _solve(wiring: TransformerWiring) -> Iterator[tuple[Circuit, tuple[str, ...], Solution]]:
    """Solve what is lit together, or each zone alone, by circuits; what has no solution is left out."""
    zones = dict.fromkeys(zone for network in wiring.networks for zone in network.zones)
    together = wiring.transformer.relay_side == "mains"
    for group in [tuple(zones)] if together else [(zone,) for zone in zones]:
        lit = [
            (circuit, tuple(zone for zone in circuit.network.zones if zone in group))
            for circuit in wiring.circuits
        ]
        lit = [(circuit, own) for circuit, own in lit if own]
        outcomes = solve_all([circuit.network.lit(own) for circuit, own in lit])
        for (circuit, own), found in zip(lit, outcomes, strict=True):
            if isinstance(found, Solution) and any(light.placed for light in circuit.lights):
                yield circuit, own, found
