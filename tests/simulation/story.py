"""The story of a night: what happens, and when. Drawn from a seed; most of it near dusk and the off time."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.simulation.oracle import Oracle
from tests.simulation.world import World

DAY_S = 86_400.0
# Nothing happens so soon that the last ticks before it would be missed.
SOON_S = 40.0

# What may happen, and how often beside the others.
HAPPENINGS = {
    "power cut": 4,
    "kill": 3,
    "fuse": 4,
    "restart": 2,
    "step": 4,
    "suspend": 2,
    "network lost": 2,
    "confirm": 2,
    "network found": 2,
    "disk": 4,
    "pin fault": 4,
    "flip": 2,
    "rewrite": 4,
    "spoil": 2,
    "override": 6,
    "lift": 2,
    "toggle": 2,
    "damage": 1,
    "folder": 2,
    "zone data": 1,
    "scheduler": 2,
}
# What happens in a life in which nothing goes wrong.
QUIET_HAPPENINGS = {"restart": 1, "rewrite": 8, "override": 3, "lift": 1, "toggle": 1}


@dataclass(order=True)
class Happening:
    """One thing that happens at a moment of true time."""

    at_s: float
    what: str = field(compare=False)
    details: dict[str, Any] = field(compare=False, default_factory=dict)


def draw_night(
    dice: random.Random, world: World, oracle: Oracle, kinds: Mapping[str, int], *, calm: float
) -> list[Happening]:
    """Draw what happens in the next 24 hours; ``kinds`` says what may, and how often beside the others."""
    if dice.random() < calm:
        return []
    edges, now_s = [], world.clock_utc.timestamp()
    for zone in oracle.zones:
        edge_s = oracle.look(zone, now_s).until_s
        if edge_s < now_s + DAY_S:
            edges.append(world.now_s + edge_s - now_s)
    happenings = []
    for _ in range(dice.choice((1, 1, 2, 3, 5))):
        what = dice.choices(list(kinds), list(kinds.values()))[0]
        if edges and dice.random() < 0.6:
            at_s = dice.choice(edges) + dice.choice((-30, -1, -0.2, 0.0, 0.3, 1, 2, 20, 600)) + dice.random()
        else:
            at_s = world.now_s + dice.random() * DAY_S
        if at_s > world.now_s + SOON_S:
            happenings.append(Happening(at_s, what, draw_details(dice, what)))
    return happenings


def draw_details(dice: random.Random, what: str) -> dict[str, Any]:
    """Draw the particulars of a kind of happening."""
    choose = PARTICULARS.get(what)
    return choose(dice) if choose else {}


def _cut(dice: random.Random) -> dict[str, Any]:
    return {
        "off_s": dice.choice((1.0, 5.0, 40.0, 900.0, 5 * 3600.0)) * (0.5 + dice.random()),
        "clock": dice.choice(("hardware", "unknown", "saved", "saved", "1970", "behind", "ahead")),
        "network_s": dice.choice((0.0, 2.0, 60.0, 4000.0, None)),
        "how": dice.choice(("truncate", "garbage", "remove", "empty")),
    }


def _end(dice: random.Random) -> dict[str, Any]:
    return {"off_s": dice.choice((0.5, 2.0, 10.0))}


def _step(dice: random.Random) -> dict[str, Any]:
    size_s = dice.choice((1.5, 20, 61, 3600, 7200, DAY_S, 180 * DAY_S, 2 * 365 * DAY_S))
    return {
        "size_s": size_s * dice.choice((1, -1)),
        "back_s": dice.choice((3.0, 900.0, 7200.0)),
        "by": dice.choice(("network", "hand")),
    }


# How the particulars of each kind are chosen; the others have none.
PARTICULARS: dict[str, Callable[[random.Random], dict[str, Any]]] = {
    "power cut": _cut,
    "damage": _cut,
    "kill": _end,
    "restart": _end,
    "fuse": lambda dice: {"writes": dice.randrange(14), "off_s": 2.0},
    "step": _step,
    "rewrite": lambda dice: {
        "how": dice.choice(("by hand", "signal", "in two goes")),
        "half_s": dice.choice((0.3, 1.0, 1.9)),
    },
    "spoil": lambda dice: {
        "how": dice.choice(("by hand", "signal")),
        "again_s": dice.choice((None, None, 60.0, 5000.0, DAY_S / 2)),
    },
    "folder": lambda dice: {
        "how": dice.choice(("moved away", "moved away", "emptied", "journal deleted")),
        "back_s": dice.choice((100.0, 4000.0, 30_000.0)),
    },
    "scheduler": lambda dice: {"for_s": dice.choice((600.0, 3600.0))},
    "suspend": lambda dice: {"for_s": dice.choice((20.0, 600.0, 3600.0, 8 * 3600.0))},
    "disk": lambda dice: {
        "mode": dice.choice(("full", "read-only", "locked", "broken", "slow")),
        "for_s": dice.choice((1.0, 40.0, 3600.0, DAY_S)),
    },
    "pin fault": lambda dice: {
        "mode": dice.choice(("set", "open", "all", "deaf")),
        "for_s": dice.choice((0.5, 5.0, 300.0, 3600.0)),
    },
    "confirm": lambda dice: {"off_s": dice.choice((0.0, 0.0, 0.0, 120.0, 3600.0))},
    "override": lambda dice: {
        "on": dice.random() < 0.6,
        "kind": dice.choice(("plain", "plain", "until", "for")),
        "for_s": dice.choice((1.0, 30.0, 600.0, 3 * 3600.0, 20 * 3600.0)),
    },
    "toggle": lambda dice: {"times": dice.randint(3, 9), "every_s": dice.choice((0.1, 0.4, 1.1))},
}
