"""Whether each lamp was measured to get the volts that it is allowed.

A reading counts whatever was computed, also where the cables are not in the file.
"""

from collections.abc import Iterator

from config.models.site import Fixture, Zone
from controller.inspection.findings import Finding
from controller.inspection.volts import check_reading, keep_worst
from controller.wiring.from_site import PlacedLight, TransformerWiring
from controller.wiring.network import FixtureAt, Lamp


def check_readings(wiring: TransformerWiring) -> Iterator[Finding]:
    """Every reading outside its lamp's range, and the one nearest to it where none is."""
    feeds: dict[tuple[str, int], list[tuple[str, PlacedLight]]] = {}
    for circuit in wiring.circuits:
        for light in circuit.lights:
            if light.placed:
                lights = feeds.setdefault((light.zone, light.fixture), [])
                lights.append((circuit.network.feed.node, light))
    checked: list[tuple[float, tuple[FixtureAt, float, str]]] = []
    for zone in wiring.zones:
        for place, fixture in enumerate(zone.fixtures, start=1):
            for volts, at, feed in _readings_of(zone, fixture, feeds.get((zone.id, place), [])):
                low_v, high_v = at.range_v
                if fixture.dimmed and volts < low_v:
                    continue  # that is what a dimmer is for
                part = min(volts / low_v if low_v else 2.0, high_v / volts if volts else 2.0)
                checked.append((part, (at, volts, feed)))
    yield from (check_reading(*reading) for reading in keep_worst(checked))


def _readings_of(
    zone: Zone, fixture: Fixture, lights: list[tuple[str, PlacedLight]]
) -> Iterator[tuple[float, FixtureAt, str]]:
    """Each reading with its lamp and the node of its feed; no node for lamps on no cable."""
    readings = fixture.measured_volts or ()
    # A single reading is that of the last light.
    first = fixture.count if len(readings) == 1 else 1
    for number, volts in enumerate(readings, start=first):
        found = next((each for each in lights if each[1].number == number), None)
        if found is None and len(lights) == 1:
            found = lights[0]
        if found is not None:
            yield volts, found[1].at, found[0]
        else:
            min_v, max_v = fixture.volts or (None, None)
            loose = FixtureAt(
                node=zone.id,
                zone=zone.id,
                watts=fixture.watts,
                lamp=Lamp.FILAMENT if fixture.lamp == "filament" else Lamp.POWER,
                rated_v=fixture.rated_volts,
                min_v=min_v,
                max_v=max_v,
                name=fixture.name or fixture.kind,
            )
            yield volts, loose, ""
