"""The cables of a site file as trees: what leads where, and a finding for everything that makes them none.

Only ends, names and counts matter here; what the cables are made of does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from config.errors import KeyPath
from config.models.cables import name_places
from config.validation.finding import SiteFinding, suggest


@dataclass(frozen=True, kw_only=True, slots=True)
class FixtureRef:
    """A fixture of the file that hangs on a node, a line or a hub.

    Attributes:
        path: of its table.
        node: what it hangs on.
        count: how many lights it is.
        transformer: id of the one that feeds its zone; None where nobody can tell.
        zone: id of its zone.
    """

    path: KeyPath
    node: str
    count: int
    transformer: str | None
    zone: str


@dataclass(kw_only=True, slots=True)
class CableRun:
    """One [[cables]] table: where it begins, what it is, and the nodes that it leads to.

    Attributes:
        path: of its table.
        begins: the node that it begins at.
        form: “to”, “line” or “hub”.
        name: of its end, its line or its hub.
        legs: how many a hub has.
        nodes: all nodes that it leads to.
    """

    path: KeyPath
    begins: str
    form: str
    name: str
    legs: int = 0
    nodes: tuple[str, ...] = ()


@dataclass(kw_only=True, slots=True)
class Plan:
    """The cables and lights of a file.

    Attributes:
        feeds: ids of the transformers.
        runs: the cables.
        lights: the fixtures that hang on something.
        owner: the cable that leads to a node.
        origin: the transformer that a node hangs on, for those that are reached.
    """

    feeds: tuple[str, ...]
    runs: list[CableRun]
    lights: list[FixtureRef]
    owner: dict[str, CableRun] = field(default_factory=dict)
    origin: dict[str, str] = field(default_factory=dict)

    def at(self, name: str) -> list[FixtureRef]:
        """Give the lights that hang on a node, a line or a hub by its name."""
        return [light for light in self.lights if light.node == name]

    def count_nodes(self) -> int:
        """Count the nodes that the cables lead to, before they are named one by one."""
        counts = {run.name: 0 for run in self.runs if run.form == "line"}
        for light in self.lights:
            if light.node in counts:
                counts[light.node] += light.count
        return sum(counts.get(run.name, 1 + run.legs) for run in self.runs)


def check_tree(plan: Plan) -> Iterator[SiteFinding]:
    """Yield everything that keeps the cables from being trees with all lights on them."""
    yield from _lay(plan)
    yield from _reach(plan)
    yield from _check_lights(plan)


def _lay(plan: Plan) -> Iterator[SiteFinding]:
    """Find the nodes of every cable; yield those that are led to twice, or are a transformer."""
    for run in plan.runs:
        lights = sum(light.count for light in plan.at(run.name))
        if run.form == "to":
            run.nodes = (run.name,)
        elif run.form == "line":
            run.nodes = name_places(run.name, lights)
            if not lights:
                remedy = f'give the fixtures along it “node = "{run.name}"”'
                yield SiteFinding(path=(*run.path, "line"), what="is a line without lights", remedy=remedy)
        else:
            run.nodes = (run.name, *name_places(run.name, run.legs))
            if run.legs and lights not in (0, run.legs):
                what = f"has {_count(run.legs, 'leg')} for {_count(lights, 'light')}"
                remedy = f'give each light a leg, or name the legs’ ends: “node = "{run.name} 1"” and so on'
                yield SiteFinding(path=(*run.path, "hub"), what=what, remedy=remedy)
        yield from _own(plan, run)


def _own(plan: Plan, run: CableRun) -> Iterator[SiteFinding]:
    """Give a cable the nodes that it leads to; yield the first that something else is or leads to."""
    place = (*run.path, run.form)
    if run.form == "to" and run.name == run.begins:
        what = f"leads from “{run.name}” to itself"
        yield SiteFinding(path=place, what=what, remedy="name the node at its other end")
        plan.owner.setdefault(run.name, run)
        return
    for node in dict.fromkeys((run.name, *run.nodes)):
        if node in plan.feeds or _names_a_tap(node, plan.feeds):
            what = f"leads to “{node}”, which is a {'transformer' if node in plan.feeds else 'tap'}"
            yield SiteFinding(path=place, what=what, remedy="write cables from the transformer outwards")
            return
        other = plan.owner.setdefault(node, run)
        if other is not run:
            what = f"feeds “{node}” a second time: the cable on line {{line}} leads there too"
            remedy = "only a tree can be computed: take one of the two away, or name another node"
            yield SiteFinding(path=place, what=what, remedy=remedy, other=(*other.path, other.form))
            return


def _names_a_tap(node: str, feeds: tuple[str, ...]) -> bool:
    """Whether a node has a name that taps beside the usual one are given, such as “house, 12 V”."""
    return any(node.startswith(f"{feed}, ") and node.endswith(" V") for feed in feeds)


def _reach(plan: Plan) -> Iterator[SiteFinding]:
    """Follow the cables from the transformers; yield the pieces that hang on none, and rings."""
    outward: dict[str, list[CableRun]] = {}
    for run in plan.runs:
        outward.setdefault(run.begins, []).append(run)
    plan.origin.update({feed: feed for feed in plan.feeds})
    waiting = list(plan.feeds)
    while waiting:
        node = waiting.pop()
        for run in outward.get(node, ()):
            for far in run.nodes:
                if plan.owner.get(far) is run and far not in plan.origin:
                    plan.origin[far] = plan.origin[node]
                    waiting.append(far)
    in_a_ring: set[KeyPath] = set()
    for run in plan.runs:
        if run.begins in plan.origin or run.path in in_a_ring or run.nodes == (run.begins,):
            continue
        if run.begins not in plan.owner:
            what, remedy = _explain_hanging(plan, run.begins)
            yield SiteFinding(path=(*run.path, "from"), what=what, remedy=remedy)
        elif plan.owner[run.begins].form == "line" and run.begins == plan.owner[run.begins].name:
            nodes = plan.owner[run.begins].nodes
            remedy = f"begin at one of its lights, such as “{nodes[-1]}”" if nodes else "give it lights first"
            yield SiteFinding(path=(*run.path, "from"), what="is a whole line", remedy=remedy)
        else:
            yield from _ring(plan, run, in_a_ring)


def _explain_hanging(plan: Plan, node: str) -> tuple[str, str]:
    """Say what is wrong with the beginning of a cable that no other leads to, and what would do."""
    if not plan.feeds:
        return "is no transformer, and the site has none", "add a [[transformers]] table"
    hint = suggest(node, [*plan.feeds, *plan.owner])
    return (
        "is a node that no cable leads to",
        f"{hint}begin at a transformer ({', '.join(plan.feeds)}) or at a node that a cable leads to",
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _ring(plan: Plan, run: CableRun, in_a_ring: set[KeyPath]) -> Iterator[SiteFinding]:
    """Yield the ring that a cable is part of, once; one that only hangs on a ring is passed over."""
    trail = [run]
    while (above := plan.owner.get(trail[-1].begins)) is not None and above not in trail:
        trail.append(above)
    if above is not run:
        return
    in_a_ring.update(each.path for each in trail)
    ways = " → ".join(f"“{each.begins}”" for each in [*reversed(trail), trail[-1]])
    what = f"runs in a ring that no transformer feeds: {ways}"
    yield SiteFinding(
        path=run.path, what=what, remedy="take one cable of it away, and begin at a transformer"
    )


def _check_lights(plan: Plan) -> Iterator[SiteFinding]:
    """Yield the fixtures that are on no cable, or on one of another transformer than their zone's."""
    for light in plan.lights:
        path = (*light.path, "node")
        run = plan.owner.get(light.node)
        if run is None and light.node not in plan.feeds:
            known = [*plan.owner, *plan.feeds]
            remedy = f"{suggest(light.node, known)}name a node that a cable leads to, or add the cable"
            yield SiteFinding(path=path, what="is on no cable", remedy=remedy)
            continue
        node = run.nodes[0] if run and run.nodes and light.node == run.name else light.node
        origin = plan.origin.get(node)
        if origin and light.transformer and origin != light.transformer:
            what = f"hangs on transformer “{origin}”, and zone “{light.zone}” on “{light.transformer}”"
            remedy = "name a node of the zone’s own transformer, or move the zone"
            yield SiteFinding(path=path, what=what, remedy=remedy)
