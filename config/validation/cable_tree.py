"""The cables of a site file: what leads where, what no transformer supplies, and what is probably a mistake.

Only ends, names and counts matter here; what the cables are made of does not. Several cables may lead to one
node: a ring, or cables side by side. ``owner`` then is the one by which a transformer reaches the node first.
"""

import re
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from config.errors import KeyPath
from config.models.cables import name_places
from config.models.site import Site
from config.phrase import Phrase, count_phrase
from config.validation.cables import Document, count_of, fixtures_of, tables_of
from config.validation.finding import CABLE_FORMS, SiteFinding, suggest

# More is no garden any more, and the search for advice, which grows with the square, should not take minutes.
MOST_NODES = 500
_FEED_NAME = re.compile(r" V(, common \d+)?$|, common \d+$")


# What joins two transformers, two taps, or two commons.
_JOINED = (
    (
        Phrase(
            "leads to “{node}”, which the cable on line {line} supplies from another transformer",
            node="",
            line=0,
        ),
        Phrase("begin both at the same transformer, or keep them apart: two transformers may not be joined"),
    ),
    (
        Phrase(
            "leads to “{node}”, which the cable on line {line} supplies from another tap", node="", line=0
        ),
        Phrase("begin both at the same tap, or keep them apart: two taps may not be joined"),
    ),
    (
        Phrase(
            "leads to “{node}”, which the cable on line {line} supplies from another common", node="", line=0
        ),
        Phrase("begin both at the same common, or keep them apart: two commons may not be joined"),
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class FixtureRef:
    """A fixture of the file: its node, line or hub, the ids of its zone and of the zone's transformer."""

    path: KeyPath
    node: str | None
    count: int
    transformer: str | None
    zone: str


@dataclass(kw_only=True, slots=True, eq=False)
class CableRun:
    """One [[cables]] table: its form (“to”, “line” or “hub”) and name, and all nodes that it leads to.

    ``tap`` and ``common`` are as written; None where they are those of the transformer. ``lights`` is how
    many of its line's a cable has as written, None for those that are left.
    """

    path: KeyPath
    begins: str
    form: str
    name: str
    legs: int = 0
    tap: object = None
    common: object = None
    lights: int | None = None
    nodes: tuple[str, ...] = ()


@dataclass(kw_only=True, slots=True)
class CableTree:
    """The transformers, with their usual taps, the cables and the fixtures of a file.

    ``owner`` is the cable that leads to a node; ``into`` has all that do, in the order of the file.
    """

    transformers: Mapping[str, object]
    runs: list[CableRun]
    lights: list[FixtureRef]
    owner: dict[str, CableRun] = field(default_factory=dict)
    into: dict[str, list[CableRun]] = field(default_factory=dict)

    def count_lights(self, name: str) -> int:
        """Count the lights on a node, a line or a hub."""
        return sum(light.count for light in self.lights if light.node == name)

    def climb(self, node: str | None) -> list[CableRun]:
        """List the cables from a node up to its transformer, or up to the end of a piece or a loop."""
        trail: dict[CableRun, None] = {}
        while node and (run := self.owner.get(node)) is not None and run not in trail:
            trail[run] = None
            node = run.begins
        return list(trail)

    def transformer_of(self, node: str) -> str | None:
        """Return the transformer that supplies a node."""
        trail = self.climb(node)
        top = trail[-1].begins if trail else node
        return top if top in self.transformers else None

    def feed_of(self, run: CableRun) -> tuple[str, object, object]:
        """Return transformer, tap and common of a cable that begins at a transformer."""
        usual = self.transformers[run.begins]
        return run.begins, usual if run.tap is None else run.tap, 1 if run.common is None else run.common


def read_tree(document: Document) -> CableTree | None:
    """Read the cables and lights of a file; None where the ends of a cable are not known."""
    runs = [run for path, row in tables_of(document, "cables") if (run := _read_run(path, row))]
    ids = [row.get("id") for _, row in tables_of(document, "transformers")]
    written = document.get("cables")
    count = len(written) if isinstance(written, list) else 0
    if len(runs) != count or not all(isinstance(each, str) for each in ids):
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
    usual_taps = {str(row["id"]): row.get("tap") for _, row in tables_of(document, "transformers")}
    return CableTree(transformers=usual_taps, runs=runs, lights=lights)


def _read_run(path: KeyPath, row: Document) -> CableRun | None:
    given = [form for form in CABLE_FORMS if form in row]
    begins, name = row.get("from"), row.get(given[0]) if given else None
    if len(given) != 1 or not isinstance(begins, str) or not isinstance(name, str):
        return None
    legs = len(row["legs"]) if isinstance(row.get("legs"), list) else 0
    lights = row.get("lights")
    return CableRun(
        path=path,
        begins=begins,
        form=given[0],
        name=name,
        legs=legs,
        tap=row.get("tap"),
        common=row.get("common"),
        lights=lights if isinstance(lights, int) and lights > 0 else None,
    )


def check_tree(tree: CableTree) -> Iterator[SiteFinding]:
    """Yield everything that keeps the cables from supplying all the lights; fill the tree in."""
    counts = {run.name: tree.count_lights(run.name) for run in tree.runs}
    lines = {run.name for run in tree.runs if run.form == "line"}
    hubs = sum(1 + run.legs for run in tree.runs if run.form != "line")
    if sum(counts[name] for name in lines) + hubs > MOST_NODES:
        what = Phrase("lead to more than {most} nodes", most=MOST_NODES)
        yield SiteFinding(("cables",), what, Phrase("put the lamps of a tape or a string at one node"))
        return
    left = dict(counts)
    for run in tree.runs:
        yield from _name_nodes(run, counts[run.name], left)
        yield from _claim_nodes(tree, run)
    for name in lines:
        if 0 < left[name] < counts[name]:
            last = [run for run in tree.runs if run.form == "line" and run.name == name][-1]
            what = count_phrase(
                "leaves {n} light of its line out", "leaves {n} lights of its line out", left[name]
            )
            remedy = Phrase("remove it from the last cable of the line, which then has the others")
            yield SiteFinding((*last.path, "lights"), what, remedy)
    reached, joined = _follow_cables(tree)
    yield from joined
    yield from _check_begins(tree, reached)
    yield from _check_lights(tree)


def _name_nodes(run: CableRun, lights: int, left: dict[str, int]) -> Iterator[SiteFinding]:
    """Find the nodes of a cable; yield a line without lights, and a hub whose legs do not fit its lights.

    Of the lights of a line those are ``left`` that no cable before this one has.
    """
    if run.form == "to":
        run.nodes = (run.name,)
    elif run.form == "line":
        count, place = left[run.name], lights - left[run.name]
        own = count if run.lights is None else min(run.lights, count)
        run.nodes = name_places(run.name, lights)[place : place + own]
        left[run.name] -= own
        if lights and (count == 0 or own < (run.lights or 0)):
            what = Phrase("is a line whose other cables leave {n} lights for this one", n=count)
            remedy = Phrase("say with “lights = …” how many lights each cable of the line has")
            yield SiteFinding((*run.path, "lights" if run.lights else "line"), what, remedy)
        if not lights:
            remedy = Phrase('give the fixtures along it “node = "{name}"”', name=run.name)
            yield SiteFinding((*run.path, "line"), Phrase("is a line without lights"), remedy)
    else:
        run.nodes = (run.name, *name_places(run.name, run.legs))
        if run.legs and lights not in (0, run.legs):
            hung = count_phrase("{n} light", "{n} lights", lights)
            what = count_phrase(
                "has {n} leg for {lights}", "has {n} legs for {lights}", run.legs, lights=hung
            )
            remedy = Phrase(
                'give each light a leg, or name the legs’ ends: “node = "{name} 1"” and so on', name=run.name
            )
            yield SiteFinding((*run.path, "hub"), what, remedy)


def _claim_nodes(tree: CableTree, run: CableRun) -> Iterator[SiteFinding]:
    """Record which cables lead to each node; yield the first node to which this one may not lead."""
    place = (*run.path, run.form)
    if run.form == "to" and run.name == run.begins:
        what = Phrase("leads from “{name}” to itself", name=run.name)
        yield SiteFinding(place, what, Phrase("name the node at its other end"))
        tree.owner.setdefault(run.name, run)
        return
    goes_on = any(
        each.form == run.form == "line" and each.name == run.name for each in tree.into.get(run.name, ())
    )
    for node in run.nodes if goes_on else dict.fromkeys((run.name, *run.nodes)):
        is_transformer = node in tree.transformers
        # Taps beside the usual one are named so: “house, 12 V”.
        is_tap = _FEED_NAME.search(node) and node.startswith(tuple(f"{each}, " for each in tree.transformers))
        if is_transformer or is_tap:
            what = Phrase("leads to “{node}”, which is a tap", node=node)
            if is_transformer:
                what = Phrase("leads to “{node}”, which is a transformer", node=node)
            yield SiteFinding(place, what, Phrase("write cables from the transformer outwards"))
            return
        others = tree.into.setdefault(node, [])
        others.append(run)
        tree.owner.setdefault(node, run)
        wholes = [each for each in others if each.form == "line" and each.name == node]
        named = [each for each in others if each.form != "to"]
        if len(wholes) == 1 and len(others) > 1:
            pieces = [each for each in others if each is not wholes[0]]
            last = wholes[0].nodes[-1] if wholes[0].nodes else f"{node} 1"
            what = Phrase("leads to “{node}”, which is a whole line", node=node)
            remedy = Phrase("lead to “{last}”", last=last)
            yield SiteFinding((*pieces[-1].path, pieces[-1].form), what, remedy)
            return
        if len(named) > 1:
            what = Phrase("leads to “{node}”, as the cable on line {line} does", node=node, line=0)
            remedy = Phrase(
                "give one of them another name; another cable to the same node is written with “to”"
            )
            yield SiteFinding(place, what, remedy, (*named[0].path, named[0].form))
            return


def _follow_cables(tree: CableTree) -> tuple[set[str], list[SiteFinding]]:
    """Follow the cables from each tap and common outwards.

    Returns:
        The nodes that are reached, and the cables that would join two taps, commons or transformers. The
        owner of a node becomes the cable that reaches it first.
    """
    onward: dict[str, list[CableRun]] = {}
    for run in tree.runs:
        onward.setdefault(run.begins, []).append(run)
    feeds: dict[tuple[str, object, object], list[CableRun]] = {}
    for transformer in tree.transformers:
        for run in onward.get(transformer, ()):
            feeds.setdefault(tree.feed_of(run), []).append(run)
    fed: dict[str, tuple[str, object, object]] = dict.fromkeys(tree.transformers, ("", None, None))
    joined: dict[KeyPath, SiteFinding] = {}
    for feed, first in feeds.items():
        waiting = deque(first)
        while waiting:
            run = waiting.popleft()
            for node in run.nodes:
                if node not in fed and run in tree.into.get(node, ()):
                    fed[node], tree.owner[node] = feed, run
                    waiting.extend(onward.get(node, ()))
                elif fed.get(node, feed) != feed and node not in tree.transformers:
                    joined.setdefault(run.path, _explain_joined(run, node, tree.owner[node], feed, fed[node]))
    return set(fed), list(joined.values())


def _explain_joined(
    run: CableRun,
    node: str,
    other: CableRun,
    feed: tuple[str, object, object],
    fed: tuple[str, object, object],
) -> SiteFinding:
    """Say that a cable leads to what another tap, common or transformer supplies."""
    differs = next(at for at, (one, two) in enumerate(zip(feed, fed, strict=True)) if one != two)
    what, remedy = _JOINED[differs]
    return SiteFinding((*run.path, run.form), what.fill(node=node), remedy, (*other.path, other.form))


def _check_begins(tree: CableTree, reached: set[str]) -> Iterator[SiteFinding]:
    """Yield the cables that begin at no node that a transformer supplies, and each loop once."""
    in_a_loop: set[KeyPath] = set()
    for run in tree.runs:
        above, trail = tree.owner.get(run.begins), tree.climb(run.begins)
        if run.begins in reached or run.path in in_a_loop or run.nodes == (run.begins,):
            continue
        if above is None:
            yield SiteFinding((*run.path, "from"), *_explain_loose(tree, run.begins))
        elif above.form == "line" and run.begins == above.name:
            last = above.nodes[-1] if above.nodes else ""
            remedy = Phrase("add lights to it")
            if last:
                remedy = Phrase("begin at one of its lights, such as “{last}”", last=last)
            yield SiteFinding((*run.path, "from"), Phrase("is a whole line"), remedy)
        elif trail[-1] is run:
            in_a_loop.update(each.path for each in trail)
            loop = [*reversed(trail[:-1]), run]
            way = " → ".join(f"“{each.begins}”" for each in [*loop, loop[0]])
            what = Phrase("is part of a loop that no transformer supplies: {way}", way=way)
            remedy = Phrase(
                "begin one cable of it at a transformer, or at a node that a transformer supplies"
            )
            yield SiteFinding(run.path, what, remedy)


def _explain_loose(tree: CableTree, node: str) -> tuple[Phrase, Phrase]:
    if not tree.transformers:
        what = Phrase("is not a transformer, and the site has none")
        return what, Phrase("add a [[transformers]] table")
    remedy = Phrase(
        "begin at a transformer ({names}) or at a node that a cable leads to",
        names=", ".join(tree.transformers),
    )
    remedy = suggest(node, [*tree.transformers, *tree.owner], remedy)
    return Phrase("is a node that no cable leads to"), remedy


def _check_lights(tree: CableTree) -> Iterator[SiteFinding]:
    for light in tree.lights:
        path = (*light.path, "node")
        if light.node is None:
            continue
        if light.node not in tree.owner and light.node not in tree.transformers:
            remedy = Phrase("name a node that a cable leads to, or add the cable")
            remedy = suggest(light.node, [*tree.owner, *tree.transformers], remedy)
            yield SiteFinding(path, Phrase("is not on any cable"), remedy)
        elif (supply := tree.transformer_of(light.node)) and light.transformer not in (None, supply):
            what = Phrase(
                "is supplied by transformer “{supply}”, and zone “{zone}” by “{other}”",
                supply=supply,
                zone=light.zone,
                other=light.transformer,
            )
            remedy = Phrase("name a node of the zone’s own transformer, or move the zone")
            yield SiteFinding(path, what, remedy)


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
            what = Phrase(
                "is not on any cable of transformer “{transformer}”, so that its volts are not known",
                transformer=light.transformer,
            )
            yield SiteFinding(light.path, what, Phrase("add “node = …”"))


def _warn_shared_runs(site: Site, tree: CableTree) -> Iterator[SiteFinding]:
    """Warn of cables with lights of several zones, whose relays are at the transformer."""
    zones: dict[CableRun, dict[str, None]] = {}
    first = _first_runs(tree)
    for light in tree.lights:
        if trail := tree.climb(light.node):
            zones.setdefault(first[trail[-1]], {})[light.zone] = None
    sides = {transformer.id: transformer.relay_side for transformer in site.transformers}
    for run, names in zones.items():
        if len(names) > 1 and sides[run.begins] == "low voltage":
            zones_named = Phrase("“{name}”", name=next(iter(names)))
            for name in list(names)[1:]:
                zones_named = Phrase("{names} and “{name}”", names=zones_named, name=name)
            what = Phrase(
                "carries lights of {zones}: a relay at the transformer would switch them together",
                zones=zones_named,
            )
            remedy = Phrase("give each zone a run of its own, unless the relays are where the zones part")
            yield SiteFinding(run.path, what, remedy)


def _first_runs(tree: CableTree) -> dict[CableRun, CableRun]:
    """Say for each cable at a transformer which is the first of those that it forms a ring with."""
    first = {run: run for run in tree.runs if run.begins in tree.transformers}
    for runs in tree.into.values():
        tops = {first[run if run.begins in tree.transformers else tree.climb(run.begins)[-1]] for run in runs}
        one = min(tops, key=tree.runs.index)
        first.update({run: one for run, top in first.items() if top in tops})
    return first


def _warn_dead_ends(tree: CableTree) -> Iterator[SiteFinding]:
    used = {light.node for light in tree.lights} | {run.begins for run in tree.runs}
    used |= {node for node, runs in tree.into.items() if len({run.begins for run in runs}) > 1}
    for run in tree.runs:
        only = all(each.form == "to" for each in tree.into[run.name])
        if run.form == "to" and only and run.name not in used and tree.owner[run.name] is run:
            what = Phrase("leads to no light and to no other cable")
            remedy = Phrase('give the fixtures there “node = "{name}"”, or remove the cable', name=run.name)
            yield SiteFinding((*run.path, "to"), what, remedy)
        if run.form == "hub" and tree.count_lights(run.name) == 0:
            for end in (each for each in name_places(run.name, run.legs) if each not in used):
                what = Phrase("has a leg that leads to no light, “{end}”", end=end)
                remedy = Phrase('give the fixtures there “node = "{end}"”, or remove the leg', end=end)
                yield SiteFinding((*run.path, "hub"), what, remedy)
