"""What may be changed about the cables of a site, as values: proposed by the advice, written by the editor.

A cable is named by the place of its [[cables]] table in the site file, from 0 (None where there is no file),
a piece of it by the node at which it ends.
"""

from dataclasses import dataclass

from config.models.cables import Gauge


@dataclass(frozen=True, kw_only=True, slots=True)
class Terminal:
    """Where a cable is connected to a transformer: volts of the tap, and the common, from 1."""

    tap_v: float
    common: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class MoveToTap:
    """Connect the cable that leads from the transformer to a node to another tap or common."""

    table: int | None
    node: str
    terminal: Terminal


@dataclass(frozen=True, kw_only=True, slots=True)
class LayGauge:
    """Lay another gauge in the pieces of one cable that end at these nodes; ``length_m`` is that of all."""

    table: int | None
    ends: tuple[str, ...]
    gauge: Gauge
    length_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class LayRun:
    """Lay a run from the transformer to a node, as long as the present way.

    Attributes:
        table: of the cable that leads to the node now.
        cut_from: the node from which that is cut off, for a second run.
        instead_of: the node to which the present home run leads, where this one replaces it and what lies
            between the two nodes is fed backwards; empty for a second run.
    """

    table: int | None
    node: str
    cut_from: str
    instead_of: str = ""
    gauge: Gauge
    length_m: float
    terminal: Terminal


@dataclass(frozen=True, kw_only=True, slots=True)
class AddTransformer:
    """Give the cables that lead from the transformer to these nodes a transformer of their own.

    Attributes:
        like: the present transformer's id.
        rated_va: of the new one.
        zones: ids of the zones that move with them, all of them whole.
    """

    like: str
    rated_va: float
    tap_v: float
    nodes: tuple[str, ...]
    tables: tuple[int, ...]
    zones: tuple[str, ...]


CableChange = MoveToTap | LayGauge | LayRun | AddTransformer
