"""Whether cables make trees: who reaches what, and a sentence for everything that is wrong.

Only names of nodes come in here; what the cables are made of is no matter of this room.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Sequence

Edge = tuple[str, str]
"""One cable by its two nodes, the one nearer to the feed first."""


def walk(start: str, edges: Sequence[Edge]) -> tuple[int, ...]:
    """Places of the cables that a feed reaches, each after the one that feeds it; rings are walked once."""
    outward: dict[str, list[int]] = {}
    for place, (near, _) in enumerate(edges):
        outward.setdefault(near, []).append(place)
    reached = {start}
    found: list[int] = []
    waiting = deque((start,))
    while waiting:
        for place in outward.get(waiting.popleft(), ()):
            far = edges[place][1]
            if far not in reached:
                reached.add(far)
                found.append(place)
                waiting.append(far)
    return tuple(found)


def find_problems(
    feeds: Sequence[str], edges: Sequence[Edge], hung: Iterable[tuple[str, str]]
) -> tuple[str, ...]:
    """Say everything that keeps these cables from being trees, one sentence each, with the nodes by name.

    Args:
        feeds: the nodes at which trees begin.
        edges: the cables.
        hung: what hangs on them, as pairs of what to call it and its node.
    """
    problems = [
        f"“{node}” is the name of {times} feeds; give each its own"
        for node, times in Counter(feeds).items()
        if times > 1
    ]
    origin: dict[str, str] = {}
    for feed in feeds:
        origin[feed] = feed
        origin.update((edges[place][1], feed) for place in walk(feed, edges))
    into: dict[str, list[str]] = {}
    for near, far in edges:
        into.setdefault(far, []).append(near)
    for node, sources in into.items():
        if node in sources:
            problems.append(f"a cable runs from “{node}” to itself; a ring cannot be computed")
        elif node in feeds:
            problems.append(f"a cable runs into the feed “{node}”; write it from the feed outwards")
        elif len(sources) > 1:
            problems.append(_fed_twice(node, sources, origin))
    problems += _hanging(into, origin)
    problems += [
        f"{label} is on no cable: none reaches “{node}”"
        for label, node in hung
        if node not in origin and node not in into
    ]
    return tuple(problems)


def _fed_twice(node: str, sources: Sequence[str], origin: dict[str, str]) -> str:
    names = " and ".join(f"“{source}”" for source in sources)
    feeds = dict.fromkeys(origin[source] for source in sources if source in origin)
    if len(feeds) > 1:
        both = " and ".join(f"“{feed}”" for feed in feeds)
        return f"“{node}” hangs on two feeds, {both}, by the cables from {names}; take one away"
    return f"“{node}” is fed twice, from {names}; only a tree can be computed, take one cable away"


def _hanging(into: dict[str, list[str]], origin: dict[str, str]) -> list[str]:
    """Name the head of every piece that hangs on no feed, or the ring that it ends in; each once."""
    said: dict[frozenset[str], str] = {}
    for start in into:
        if start in origin:
            continue
        path = [start]
        while (above := into.get(path[-1], [""])[0]) and above not in path:
            path.append(above)
        ring = path[path.index(above) :] if above else []
        if len(ring) > 1:
            round_trip = " → ".join(f"“{node}”" for node in [*reversed(ring), ring[-1]])
            said.setdefault(frozenset(ring), f"cables run in a ring that no feed reaches: {round_trip}")
        elif not ring:
            head = path[-1]
            words = f"the cable from “{head}” hangs on nothing: no feed reaches it; is one written backwards?"
            said.setdefault(frozenset((head,)), words)
    return list(said.values())
