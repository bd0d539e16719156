"""A second transformer, where nothing else mends the wiring: it takes some runs with their whole zones."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from config.errors import Severity
from config.models.cable_changes import AddTransformer
from config.models.site import CONTINUOUS_SHARE
from controller.inspection.changes import ChangeKind, Cost, carry_out, say_changes, terminal_of
from controller.inspection.checks import inspect
from controller.inspection.findings import InspectionResult
from controller.inspection.gauges import LOAD_PART, Prices
from controller.inspection.proposals import MARGIN_V, LampMargins, Margins, Proposal, margins_of, worst_of
from controller.inspection.search import Run, split_runs
from controller.wiring.network import Feed, Limits, Network
from controller.wiring.solver import Solution

SIZES_VA: Final = (75.0, 100.0, 150.0, 200.0, 300.0, 600.0, 900.0)
"""Usual ratings of garden transformers: common practice, no source."""

MOST_PARTS: Final = 40
"""Ways to part the runs that are tried."""


def add_transformer(
    networks: Sequence[Network], taps_v: Sequence[float], limits: Limits, prices: Prices
) -> Proposal | None:
    """Part the runs between the transformer and a second one, the smallest that does; else None."""
    trees = [network for network in networks if network.is_tree]
    runs = split_runs(trees, [terminal_of(network.feed) for network in trees])
    for moved in list(_list_parts(networks, runs))[:MOST_PARTS]:
        for tap_v in sorted({*taps_v, *(run.terminal.tap_v for run in moved)}):
            proposal = _attempt(networks, moved, tap_v, limits, prices)
            if proposal is not None:
                return proposal
    return None


def _list_parts(networks: Sequence[Network], runs: Sequence[Run]) -> Iterator[list[Run]]:
    """The runs that may move: each group that shares zones, then several; the least load first."""
    groups: list[tuple[set[str], list[Run]]] = []
    for run in runs:
        zones, together = set(run.network.zones), [run]
        for other in [each for each in groups if each[0] & zones]:
            groups.remove(other)
            zones, together = zones | other[0], [*other[1], *together]
        groups.append((zones, together))
    on_runs = {fixture.node for run in runs for fixture in run.network.fixtures}
    bound = {f.zone for network in networks for f in network.fixtures if f.node not in on_runs}
    free = sorted((group for zones, group in groups if not zones & bound), key=_rated_va)
    yield from free
    for count in range(2, len(free)):
        yield [run for group in free[:count] for run in group]


def _rated_va(runs: Sequence[Run]) -> float:
    return sum(lamp.rated_va for run in runs for lamp in run.network.fixtures)


def _attempt(
    networks: Sequence[Network], moved: Sequence[Run], tap_v: float, limits: Limits, prices: Prices
) -> Proposal | None:
    """Judge the runs on a transformer of their own, and what stays on the present one."""
    old = networks[0].feed
    rated_va = next((va for va in SIZES_VA if va * CONTINUOUS_SHARE >= _rated_va(moved)), None)
    if rated_va is None:
        return None
    change = AddTransformer(
        like=old.transformer,
        rated_va=rated_va,
        tap_v=tap_v,
        nodes=tuple(run.first.to_node for run in moved),
        tables=tuple(run.first.table for run in moved if run.first.table is not None),
        zones=tuple(dict.fromkeys(zone for run in moved for zone in run.network.zones)),
    )
    stay = carry_out(networks, [change])
    name = f"{old.transformer}-2"
    feed = Feed(node=name, transformer=name, rated_va=rated_va, source_v=tap_v)
    cables = [
        replace(cable, from_node=name) if cable is run.first else cable
        for run in moved
        for cable in run.network.segments
    ]
    fixtures = tuple(fixture for run in moved for fixture in run.network.fixtures)
    other = replace(moved[0].network, feed=feed, segments=tuple(cables), fixtures=fixtures)
    parts = [inspect(each, limits) for each in (stay, (other,)) if each]
    lamps = [lamp for part in parts for lamp in _margins_of(part)]
    well = all(part.level is not Severity.ERROR for part in parts)
    inside = all(low_v >= MARGIN_V and high_v >= MARGIN_V for _, low_v, high_v in lamps)
    if not stay or not lamps or not well or not inside:
        return None
    margins = Margins.of(lamps, parts)
    if max(margins.load_part, margins.circuit_part) > LOAD_PART:
        return None
    return Proposal(
        changes=(change,),
        kind=ChangeKind.TRANSFORMER,
        clauses=say_changes(networks, (change,)),
        cost=Cost(buys=(), trench_m=0.0, prices=prices),
        margins=margins,
        networks=(*stay, other),
        inspection=InspectionResult(
            solved=tuple(one for part in parts for one in part.solved),
            findings=tuple(finding for part in parts for finding in part.findings),
        ),
        worst=worst_of(lamps),
        warnings=(),
        remains=(),
    )


def _margins_of(part: InspectionResult) -> Iterator[LampMargins]:
    """The margins of each lamp, with the rise that is assumed where the regulation is not known."""
    for one in part.solved:
        if isinstance(one.lit, Solution):
            for state, most_v in zip(one.lit.lamps, one.most_v, strict=True):
                yield margins_of(state, most_v, lenient=True)
