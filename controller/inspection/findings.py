"""What is found about a transformer's wiring, as values: each with its number, its limit and who sets it.

A finding is an error where a rule or a lamp's range is broken, a warning where a recommendation or a line of
common practice is passed. This program advises; fuses and breakers protect.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from config.errors import Severity
from config.phrase import Phrase
from controller.inspection.states import SolvedStates

MOST_TIMES: Final = 3.0


class Topic(StrEnum):
    """What a finding is about."""

    SOLUTION = "power that the cables can deliver"
    TRANSFORMER = "load of the transformer"
    ZONE = "load of the zone"
    SUPPLY = "volts of the supply"
    CIRCUIT = "current of the circuit"
    CABLE = "current of the cable"
    CONNECTOR = "current of the connectors"
    CONTACT = "current of the relay's contact"
    INRUSH = "inrush of the relay's contact"
    CONDUCTOR = "size of the conductor"
    LAMP_LOW = "fewest volts at a lamp"
    LAMP_HIGH = "most volts at a lamp"
    READING = "measured volts at a lamp"
    DROP = "voltage drop"
    SPREAD = "evenness of the light"
    LIFE = "life of the lamps"


LAMP_TOPICS: Final = frozenset({Topic.SOLUTION, Topic.LAMP_LOW, Topic.LAMP_HIGH})
"""What is found about the volts at lamps: where none of it is beyond ok, every lamp is inside its range."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One finding.

    Attributes:
        feed: node of the feed that it belongs to; empty for the whole transformer.
        place: transformer, zone, node or cable that it is about.
        source: who sets the limit, with how far that is known.
        remedy: what to do; empty where it is ok.
        assumed: whether only an assumption brings it about, so that nothing is to be changed for it.
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
    assumed: bool = False

    @property
    def excess(self) -> float:
        """How far the value is beyond its limit, as a part of the limit."""
        return abs(self.value - self.limit) / self.limit


@dataclass(frozen=True, slots=True)
class Rule:
    """What a finding is about, the unit of its numbers, who sets the limit, and what to do beyond it."""

    topic: Topic
    unit: str
    source: str
    remedy: str

    def check(
        self, place: str, value: float, words: str, *, warning: float, error: float = math.inf, feed: str = ""
    ) -> Finding:
        """Hold a value against the limits beyond which it is a warning, and an error."""
        level = Severity.ERROR if value > error else Severity.WARNING if value > warning else Severity.OK
        return self.find(level, place, value, error if level is Severity.ERROR else warning, words, feed=feed)

    def find(
        self, level: Severity, place: str, value: float, limit: float, words: str, *, feed: str = ""
    ) -> Finding:
        """Make a finding of a known level."""
        return Finding(
            topic=self.topic,
            level=level,
            feed=feed,
            place=place,
            value=value,
            limit=limit,
            unit=self.unit,
            source=self.source,
            words=words,
            remedy="" if level is Severity.OK else self.remedy,
        )


def in_percent(part: float) -> Phrase:
    """Write a part in percent; past three times the figure no longer means anything."""
    return Phrase("over 3 times") if part > MOST_TIMES else Phrase("{percent:.0f} %", percent=100.0 * part)


def part_of_light(part: float) -> Phrase:
    """Write a part of a lamp's light, such as “54 % of its light”."""
    if part > MOST_TIMES:
        return Phrase("over 3 times its light")
    return Phrase("{percent:.0f} % of its light", percent=100.0 * part)


def part_of_life(part: float) -> Phrase:
    """Write a part of a lamp's rated life, such as “20 % of its rated life”."""
    if part > MOST_TIMES:
        return Phrase("over 3 times its rated life")
    return Phrase("{percent:.0f} % of its rated life", percent=100.0 * part)


@dataclass(frozen=True, kw_only=True, slots=True)
class InspectionResult:
    """All findings about one transformer, and its networks, solved."""

    solved: tuple[SolvedStates, ...]
    findings: tuple[Finding, ...]

    @property
    def level(self) -> Severity:
        """The worst level among the findings."""
        levels = (finding.level for finding in self.findings)
        return max(levels, key=lambda level: level.rank, default=Severity.OK)

    def errors(self, feed: str | None = None) -> tuple[Finding, ...]:
        """The errors, of one feed where it is named."""
        return tuple(
            each for each in self.findings if each.level is Severity.ERROR and feed in (None, each.feed)
        )

    @property
    def to_mend(self) -> tuple[Finding, ...]:
        """What advice is for: errors of feeds or of the load, lamps outside a range that was only assumed."""
        return tuple(
            each
            for each in self.findings
            if (each.feed or each.topic is Topic.TRANSFORMER)
            and each.topic is not Topic.READING
            and not each.assumed
            and (
                each.level is Severity.ERROR or (each.level is Severity.WARNING and each.topic in LAMP_TOPICS)
            )
        )

    def ranks(self) -> dict[tuple[str, Topic], int]:
        """The worst rank of each topic at each feed."""
        worst: dict[tuple[str, Topic], int] = {}
        for each in self.findings:
            key = (each.feed, each.topic)
            worst[key] = max(worst.get(key, 0), each.level.rank)
        return worst
