"""The cables of a site file as trees: what leads where, and a finding for everything that is not a tree.

Only ends, names and counts matter here; what the cables are made of does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from config.errors import KeyPath
from config.models.cables import name_places
from config.validation.cables import FORMS, Document, count_of, fixtures_of, tables_of
from config.validation.finding import SiteFinding, suggest

# More is no garden any more, and the search for advice, which grows with the square, should not take minutes.
MOST_NODES = 500


@dataclass(frozen=True, kw_only=True, slots=True)
class FixtureRef:
    """A fixture of the file: its node, line or hub, the ids of its zone and of the zone's transformer."""

    path: KeyPath
    node: str | None
    count: int
    transformer: str | None
    zone: str


@dataclass(kw_only=True, slots=True)
class CableRun:
    """One [[cables]] table: its form (“to”, “line” or “hub”) and name, and all nodes that it leads to."""

    path: KeyPath
    begins: str
    form: str
    name: str
    legs: int = 0
    nodes: tuple[str, ...] = ()


@dataclass(kw_only=True, slots=True)
class CableTree:
    """The transformers, cables and fixtures of a file.

    Attributes:
        owner: the cable that leads to a node, a line or a hub.
        origin: the transformer that supplies a node, for those that are reached.
    """

    transformers: tuple[str, ...]
    runs: list[CableRun]
    lights: list[FixtureRef]
    owner: dict[str, CableRun] = field(default_factory=dict)
    origin: dict[str, str] = field(default_factory=dict)

    def count_lights(self, name: str) -> int:
        """Count the lights on a node, a line or a hub."""
        return sum(light.count for light in self.lights if light.node == name)


def read_tree(document: Document) -> CableTree | None:
    """Read the cables and lights of a file; None where the ends of a cable are not known."""
    cables = tables_of(document, "cables")
    runs = [run for path, row in cables if (run := _read_run(path, row))]
    ids = [row.get("id") for _, row in tables_of(document, "transformers")]
    written = document.get("cables")
    if len(runs) != (len(written) if isinstance(written, list) else 0):
        return None
    if not all(isinstance(each, str) for each in ids):
        return None
    simple = {run.name for run in runs if run.form != "to"}
    lights = []
    for zone, path, fixture in fixtures_of(document):
        zone_id, transformer = str(zone.get("id")), zone.get("transformer")
        if transformer is None and len(ids) == 1:
            transformer = ids[0]
        node = fixture.get("node", zone_id if zone_id in simple else None)
        light = FixtureRef(
            path=path,
            node=node if isinstance(node, str) and node.strip() else None,
            count=count_of(fixture),
            transformer=transformer if transformer in ids else None,
            zone=zone_id,
        )
        lights.append(light)
    return CableTree(transformers=tuple(map(str, ids)), runs=runs, lights=lights)


def _read_run(path: KeyPath, row: Document) -> CableRun | None:
    given = [form for form in FORMS if form in row]
    begins, name = row.get("from"), row.get(given[0]) if given else None
    if len(given) != 1 or not isinstance(begins, str) or not isinstance(name, str):
        return None
    legs = row.get("legs")
    return CableRun(
        path=path, begins=begins, form=given[0], name=name, legs=len(legs) if isinstance(legs, list) else 0
    )


def check_tree(tree: CableTree) -> Iterator[SiteFinding]:
    """Yield everything that keeps the cables from being trees with all lights on them; fill the tree in."""
    counts = {run.name: tree.count_lights(run.name) for run in tree.runs}
    if sum(counts[run.name] if run.form == "line" else 1 + run.legs for run in tree.runs) > MOST_NODES:
        remedy = "put the lamps of a tape or a string at one node"
        yield SiteFinding(("cables",), f"lead to more than {MOST_NODES} nodes", remedy)
        return
    for run in tree.runs:
        yield from _name_nodes(run, counts[run.name])
        yield from _claim_nodes(tree, run)
    yield from _reach(tree)
    yield from _check_lights(tree)


def _name_nodes(run: CableRun, lights: int) -> Iterator[SiteFinding]:
    """Find the nodes of a cable; yield a line without lights, and a hub whose legs do not fit its lights."""
    if run.form == "to":
        run.nodes = (run.name,)
    elif run.form == "line":
        run.nodes = name_places(run.name, lights)
        if not lights:
            remedy = f'give the fixtures along it “node = "{run.name}"”'
            yield SiteFinding((*run.path, "line"), "is a line without lights", remedy)
    else:
        run.nodes = (run.name, *name_places(run.name, run.legs))
        if run.legs and lights not in (0, run.legs):
            what = f"has {_count(run.legs, 'leg')} for {_count(lights, 'light')}"
            remedy = f'give each light a leg, or name the legs’ ends: “node = "{run.name} 1"” and so on'
            yield SiteFinding((*run.path, "hub"), what, remedy)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _claim_nodes(tree: CableTree, run: CableRun) -> Iterator[SiteFinding]:
    """Record which cable leads to each node; yield the first node that something else is or leads to."""
    place = (*run.path, run.form)
    if run.form == "to" and run.name == run.begins:
        what = f"leads from “{run.name}” to itself"
        yield SiteFinding(place, what, "name the node at its other end")
        tree.owner.setdefault(run.name, run)
        return
    for node in dict.fromkeys((run.name, *run.nodes)):
        is_transformer = node in tree.transformers
        if is_transformer or _names_a_tap(node, tree.transformers):
            what = f"leads to “{node}”, which is a {'transformer' if is_transformer else 'tap'}"
            yield SiteFinding(place, what, "write cables from the transformer outwards")
            return
        other = tree.owner.setdefault(node, run)
        if other is not run:
            what = f"leads to “{node}”, as the cable on line {{line}} does; cables may not form a loop"
            yield SiteFinding(
                place, what, "remove one of the two, or name another node", (*other.path, other.form)
            )
            return


def _names_a_tap(node: str, transformers: tuple[str, ...]) -> bool:
    # Taps beside the usual one are named so: “house, 12 V”.
    return node.endswith(" V") and any(node.startswith(f"{each}, ") for each in transformers)


def _reach(tree: CableTree) -> Iterator[SiteFinding]:
    """Follow the cables from the transformers; yield the pieces that none supplies, and loops."""
    outward: dict[str, list[CableRun]] = {}
    for run in tree.runs:
        outward.setdefault(run.begins, []).append(run)
    tree.origin.update({each: each for each in tree.transformers})
    waiting = list(tree.transformers)
    while waiting:
        node = waiting.pop()
        for run in outward.get(node, ()):
            for far in run.nodes:
                if tree.owner.get(far) is run and far not in tree.origin:
                    tree.origin[far] = tree.origin[node]
                    waiting.append(far)
    in_a_loop: set[KeyPath] = set()
    for run in tree.runs:
        if run.begins in tree.origin or run.path in in_a_loop or run.nodes == (run.begins,):
            continue
        above = tree.owner.get(run.begins)
        if above is None:
            yield SiteFinding((*run.path, "from"), *_explain_loose(tree, run.begins))
        elif above.form == "line" and run.begins == above.name:
            remedy = (
                f"begin at one of its lights, such as “{above.nodes[-1]}”"
                if above.nodes
                else "add lights to it"
            )
            yield SiteFinding((*run.path, "from"), "is a whole line", remedy)
        else:
            yield from _find_loop(tree, run, in_a_loop)


def _explain_loose(tree: CableTree, node: str) -> tuple[str, str]:
    if not tree.transformers:
        return "is not a transformer, and the site has none", "add a [[transformers]] table"
    hint = suggest(node, [*tree.transformers, *tree.owner])
    remedy = f"begin at a transformer ({', '.join(tree.transformers)}) or at a node that a cable leads to"
    return "is a node that no cable leads to", hint + remedy


def _find_loop(tree: CableTree, run: CableRun, in_a_loop: set[KeyPath]) -> Iterator[SiteFinding]:
    """Yield the loop that a cable is part of, once; one that only begins at a loop is passed over."""
    trail = [run]
    while (above := tree.owner.get(trail[-1].begins)) is not None and above not in trail:
        trail.append(above)
    if above is not run:
        return
    in_a_loop.update(each.path for each in trail)
    way = " → ".join(f"“{each.begins}”" for each in [*reversed(trail), trail[-1]])
    remedy = "remove one cable of it, and begin at a transformer"
    yield SiteFinding(run.path, f"is part of a loop that no transformer supplies: {way}", remedy)


def _check_lights(tree: CableTree) -> Iterator[SiteFinding]:
    for light in tree.lights:
        path = (*light.path, "node")
        run = tree.owner.get(light.node or "")
        if light.node is None:
            continue
        if run is None and light.node not in tree.transformers:
            hint = suggest(light.node, [*tree.owner, *tree.transformers])
            yield SiteFinding(
                path, "is not on any cable", f"{hint}name a node that a cable leads to, or add the cable"
            )
            continue
        node = run.nodes[0] if run and run.nodes and light.node == run.name else light.node
        origin = tree.origin.get(node)
        if origin and light.transformer and origin != light.transformer:
            what = f"is supplied by transformer “{origin}”, and zone “{light.zone}” by “{light.transformer}”"
            yield SiteFinding(path, what, "name a node of the zone’s own transformer, or move the zone")
