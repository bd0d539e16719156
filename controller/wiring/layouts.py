"""Two ways in which most gardens are wired, as cables and nodes: lights in a line, and a hub with legs.

For people who know no more than "six lights, 12-gauge, 80 ft, in a line" or "a home run of 60 ft to a hub
with four legs".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from config.errors import WiringError
from config.models.cables import Gauge
from controller.wiring.network import CableSegment


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout:
    """Cables that were laid, and the nodes at which lights can be spliced in, from the feed outwards."""

    segments: tuple[CableSegment, ...]
    nodes: tuple[str, ...]


def line_layout(*, start: str, name: str, gauge: Gauge, length_m: float, lights: int) -> Layout:
    """Lay one cable with its lights spread evenly, the last at its end.

    Args:
        start: node from which it begins, as a rule the feed.
        name: what its nodes are called: ``name 1``, ``name 2`` and so on.
        gauge: of the cable.
        length_m: of the whole cable; the first light sits one equal part along it.
        lights: how many, 1 or more.

    Raises:
        WiringError: there is no light, or the length is not above zero.
    """
    if lights < 1:
        raise WiringError(f"line “{name}”: lights = {lights}; it must be 1 or more")
    nodes = tuple(f"{name} {place}" for place in range(1, lights + 1))
    segments = tuple(
        CableSegment(from_node=near, to_node=far, gauge=gauge, length_m=length_m / lights)
        for near, far in zip((start, *nodes), nodes, strict=False)
    )
    return Layout(segments=segments, nodes=nodes)


def hub_layout(
    *, start: str, name: str, gauge: Gauge, length_m: float, leg_gauge: Gauge, leg_lengths_m: Sequence[float]
) -> Layout:
    """Lay a home run to a hub, and a leg from there to each light.

    Args:
        start: node from which the home run begins, as a rule the feed.
        name: what the hub is called; the ends of its legs are ``name 1``, ``name 2`` and so on.
        gauge: of the home run.
        length_m: of the home run.
        leg_gauge: of the legs.
        leg_lengths_m: one length for each leg.

    Raises:
        WiringError: there is no leg, or a length is not above zero.
    """
    if not leg_lengths_m:
        raise WiringError(f"hub “{name}” has no leg; give the length of each")
    nodes = tuple(f"{name} {place}" for place in range(1, len(leg_lengths_m) + 1))
    home_run = CableSegment(from_node=start, to_node=name, gauge=gauge, length_m=length_m)
    legs = tuple(
        CableSegment(from_node=name, to_node=node, gauge=leg_gauge, length_m=leg_m)
        for node, leg_m in zip(nodes, leg_lengths_m, strict=True)
    )
    return Layout(segments=(home_run, *legs), nodes=nodes)
