"""Gardens with one hidden fault each, what a hand meter shows in them, and what a fair judge takes as right.

The faults share nothing with the diagnosis but the values of a network and the solver, whose volts
``test_hidden_faults.py`` holds against scipy's. A garden has one or two runs (a line of lamps, a hub with
legs, or a cable with tees) with 6 to 14 lamps, LED or halogen. The fault changes the volts of some lamp by
0.3 V at least, and a dead lamp those of some other lamp by 0.18 V. The meter's noise is 0.05 V.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from config.models.cables import parse_gauge
from controller.diagnosis.diagnosis import Diagnosis, FaultPlace, diagnose
from controller.diagnosis.faults import MeasuredVolts, WiringFault
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Network
from controller.wiring.solver import Solution, solve

NOISE_V = 0.05
LEAST_V = 0.3
LEAST_DEAD_V = 0.18
MOST_V = 3.0
TAPS_V = (12.0, 13.0, 14.0, 15.0)
NAMES = {
    "splice": WiringFault.SPLICE,
    "gauge": WiringFault.GAUGE,
    "dead lamp": WiringFault.LAMP_OUT,
    "tap": WiringFault.TAP,
    "zone": WiringFault.ZONE,
}
KINDS = tuple(NAMES)
GAUGES = ("18 AWG", "16 AWG", "14 AWG", "12 AWG", "10 AWG", "8 AWG")


@dataclass(frozen=True, kw_only=True)
class HiddenFault:
    """A garden as its file has it, what is wrong with it, and what it then is.

    Attributes:
        cables: ends of the cables that are wrong; lamp: the place of the lamp that is.
        last: the last lamp of each run.
    """

    kind: str
    noted: Network
    real: Network
    cables: tuple[str, ...] = ()
    lamp: int | None = None
    last: tuple[int, ...]

    def volts(self, network: Network, copper_c: float) -> list[float] | None:
        """Volts at every lamp, the dead one's among them."""
        outcome = solve(replace(network, temperature_c=copper_c))
        return [lamp.volts for lamp in outcome.lamps] if isinstance(outcome, Solution) else None

    def read(self, copper_c: float, draw: random.Random) -> list[float]:
        """What a meter with its noise shows at every lamp, to the hundredth of a volt."""
        return [round(volts + draw.gauss(0.0, NOISE_V), 2) for volts in self.volts(self.real, copper_c)]


class _Garden:
    """Runs of cable, grown piece by piece."""

    def __init__(self, draw: random.Random) -> None:
        self.draw, self.cables, self.lamps, self.last, self.units = draw, [], [], [], []
        self.halogen = draw.random() < 0.5
        self.gauge_at = 3 if draw.random() < 0.6 else 4  # 12 or 10 AWG

    def cable(self, begin, end, low_m, high_m, *, thinner=0):
        self.cables.append(
            CableSegment(
                from_node=begin,
                to_node=end,
                gauge=parse_gauge(GAUGES[self.gauge_at - thinner]),
                length_m=round(self.draw.uniform(low_m, high_m), 1),
            )
        )

    def light(self, node, zone):
        draw = self.draw
        watts = draw.choice((20.0, 20.0, 35.0)) if self.halogen else draw.choice((4.0, 6.0, 9.0, 12.0))
        kind = Lamp.FILAMENT if self.halogen else draw.choice((Lamp.POWER, Lamp.POWER, Lamp.CURRENT))
        lead = Lead(gauge=parse_gauge("18 AWG"), length_m=1.0) if draw.random() < 0.2 else None
        self.lamps.append(
            FixtureAt(node=node, zone=zone, watts=watts, lamp=kind, lead=lead, min_v=8.0, max_v=16.0)
        )

    def run(self, zone, count):
        getattr(self, self.draw.choice(("_line", "_hub", "_tees")))(zone, count)

    def _line(self, zone, count):
        before, first = "feed", len(self.cables)
        for number in range(1, count + 1):
            self.cable(before, f"{zone} {number}", 2.0, 8.0)
            before = f"{zone} {number}"
            self.light(before, zone)
        self.units.append(tuple(each.to_node for each in self.cables[first:]))
        self.last.append(len(self.lamps) - 1)

    def _hub(self, zone, count):
        self.cable("feed", f"{zone} hub", 8.0, 25.0)
        legs = self.draw.choice((0, 1, 2))
        for number in range(1, count + 1):
            self.cable(f"{zone} hub", f"{zone} leg {number}", 3.0, 14.0, thinner=legs if legs < 2 else 1)
            self.light(f"{zone} leg {number}", zone)
            self.last.append(len(self.lamps) - 1)

    def _tees(self, zone, count):
        before, number, made = "feed", 0, 0
        while made < count:
            number += 1
            tee = f"{zone} tee {number}"
            self.cable(before, tee, 3.0, 12.0)
            for branch in range(min(count - made, self.draw.choice((1, 2, 2)))):
                self.cable(tee, f"{tee}.{branch}", 2.0, 9.0)
                self.light(f"{tee}.{branch}", zone)
                made += 1
            before = tee
        self.last.append(len(self.lamps) - 1)

    def network(self):
        feed = Feed(
            node="feed",
            transformer="shed",
            rated_va=600.0,
            source_v=self.draw.choice((12.0, 13.0, 13.0, 14.0)),
        )
        return Network(feed=feed, segments=tuple(self.cables), fixtures=tuple(self.lamps))


def hide(draw: random.Random, kind: str, copper_c: float) -> HiddenFault:
    """Draw gardens until one has a fault of this kind that shows, and still works with it."""
    while True:
        garden = _Garden(draw)
        lamps = draw.randint(6, 14)
        if kind == "zone" or draw.random() < 0.4:
            first = draw.randint(3, lamps - 3)
            garden.run("a", first)
            garden.run("b", lamps - first)
        else:
            garden.run("a", lamps)
        hidden = _break(draw, garden, kind)
        if hidden is not None and _shows(hidden, copper_c):
            return hidden


def _break(draw, garden, kind):
    noted = garden.network()
    cables, lamps = list(noted.segments), list(noted.fixtures)
    wrong, lamp, feed = (), None, noted.feed
    if kind == "splice":
        at = draw.randrange(len(cables))
        cables[at] = replace(cables[at], splice_ohm=round(0.03 * 40.0 ** draw.random(), 3))
        wrong = (cables[at].to_node,)
    elif kind == "gauge":
        wrong = draw.choice([(each.to_node,) for each in cables] + 3 * garden.units)
        steps = draw.choice((1, 2))
        for at, each in enumerate(cables):
            if each.to_node in wrong:
                thinner = GAUGES.index(str(each.gauge)) - steps
                if thinner < 0:
                    return None
                cables[at] = replace(each, gauge=parse_gauge(GAUGES[thinner]))
    elif kind == "dead lamp":
        lamp = draw.randrange(len(lamps))
        lamps[lamp] = replace(lamps[lamp], watts=1e-6, lamp=Lamp.CURRENT)
    elif kind == "tap":
        feed = replace(feed, source_v=draw.choice([volts for volts in TAPS_V if volts != feed.source_v]))
    else:
        lamp = draw.randrange(len(lamps))
        other = draw.choice([each for each in lamps if each.zone != lamps[lamp].zone])
        lamps[lamp] = replace(lamps[lamp], node=other.node, zone=other.zone)
    real = Network(feed=feed, segments=tuple(cables), fixtures=tuple(lamps))
    return HiddenFault(kind=kind, noted=noted, real=real, cables=wrong, lamp=lamp, last=tuple(garden.last))


def _shows(hidden, copper_c):
    noted_v, real_v = hidden.volts(hidden.noted, copper_c), hidden.volts(hidden.real, copper_c)
    if noted_v is None or real_v is None or min(noted_v) < 9.0 or min(real_v) < 8.0:
        return False
    others = [at for at in range(len(noted_v)) if hidden.kind != "dead lamp" or at != hidden.lamp]
    effect_v = max(abs(noted_v[at] - real_v[at]) for at in others)
    return (LEAST_DEAD_V if hidden.kind == "dead lamp" else LEAST_V) <= effect_v <= MOST_V


def hide_many(seed: int, count: int, copper_c: float) -> list[HiddenFault]:
    """Faults of all kinds in turn."""
    draw = random.Random(seed)
    return [hide(draw, KINDS[number % len(KINDS)], copper_c) for number in range(count)]


def is_named(hidden: HiddenFault, fault: WiringFault, place: FaultPlace) -> bool:
    """Whether a kind of fault at a place is the hidden one: the same cables, the same lamp, the same tap."""
    if fault is not NAMES[hidden.kind]:
        return False
    if hidden.kind == "tap":
        return place.size == hidden.real.feed.source_v
    if hidden.lamp is not None:
        return place.fixture == hidden.lamp
    return {end for _, end in place.cables} == set(hidden.cables)


@dataclass(kw_only=True)
class Score:
    """How a diagnosis did on many hidden faults."""

    first: int = 0
    listed: int = 0
    clear: int = 0
    clear_and_wrong: int = 0
    places: int = 0

    def count(self, hidden: HiddenFault, found: Diagnosis | None) -> None:
        named = [(each.fault, place) for each in found.explanations for place in each.places] if found else []
        first = found is not None and bool(found.explanations) and bool(found.explanations[0].places)
        right = first and is_named(hidden, *named[0])
        self.first += right
        self.listed += any(is_named(hidden, *each) for each in named)
        self.clear += found is not None and found.clear
        self.clear_and_wrong += found is not None and found.clear and not right
        self.places += len(named)


def score(seed: int, count: int, copper_c: float) -> tuple[Score, Score]:
    """Diagnose hidden faults with all lamps read, and with the last lamp of each run only."""
    noise = random.Random(f"noise {seed}")
    everywhere, at_the_ends = Score(), Score()
    for hidden in hide_many(seed, count, copper_c):
        shown = [
            MeasuredVolts(fixture=at, volts=volts) for at, volts in enumerate(hidden.read(copper_c, noise))
        ]
        everywhere.count(hidden, diagnose([hidden.noted], shown, TAPS_V))
        at_the_ends.count(hidden, diagnose([hidden.noted], [shown[at] for at in hidden.last], TAPS_V))
    return everywhere, at_the_ends
