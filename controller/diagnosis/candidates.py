"""Every single fault that is tried on some networks, each with how likely it is before anything was measured.

The likelihoods are common practice, without a source: what an electrician expects to find, kind by kind. They
only decide between faults that explain the readings equally well.
"""

import math
from collections import Counter
from collections.abc import Container, Iterator, Mapping, Sequence
from typing import Final

from config.models.cables import Gauge
from controller.diagnosis.faults import Fault, MeasuredVolts, WiringFault
from controller.wiring.cable import same_kind
from controller.wiring.network import Network

PRIOR: Final = {
    WiringFault.NONE: 0.20,
    WiringFault.SPLICE: 0.27,
    WiringFault.GAUGE: 0.18,
    WiringFault.LAMP_OUT: 0.20,
    WiringFault.TAP: 0.08,
    WiringFault.SUPPLY: 0.01,
    WiringFault.ZONE: 0.08,
    WiringFault.OPEN: 0.05,
}

Weighed = tuple[Fault, float]
"""A fault, and how likely it is beside others of its kind."""

MOST_NODES: Final = 12
"""Nodes of other zones on which a lamp is looked for."""

# A gauge by how many steps it is thinner than noted; a thicker one was hardly laid by mistake.
_STEPS: Final = {1: 0.6, 2: 0.3, 3: 0.05, -1: 0.05}

MOST_OHM: Final = 3.0
"""A splice with more than this is as good as open (common practice, no source)."""

_LEAST_OHM: Final = 0.03

USUAL_TAPS_V: Final = (12.0, 13.0, 14.0, 15.0)
"""Taps of a transformer whose own are not in the file (common practice, no source)."""

SUPPLY_V: Final = 0.4
"""By how much the volts of a tap usually stray from those on its label (common practice, no source)."""

OPEN_V: Final = 0.5
"""A meter that shows less than this is behind something open (common practice, no source)."""

PART_OF_RUN: Final = 0.1
"""How likely part of a run is of another gauge, beside one piece of cable or a whole run."""

MOST_IN_PARTS: Final = 12
"""Of runs of more cables, only single pieces and the whole are tried."""


def splice_prior(ohm: float) -> float:
    """Logarithm of the density of a bad splice's ohms: as many from 0.1 to 0.2 as from 1 to 2."""
    if ohm > MOST_OHM:
        return -50.0
    return -math.log((ohm + _LEAST_OHM) * math.log(MOST_OHM / _LEAST_OHM + 1.0))


def supply_prior(volts: float) -> float:
    """Logarithm of the density of a tap's volts beyond those on its label."""
    return -0.5 * (volts / SUPPLY_V) ** 2 - math.log(SUPPLY_V * math.sqrt(2.0 * math.pi))


def list_candidates(
    networks: Sequence[Network],
    readings: Sequence[MeasuredVolts],
    taps_v: Sequence[float],
    node_volts: Sequence[Mapping[str, float]],
    read: Container[int],
) -> Iterator[Weighed]:
    """List the single faults of some networks, each with its likelihood before anything was measured.

    Args:
        networks: as noted, those of one transformer.
        readings: what was measured.
        taps_v: the volts of the transformer's taps.
        node_volts: computed volts at the nodes of each network.
        read: places of the networks whose volts at the tap were measured, and are not others.
    """
    yield Fault(kind=WiringFault.NONE), PRIOR[WiringFault.NONE]
    kinds: list[Iterator[Weighed]] = [
        _splices(networks),
        _gauges(networks),
        _lamps_out(networks),
        _opens(networks, readings),
    ]
    kinds.append(_zones(networks, readings, node_volts))
    unread = [circuit for circuit in range(len(networks)) if circuit not in read]
    kinds.append(_taps(networks, unread, taps_v))
    kinds.append((Fault(kind=WiringFault.SUPPLY, circuit=circuit), 1.0) for circuit in unread)
    for weighed in kinds:
        found = list(weighed)
        total = sum(weight for _, weight in found)
        for fault, weight in found:
            yield fault, PRIOR[fault.kind] * weight / total


def _splices(networks: Sequence[Network]) -> Iterator[Weighed]:
    for circuit, network in enumerate(networks):
        feeds = Counter(cable.from_node for cable in network.segments)
        lamps = Counter(each.node for each in network.fixtures)
        ends = {cable.to_node for cable in network.segments}
        for at in range(len(network.segments)):
            yield Fault(kind=WiringFault.SPLICE, circuit=circuit, cables=(at,)), 1.0
        for at, fixture in enumerate(network.fixtures):
            # Alone at the end of its cable, a lamp's splice and the cable's cannot be told apart.
            if fixture.node in ends and (feeds[fixture.node] or lamps[fixture.node] > 1):
                yield Fault(kind=WiringFault.SPLICE, circuit=circuit, fixture=at), 0.4


def _gauges(networks: Sequence[Network]) -> Iterator[Weighed]:
    for circuit, network in enumerate(networks):
        for cables, weight in _pieces(network).items():
            noted = network.segments[cables[0]].gauge
            for gauge, share in _mistaken_for(noted):
                fault = Fault(kind=WiringFault.GAUGE, circuit=circuit, cables=cables, gauge=gauge)
                yield fault, weight * share


def _mistaken_for(noted: Gauge) -> Iterator[tuple[Gauge, float]]:
    kind = same_kind(noted)
    here = kind.index(noted)
    for steps, share in _STEPS.items():
        if 0 <= here - steps < len(kind):
            yield kind[here - steps], share


def _pieces(network: Network) -> dict[tuple[int, ...], float]:
    """Sets of cables that may be of another gauge together, each with its weight."""
    cables = network.segments
    pieces: dict[tuple[int, ...], float] = {(at,): 1.0 for at in range(len(cables))}
    # What one table of the site file says, what leaves one node, and all of one gauge.
    together: dict[tuple[str, object, Gauge], list[int]] = {}
    for at, cable in enumerate(cables):
        if cable.table is not None:
            together.setdefault(("table", cable.table, cable.gauge), []).append(at)
        together.setdefault(("from", cable.from_node, cable.gauge), []).append(at)
        together.setdefault(("all", None, cable.gauge), []).append(at)
    runs = _runs(network)
    for group in [*together.values(), *runs]:
        pieces.setdefault(tuple(sorted(group)), 1.0)
    for run in runs:
        if len(run) <= MOST_IN_PARTS:
            for first in range(len(run)):
                for last in range(first + 2, len(run) + 1):
                    pieces.setdefault(tuple(sorted(run[first:last])), PART_OF_RUN)
    return pieces


def _runs(network: Network) -> list[list[int]]:
    """Cables one after the other, without a branch between them and of one gauge."""
    leaving: dict[str, list[int]] = {}
    into: dict[str, int] = {}
    for at, cable in enumerate(network.segments):
        leaving.setdefault(cable.from_node, []).append(at)
        into[cable.to_node] = at
    runs = []
    for at, cable in enumerate(network.segments):
        before = into.get(cable.from_node)
        begins = (
            before is None
            or len(leaving[cable.from_node]) > 1
            or network.segments[before].gauge != cable.gauge
        )
        if not begins:
            continue
        run = [at]
        while len(after := leaving.get(network.segments[run[-1]].to_node, [])) == 1 and after[0] not in run:
            if network.segments[after[0]].gauge != cable.gauge:
                break
            run.append(after[0])
        if len(run) > 1:
            runs.append(run)
    return runs


def _lamps_out(networks: Sequence[Network]) -> Iterator[Weighed]:
    for circuit, network in enumerate(networks):
        for at, fixture in enumerate(network.fixtures):
            if fixture.node != network.feed.node:
                prior = float(fixture.count)
                yield Fault(kind=WiringFault.LAMP_OUT, circuit=circuit, fixture=at), prior


def taps_of(taps_v: Sequence[float]) -> tuple[float, ...]:
    """The taps of a transformer; the usual ones where the file does not list several."""
    return tuple(dict.fromkeys(taps_v)) if len(taps_v) > 1 else USUAL_TAPS_V


def _taps(networks: Sequence[Network], unread: Sequence[int], taps_v: Sequence[float]) -> Iterator[Weighed]:
    for circuit in unread:
        for tap_v in taps_of(taps_v):
            if tap_v != networks[circuit].feed.source_v:
                yield Fault(kind=WiringFault.TAP, circuit=circuit, tap_v=tap_v), 1.0


def _zones(
    networks: Sequence[Network],
    readings: Sequence[MeasuredVolts],
    node_volts: Sequence[Mapping[str, float]],
) -> Iterator[Weighed]:
    """Lamps that hang on the cables of another zone, on a node where that zone has a lamp.

    Where there are many such nodes, those are tried whose volts come nearest to what was read at the lamp.
    """
    read = {(each.circuit, each.fixture): each.volts for each in readings if not each.alone}
    places = [
        (circuit, node, zone)
        for circuit, network in enumerate(networks)
        for node, zone in dict.fromkeys((each.node, each.zone) for each in network.fixtures)
        if node != network.feed.node
    ]
    for circuit, network in enumerate(networks):
        for at, fixture in enumerate(network.fixtures):
            if fixture.node == network.feed.node:
                continue
            here = circuit, fixture.node
            others = [each for each in places if each[2] != fixture.zone and each[:2] != here]
            if len(others) > MOST_NODES:
                shown_v = read.get((circuit, at))
                if shown_v is None:
                    others = others[:: len(others) // MOST_NODES]
                else:
                    others.sort(key=lambda place: abs(node_volts[place[0]][place[1]] - shown_v))
                others = others[:MOST_NODES]
            for place in others:
                fault = Fault(kind=WiringFault.ZONE, circuit=circuit, fixture=at, goes_to=place)
                yield fault, 1.0 / len(others)


def _opens(networks: Sequence[Network], readings: Sequence[MeasuredVolts]) -> Iterator[Weighed]:
    """Whatever lets nothing through: every reading behind it is nothing, and no other is."""
    dark = {(each.circuit, each.fixture) for each in readings if each.volts < OPEN_V}
    lit = {(each.circuit, each.fixture) for each in readings} - dark
    circuits = {circuit for circuit, _ in dark}
    if len(circuits) != 1:
        return
    [circuit] = circuits
    network = networks[circuit]
    cables = range(len(network.segments))
    tried = [(Fault(kind=WiringFault.OPEN, circuit=circuit, cables=(at,)), 1.0) for at in cables]
    if len(dark) == 1:
        [(_, at)] = dark
        tried.append((Fault(kind=WiringFault.OPEN, circuit=circuit, fixture=at), 0.5))
    for fault, weight in tried:
        behind = {(circuit, at) for at in fault.behind(network)}
        if dark <= behind and not lit & behind:
            yield fault, weight
