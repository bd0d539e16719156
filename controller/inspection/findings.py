"""What is found about a transformer's wiring, as values: each with its number, its limit and who sets it.

A finding is *wrong* where a rule or a lamp's range is broken, *doubtful* where a recommendation or a line of
common practice is passed, *well* otherwise. This program advises; fuses and breakers protect.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from config.errors import Severity
from controller.wiring.solver import Outcome, Solution


class Topic(StrEnum):
    """What a finding is about."""

    SOLUTION = "power that the cables can deliver"
    TRANSFORMER = "load of the transformer"
    ZONE = "load of the zone"
    SUPPLY = "volts of the supply"
    CIRCUIT = "current of the circuit"
    CABLE = "current of the cable"
    CONDUCTOR = "size of the conductor"
    LAMP_LOW = "fewest volts at a lamp"
    LAMP_HIGH = "most volts at a lamp"
    DROP = "voltage drop"
    SPREAD = "evenness of the light"
    LIFE = "life of the lamps"


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One finding.

    Attributes:
        topic: what it is about.
        level: well, doubtful or wrong.
        feed: node of the feed that it belongs to; empty for the whole transformer.
        place: transformer, zone, node or cable that it is about.
        value: the number found.
        limit: the number that it is held against.
        unit: of both.
        source: who sets the limit, with how far that is known.
        words: one sentence for a person.
        remedy: what would do; empty where it is well.
    """

    topic: Topic
    level: Severity
    feed: str
    place: str
    value: float
    limit: float
    unit: str
    source: str
    words: str
    remedy: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class SolvedStates:
    """One network solved in the states that matter.

    Attributes:
        lit: everything lit, cable at the network's temperature: the fewest volts.
        alone: each zone lit alone on cool cable.
        most_v: volts of each fixture with its zone lit alone on cool cable, the most it can get; None where
            even that has no solution.
    """

    lit: Outcome
    alone: dict[str, Outcome]
    most_v: tuple[float | None, ...]

    @property
    def feed(self) -> str:
        """Node of the feed."""
        return self.lit.network.feed.node


@dataclass(frozen=True, kw_only=True, slots=True)
class InspectionResult:
    """All findings about one transformer.

    Attributes:
        solved: its networks, solved.
        findings: the findings.
    """

    solved: tuple[SolvedStates, ...]
    findings: tuple[Finding, ...]

    @property
    def level(self) -> Severity:
        """The worst level among the findings."""
        levels = (finding.level for finding in self.findings)
        return max(levels, key=lambda level: level.rank, default=Severity.OK)

    @property
    def load_va(self) -> float | None:
        """Volt-amperes of all networks with everything lit; None where one has no solution."""
        outcomes = [survey.lit for survey in self.solved]
        solutions = [outcome for outcome in outcomes if isinstance(outcome, Solution)]
        return sum(s.source_va for s in solutions) if len(solutions) == len(outcomes) else None

    def errors(self, feed: str | None = None) -> tuple[Finding, ...]:
        """The findings that are wrong, of one feed where it is named."""
        return tuple(
            v for v in self.findings if v.level is Severity.ERROR and (feed is None or v.feed == feed)
        )

    def ranks(self) -> dict[tuple[str, Topic], int]:
        """The worst rank of each topic at each feed."""
        worst: dict[tuple[str, Topic], int] = {}
        for finding in self.findings:
            key = (finding.feed, finding.topic)
            worst[key] = max(worst.get(key, 0), finding.level.rank)
        return worst
