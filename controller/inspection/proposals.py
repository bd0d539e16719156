"""What the advice proposes, as values, and the judge of it: changes are carried out, solved and inspected."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from config.errors import Severity
from config.models.cable_changes import CableChange, LayGauge, LayRun
from config.phrase import Phrase, list_phrases
from controller.inspection.changes import ChangeKind, Cost, carry_out, cost_of, kind_of, say_changes
from controller.inspection.checks import inspect
from controller.inspection.findings import Finding, InspectionResult, Topic
from controller.inspection.gauges import LOAD_PART, Prices, new_limit_a
from controller.inspection.states import SolvedStates
from controller.wiring.network import FixtureAt, Limits, Network
from controller.wiring.solver import LampState, Solution

MARGIN_V: Final = 0.1
"""How far inside its range every lamp is to be."""

_ROUNDING: Final = 1e-6
"""What a limit may be passed by without counting as passed, in volts, amperes or parts of a rating."""


LampMargins = tuple[LampState, float, float]
"""A lamp with its volts above the fewest and below the most that it is to get."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Margins:
    """How far the worst of everything is from its limit afterwards.

    Attributes:
        low_v, high_v: of the lamps that are mended or were well, above their fewest and below their most
            volts; None without such lamps.
        load_part: load of the transformer as a part of its rating.
        circuit_part: the same of the circuit with the most current.
    """

    low_v: float | None
    high_v: float | None
    load_part: float
    circuit_part: float

    @classmethod
    def of(cls, lamps: Sequence[LampMargins], inspections: Sequence[InspectionResult]) -> "Margins":
        """The least of some lamps, and of the loads that the inspections of some transformers found."""
        load_parts, circuit_parts = [0.0], [0.0]
        for one in inspections:
            feed = one.solved[0].lit.network.feed
            load_parts += [v.value / feed.rated_va for v in one.findings if v.topic is Topic.TRANSFORMER]
            circuit_parts += [v.value / feed.limit_a for v in one.findings if v.topic is Topic.CIRCUIT]
        return cls(
            low_v=min((low_v for _, low_v, _ in lamps), default=None),
            high_v=min((high_v for *_, high_v in lamps), default=None),
            load_part=max(load_parts),
            circuit_part=max(circuit_parts),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Proposal:
    """Changes that work, of one transformer.

    Attributes:
        changes: what to do, as values.
        clauses: the same in words, one clause for each thing to do.
        networks: of the whole transformer afterwards.
        inspection: of these.
        worst: the lamp with the fewest volts in proportion.
        warnings: warnings that it brings.
        remains: errors that stay, such as an overloaded transformer.
    """

    changes: tuple[CableChange, ...]
    kind: ChangeKind
    clauses: tuple[Phrase, ...]
    cost: Cost
    margins: Margins
    networks: tuple[Network, ...]
    inspection: InspectionResult
    worst: LampState
    warnings: tuple[Finding, ...]
    remains: tuple[Finding, ...]

    @property
    def words(self) -> Phrase:
        """What to do, in one sentence."""
        return list_phrases(self.clauses, "; ")


def safe_range(fixture: FixtureAt, *, lenient: bool = False) -> tuple[float, float]:
    """The volts that a fixture is to get, with the margin.

    Where ``lenient``, an LED without a stated range only has to keep what is no error.
    """
    low_v, high_v = fixture.error_v if lenient else fixture.range_v
    return low_v + MARGIN_V, high_v - MARGIN_V


def margins_of(state: LampState, highest_v: float | None, *, lenient: bool) -> LampMargins:
    """How far a lamp is inside its range, where these are its most volts; None where they have no bound."""
    low_v, high_v = safe_range(state.fixture, lenient=lenient)
    most_v = float("inf") if highest_v is None else highest_v
    return state, state.volts - low_v + MARGIN_V, high_v - most_v + MARGIN_V


def worst_of(lamps: Sequence[LampMargins]) -> LampState:
    """The lamp with the fewest volts in proportion to its rated ones."""
    return min((state for state, *_ in lamps), key=lambda state: state.volts / state.fixture.rated_v)


class Judge:
    """Judges changes to one transformer.

    Args:
        networks: of the transformer as they are.
        before: their inspection.
        limits: what the site asks for.
        prices: of cable and trench.
        lenient: nodes whose LEDs without a stated range only have to keep what is no error.
        left_alone: nodes of runs that nothing mends.
    """

    def __init__(
        self,
        *,
        networks: tuple[Network, ...],
        before: InspectionResult,
        limits: Limits,
        prices: Prices,
        lenient: frozenset[str],
        left_alone: frozenset[str],
    ) -> None:
        self._networks, self._limits, self._prices = networks, limits, prices
        self._lenient, self._left_alone = lenient, left_alone
        self.before = before
        self._ranks: dict[Topic, int] = {}
        for (_, topic), rank in before.ranks().items():
            self._ranks[topic] = max(self._ranks.get(topic, 0), rank)
        self.overloaded = self._ranks.get(Topic.TRANSFORMER, 0) >= Severity.ERROR.rank

    def inspect(self, networks: Sequence[Network]) -> InspectionResult:
        """Inspect networks by the site's limits."""
        return inspect(networks, self._limits)

    def judge(self, changes: tuple[CableChange, ...]) -> Proposal | dict[str, float]:
        """Carry changes out and inspect them.

        Returns:
            The proposal; or the nodes that are at fault with the volts that they lack, 0 where something else
            is wrong, none where it cannot be said where.
        """
        networks = carry_out(self._networks, changes)
        after = inspect(networks, self._limits)
        blamed: dict[str, float] = {}
        lamps: list[LampMargins] = []
        for one in after.solved:
            if isinstance(one.lit, Solution):
                lamps += self._margins_of(one, one.lit)
                blamed.update(self._overheated(one.lit, changes))
            else:
                nodes = {cable.to_node for cable in one.lit.network.segments} - self._left_alone
                blamed.update(dict.fromkeys(nodes, 0.0))
        for state, low_v, high_v in lamps:
            node = state.fixture.node
            if low_v < MARGIN_V - _ROUNDING:
                blamed[node] = max(blamed.get(node, 0.0), MARGIN_V - low_v)
            elif high_v < MARGIN_V - _ROUNDING:
                blamed.setdefault(node, 0.0)
        warnings = self._new_warnings(after)
        margins = Margins.of(lamps, [after])
        if blamed or warnings is None or not lamps or self._overloads(margins):
            return blamed
        return Proposal(
            changes=changes,
            kind=kind_of(changes),
            clauses=say_changes(self._networks, changes),
            cost=cost_of(self._networks, changes, self._prices),
            margins=margins,
            networks=networks,
            inspection=after,
            worst=worst_of(lamps),
            warnings=warnings,
            remains=after.errors(),
        )

    def _margins_of(self, one: SolvedStates, lit: Solution) -> Iterator[LampMargins]:
        """The margins of each lamp that something mends."""
        for state, most_v in zip(lit.lamps, one.sure_v, strict=True):
            node = state.fixture.node
            if node not in self._left_alone:
                yield margins_of(state, most_v, lenient=node in self._lenient)

    def _overheated(self, lit: Solution, changes: Sequence[CableChange]) -> Iterator[tuple[str, float]]:
        """The new cables that carry more than they may for hours on end."""
        laid = {end for each in changes if isinstance(each, LayGauge) for end in each.ends}
        laid |= {each.node for each in changes if isinstance(each, LayRun)}
        for state in lit.segments:
            end = state.segment.to_node
            if end in laid and state.amperes > new_limit_a(state.segment) + _ROUNDING:
                yield end, 0.0

    def _overloads(self, margins: Margins) -> bool:
        """Whether a load has no margin, except a transformer that was overloaded before."""
        too_much = margins.load_part > LOAD_PART + _ROUNDING and not self.overloaded
        return too_much or (margins.circuit_part > LOAD_PART + _ROUNDING and not self._left_alone)

    def _new_warnings(self, after: InspectionResult) -> tuple[Finding, ...] | None:
        """What became a warning; None where an error is left that is not one that nothing mends."""
        alone = {
            one.feed
            for one in after.solved
            if any(cable.to_node in self._left_alone for cable in one.lit.network.segments)
        }
        warnings = []
        for finding in after.findings:
            rank_before = self._ranks.get(finding.topic, 0)
            mended = finding.feed and finding.feed not in alone
            if finding.level is Severity.ERROR and (mended or rank_before < Severity.ERROR.rank):
                return None
            if finding.level.rank > rank_before and not finding.assumed:
                warnings.append(finding)
        return tuple(warnings)
