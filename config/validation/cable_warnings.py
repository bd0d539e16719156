"""What is allowed of cables in a site file but hardly meant; all of it becomes warnings."""

from __future__ import annotations

from collections.abc import Iterator

from config.errors import KeyPath
from config.models.cables import Cable, name_places
from config.models.site import Site, Zone
from config.validation.finding import SiteFinding


def find_cable_doubts(site: Site) -> Iterator[SiteFinding]:
    """Yield what is probably not meant about the cables of a valid site."""
    if not site.cables:
        return
    simple = {name for cable in site.cables for name in (cable.line, cable.hub) if name is not None}
    runs = _runs(site)
    fed = {run[0] for run in runs.values()}
    lit: dict[int, dict[str, Zone]] = {}
    for index, zone in enumerate(site.zones):
        hung = [zone.node_of(fixture, simple) for fixture in zone.fixtures]
        yield from _doubt_zone(site, zone, hung, fed, ("zones", index))
        for node in hung:
            if node in runs:
                lit.setdefault(runs[node][1], {})[zone.id] = zone
    used = {zone.node_of(fixture, simple) for zone in site.zones for fixture in zone.fixtures}
    yield from _doubt_shared_runs(site, lit)
    yield from _doubt_dead_ends(site, used)


def _names_of(cable: Cable, site: Site) -> tuple[str, ...]:
    """Name the nodes of a cable, and its line or hub itself."""
    if cable.to is not None:
        return (cable.to,)
    if cable.hub is not None:
        return (cable.hub, *name_places(cable.hub, len(cable.leg_lengths_m)))
    name = cable.line or ""
    count = sum(
        fixture.count for zone in site.zones for fixture in zone.fixtures if (fixture.node or zone.id) == name
    )
    return (name, *name_places(name, count))


def _runs(site: Site) -> dict[str, tuple[str, int]]:
    """Say for each node which transformer it hangs on, and by which of the cables that begin there."""
    feeds = {transformer.id for transformer in site.transformers}
    names = [_names_of(cable, site) for cable in site.cables]
    runs: dict[str, tuple[str, int]] = {}
    waiting = [
        (index, cable.begins, index) for index, cable in enumerate(site.cables) if cable.begins in feeds
    ]
    while waiting:
        index, feed, first = waiting.pop()
        runs.update((name, (feed, first)) for name in names[index])
        waiting += [
            (other, feed, first) for other, cable in enumerate(site.cables) if cable.begins in names[index]
        ]
    return runs


def _doubt_zone(
    site: Site, zone: Zone, hung: list[str | None], fed: set[str], path: KeyPath
) -> Iterator[SiteFinding]:
    """Doubt a zone with lights on no cable, where other lights of its transformer are on some."""
    transformer = site.transformer_of(zone)
    if transformer is None or transformer.id not in fed:
        return
    loose = next((index for index, node in enumerate(hung) if node is None), None)
    if loose is not None:
        what = f"is on no cable, while transformer “{transformer.id}” has some: its volts cannot be told"
        yield SiteFinding(path=(*path, "fixtures", loose), what=what, remedy="add “node = …”")


def _doubt_shared_runs(site: Site, lit: dict[int, dict[str, Zone]]) -> Iterator[SiteFinding]:
    """Doubt a run with lights of several zones, whose relays stand at the transformer."""
    for index, zones in sorted(lit.items()):
        transformer = site.transformer_of(next(iter(zones.values())))
        if len(zones) > 1 and transformer is not None and transformer.relay_side == "low voltage":
            names = " and ".join(f"“{zone}”" for zone in zones)
            what = f"carries lights of {names}: a relay at the transformer would switch them together"
            remedy = "give each zone a run of its own, unless the relays stand where the zones part"
            yield SiteFinding(path=("cables", index), what=what, remedy=remedy)


def _doubt_dead_ends(site: Site, used: set[str | None]) -> Iterator[SiteFinding]:
    """Doubt a cable that leads to no light and on to no other cable."""
    onward = {cable.begins for cable in site.cables}
    for index, cable in enumerate(site.cables):
        if cable.to is not None and cable.to not in used | onward:
            what = "leads to no light and on to no cable"
            remedy = f'give the fixtures there “node = "{cable.to}"”, or leave the cable out'
            yield SiteFinding(path=("cables", index, "to"), what=what, remedy=remedy)
        if cable.hub is not None and cable.hub not in used:
            for end in name_places(cable.hub, len(cable.leg_lengths_m)):
                if end not in used | onward:
                    what = f"has a leg that leads to no light, “{end}”"
                    remedy = f'give the fixtures there “node = "{end}"”, or leave the leg out'
                    yield SiteFinding(path=("cables", index, "hub"), what=what, remedy=remedy)
