"""What is allowed of cables in a site file but probably a mistake; all of it becomes warnings."""

from __future__ import annotations

from collections.abc import Iterator

from config.models.cables import name_places
from config.models.site import Site
from config.validation.cable_tree import CableTree, check_tree, read_tree
from config.validation.cables import Document
from config.validation.finding import SiteFinding


def find_cable_warnings(site: Site, document: Document) -> Iterator[SiteFinding]:
    """Yield what is probably a mistake about the cables of a valid site with these plain tables."""
    tree = read_tree(document)
    if tree is None or list(check_tree(tree)):
        return
    yield from _warn_loose_lights(tree)
    yield from _warn_shared_runs(site, tree)
    yield from _warn_dead_ends(tree)


def _warn_loose_lights(tree: CableTree) -> Iterator[SiteFinding]:
    """Warn once of a zone with lights on no cable, where its transformer has cables."""
    wired = {tree.transformer_of(run.begins) for run in tree.runs}
    warned: set[str] = set()
    for light in tree.lights:
        if light.node is None and light.transformer in wired and light.zone not in warned:
            warned.add(light.zone)
            what = f"is not on any cable of transformer “{light.transformer}”"
            what += ", so that its volts are not known"
            yield SiteFinding(light.path, what, "add “node = …”")


def _warn_shared_runs(site: Site, tree: CableTree) -> Iterator[SiteFinding]:
    """Warn of a run with lights of several zones, whose relays are at the transformer."""
    zones: dict[int, list[str]] = {}
    for light in tree.lights:
        if trail := tree.climb(light.node):
            zones.setdefault(tree.runs.index(trail[-1]), []).append(light.zone)
    sides = {transformer.id: transformer.relay_side for transformer in site.transformers}
    for index, lit in sorted(zones.items()):
        run, names = tree.runs[index], list(dict.fromkeys(lit))
        if len(names) > 1 and sides[run.begins] == "low voltage":
            what = f"carries lights of {' and '.join(f'“{name}”' for name in names)}"
            what += ": a relay at the transformer would switch them together"
            remedy = "give each zone a run of its own, unless the relays are where the zones part"
            yield SiteFinding(run.path, what, remedy)


def _warn_dead_ends(tree: CableTree) -> Iterator[SiteFinding]:
    used = {light.node for light in tree.lights} | {run.begins for run in tree.runs}
    for run in tree.runs:
        if run.form == "to" and run.name not in used:
            remedy = f'give the fixtures there “node = "{run.name}"”, or remove the cable'
            yield SiteFinding((*run.path, "to"), "leads to no light and to no other cable", remedy)
        if run.form == "hub" and tree.count_lights(run.name) == 0:
            for end in (each for each in name_places(run.name, run.legs) if each not in used):
                what = f"has a leg that leads to no light, “{end}”"
                remedy = f'give the fixtures there “node = "{end}"”, or remove the leg'
                yield SiteFinding((*run.path, "hub"), what, remedy)
