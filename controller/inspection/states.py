"""The states in which a transformer's networks are judged: what is lit, and how warm the cable is.

Lamps get the fewest volts with everything lit on warm cable, the most with their zone alone on cool cable.
Which state draws the most current depends on the lamps: regulated drivers take more amperes at fewer volts,
filament lamps at more. So everything lit and each zone alone are solved with both, and the worst case counts.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from config.phrase import Phrase
from controller.wiring.network import ASSUMED_REGULATION, CableSegment, Limits, Network
from controller.wiring.solver import Outcome, Solution, solve_all


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """What is lit, and the temperature of the copper; ``zone`` is None where everything is lit."""

    zone: str | None
    temperature_c: float

    @property
    def words(self) -> Phrase:
        """Say which case it is."""
        if self.zone is None:
            return Phrase(
                "with everything lit and the cable at {temperature:g} °C", temperature=self.temperature_c
            )
        return Phrase(
            "with zone “{zone}” alone and the cable at {temperature:g} °C",
            zone=self.zone,
            temperature=self.temperature_c,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class SolvedStates:
    """One network solved in the states that matter.

    Attributes:
        lit: everything lit, cable at the network's temperature: the fewest volts.
        alone: each zone lit alone on cool cable.
        most_v: volts of each fixture with its zone alone; None where that has no solution. Where the
            regulation of the transformer is not known they are computed with an assumed one.
        sure_v: the same without any rise where the regulation is not known.
        cases: every state that was solved, these among them, the first with everything lit; without any rise
            where the regulation is not known.
    """

    lit: Outcome
    alone: dict[str, Outcome]
    most_v: tuple[float | None, ...]
    sure_v: tuple[float | None, ...]
    cases: dict[Case, Outcome]

    @property
    def feed(self) -> str:
        """Node of the feed."""
        return self.lit.network.feed.node


def solve_states(networks: Sequence[Network], limits: Limits) -> tuple[SolvedStates, ...]:
    """Solve everything behind one transformer with all lit and each zone alone, on warm and on cool cable."""
    if not networks:
        return ()
    warm_c = networks[0].temperature_c
    cool_c = min(limits.cool_c, warm_c)
    zones = dict.fromkeys(zone for network in networks for zone in network.zones)
    cases: list[dict[Case, Outcome]] = [{} for _ in networks]
    most: list[dict[str, Outcome]] = [{} for _ in networks]
    for zone in (None, *zones):
        places = [place for place, network in enumerate(networks) if zone is None or zone in network.zones]
        lit = [networks[place] if zone is None else _lit(networks[place], zone) for place in places]
        for temperature_c in dict.fromkeys((warm_c, cool_c)):
            case, everything = (
                Case(zone=zone, temperature_c=temperature_c),
                Case(zone=None, temperature_c=temperature_c),
            )
            # A zone that is the only one is lit alone whenever it is lit.
            if zone is not None and len(zones) == 1:
                outcomes = tuple(cases[place][everything] for place in places)
            else:
                outcomes = _solve_at(temperature_c, lit)
            for place, outcome in zip(places, outcomes, strict=True):
                cases[place][case] = outcome
        if zone is not None:
            light = outcomes
            if networks[0].feed.regulation is None:
                light = _solve_at(cool_c, [each.with_regulation(ASSUMED_REGULATION) for each in lit])
            for place, outcome in zip(places, light, strict=True):
                most[place][zone] = outcome
    return tuple(
        SolvedStates(
            lit=own[Case(zone=None, temperature_c=warm_c)],
            alone=(alone := {zone: own[Case(zone=zone, temperature_c=cool_c)] for zone in network.zones}),
            most_v=_volts_alone(network, bright),
            sure_v=_volts_alone(network, alone),
            cases=own,
        )
        for network, own, bright in zip(networks, cases, most, strict=True)
    )


def _solve_at(temperature_c: float, networks: Sequence[Network]) -> tuple[Outcome, ...]:
    return solve_all([replace(network, temperature_c=temperature_c) for network in networks])


def _volts_alone(network: Network, alone: Mapping[str, Outcome]) -> tuple[float | None, ...]:
    """Volts of each fixture with its zone alone."""
    # A zone alone keeps the order of its fixtures, so each zone's volts are taken in turn.
    volts = {
        zone: iter([lamp.volts for lamp in outcome.lamps] if isinstance(outcome, Solution) else ())
        for zone, outcome in alone.items()
    }
    return tuple(next(volts[fixture.zone], None) for fixture in network.fixtures)


def _lit(network: Network, zone: str) -> Network:
    """One zone lit alone, without the cables that then carry nothing: dead ends are taken off."""
    lamps = network.lit((zone,))
    joined: dict[str, list[CableSegment]] = {}
    for cable in network.segments:
        joined.setdefault(cable.from_node, []).append(cable)
        joined.setdefault(cable.to_node, []).append(cable)
    kept = {network.feed.node, *(fixture.node for fixture in lamps.fixtures)}
    left = {node: len(cables) for node, cables in joined.items()}
    ends = [node for node, count in left.items() if count == 1 and node not in kept]
    dead = set()
    while ends:
        node = ends.pop()
        left[node] = 0
        for cable in joined[node]:
            other = cable.from_node if cable.to_node == node else cable.to_node
            if left[other]:
                dead.add(id(cable))
                left[other] -= 1
                if left[other] == 1 and other not in kept:
                    ends.append(other)
    return replace(lamps, segments=tuple(c for c in network.segments if id(c) not in dead))
