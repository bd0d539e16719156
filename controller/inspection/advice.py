"""How to fix the errors: changes to the wiring, found by search, computed and inspected, the cheapest first.

What is offered leaves no error at its feed and makes none elsewhere. Where it brings a new warning, it says
so and stands behind those that bring none. Cheap means little copper to buy; a tap costs nothing, and where a
tap alone does, nothing is bought on top of it.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from config.errors import Severity
from controller.inspection.changes import ChangeKind, WiringChange, attach, list_changes, list_combined
from controller.inspection.checks import inspect
from controller.inspection.findings import Finding, InspectionResult
from controller.inspection.gauges import has_volts, within_upper_limit
from controller.wiring.network import Limits, Network
from controller.wiring.solver import LampState, Solution

MOST_OF_A_KIND: Final = 2
"""Proposals of one kind that are offered; more would hide the others."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Proposal:
    """A change that works.

    Attributes:
        inspection: of the whole transformer afterwards.
        worst: the lamp with the fewest volts in proportion, in the changed networks.
        warnings: warnings that it brings.
        remains: errors elsewhere that stay, such as an overloaded transformer.
    """

    change: WiringChange
    inspection: InspectionResult
    worst: LampState
    warnings: tuple[Finding, ...]
    remains: tuple[Finding, ...]


def advise(
    networks: Sequence[Network], *, taps_v: Sequence[float] = (), limits: Limits | None = None
) -> tuple[Proposal, ...]:
    """Search for changes that mend a feed with errors, those without new warnings first, then by copper.

    The networks are everything behind one transformer, ``taps_v`` its taps, whether in use or not.
    """
    limits = limits or Limits()
    before = inspect(networks, limits)
    proposals: list[Proposal] = []
    for place, one in enumerate(before.solved):
        if not before.errors(one.feed):
            continue
        search = _Search(networks=networks, place=place, before=before, limits=limits)
        found = search.choose(list_changes(one.lit, taps_v, limits.drop_percent))
        proposals += found or search.choose(list_combined(one.lit, taps_v, limits.drop_percent))
    return tuple(sorted(proposals, key=lambda p: (bool(p.warnings), p.change.copper_kg)))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Search:
    """The search for one of a transformer's networks: all of them, its place, and their inspection."""

    networks: Sequence[Network]
    place: int
    before: InspectionResult
    limits: Limits

    def choose(self, changes: Iterable[WiringChange]) -> list[Proposal]:
        """Try changes, the cheapest first, and keep a few of each kind."""
        kept: list[Proposal] = []
        offered: Counter[tuple[ChangeKind, bool]] = Counter()
        a_tap_does = False
        for change in sorted(changes, key=lambda change: change.copper_kg):
            needless = a_tap_does and change.tap_v is not None and change.kind is not ChangeKind.TAP
            if needless or offered[change.kind, False] == MOST_OF_A_KIND:
                continue
            proposal = self.attempt(change)
            if proposal is None:
                continue
            warns = bool(proposal.warnings)
            a_tap_does = a_tap_does or (change.kind is ChangeKind.TAP and not warns)
            if offered[change.kind, warns] < MOST_OF_A_KIND:
                offered[change.kind, warns] += 1
                kept.append(proposal)
        return kept

    def attempt(self, change: WiringChange) -> Proposal | None:
        """Inspect the transformer with a change made; None where it does not help, or breaks something."""
        limits = self.limits
        for network in change.networks:
            if not (has_volts(network, limits.drop_percent) and within_upper_limit(network, limits.cool_c)):
                return None
        networks, feeds = self.put_in(change.networks)
        after = inspect(networks, limits)
        warnings = _new_warnings(self.before, after, self.networks[self.place].feed.node, feeds)
        solutions = [one.lit for one in after.solved if one.feed in feeds and isinstance(one.lit, Solution)]
        lamps = [lamp for lit in solutions for lamp in lit.lamps]
        if warnings is None or not lamps:
            return None
        worst = min(lamps, key=lambda lamp: lamp.volts / lamp.fixture.rated_v)
        return Proposal(
            change=change, inspection=after, worst=worst, warnings=warnings, remains=after.errors()
        )

    def put_in(self, changed: Sequence[Network]) -> tuple[list[Network], set[str]]:
        """Put networks in the place of the old one; give all of the transformer's, and the changed feeds.

        What moves to a tap that is in use joins the circuit there.
        """
        networks = [*self.networks[: self.place], *self.networks[self.place + 1 :]]
        feeds = set()
        for network in changed:
            taps_v = [one.feed.source_v for one in networks]
            if network.feed.source_v in taps_v:
                place = taps_v.index(network.feed.source_v)
                networks[place] = attach(networks[place], network)
                feeds.add(networks[place].feed.node)
            else:
                networks.append(network)
                feeds.add(network.feed.node)
        return networks, feeds


def _new_warnings(
    before: InspectionResult, after: InspectionResult, old_feed: str, new_feeds: set[str]
) -> tuple[Finding, ...] | None:
    """What became a warning; None where there is an error at the changed feeds, or a new one elsewhere."""
    ranks = before.ranks()
    warnings = []
    for finding in after.findings:
        changed = finding.feed in new_feeds
        rank_before = ranks.get((finding.feed, finding.topic), 0)
        if changed:
            rank_before = max(rank_before, ranks.get((old_feed, finding.topic), 0))
        if finding.level is Severity.ERROR and (changed or rank_before < Severity.ERROR.rank):
            return None
        if finding.level.rank > rank_before:
            warnings.append(finding)
    return tuple(warnings)
