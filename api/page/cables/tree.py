"""The cables behind one tap as a tree of stops and lamps, with what is marked on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, floor

from api.render.wiring.text import fixture_words, length_text
from api.render.words import Words
from api.web.conditions import tag_of_model
from api.web.schemas.measured import measured_response
from config.models.site import Site
from controller.inspection.report import LightResult, Standing, WiringReport
from controller.wiring.network import CableSegment
from controller.wiring.solver import NoSolution, SegmentState, Solution

# A range that reaches farther off than this part of the tap's volts ends at the edge of the scale.
_NEAR_PART = 0.25


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A place where a fault may be: the number of the fault, whether it is the likeliest, the words there.

    ``id`` is what a link leads to; empty where another place of the same fault has it.
    """

    number: int
    first: bool
    words: str
    id: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Lamp:
    """One light, or equal lights, at a node.

    Attributes:
        volts: with everything lit; ``most`` with its zone alone.
        mark: what is wrong with that, in words; empty where nothing is.
        after, mark_after: the same two once a proposal is carried out; empty where none is tried.
        low, high, dot, circle: the allowed range and these two volts, in percent of the scale; None where
            they are not known.
        dot_after: the volts afterwards.
        fixture: its place among the zone's fixtures, from 1; 0 where the zone lists none.
        reading: the volts measured at it; empty where none were.
        measured: all of its fixture's, as the site file has them, to be changed in a form.
        looks: the faults that may be at it.
    """

    id: str
    zone: str
    what: str
    volts: str
    most: str
    allowed: str
    mark: str
    after: str = ""
    mark_after: str = ""
    low: float
    high: float
    dot: float | None
    circle: float | None
    dot_after: float | None = None
    fixture: int
    reading: str
    measured: str
    tag: str
    looks: tuple[Mark, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """A node of the tree, the cable that leads to it, its lamps, and the runs that part from it.

    Attributes:
        looks: the faults that may be in the cable.
        work: what a proposal does to it, in words.
    """

    node: str
    cable: str
    volts: str
    lamps: tuple[Lamp, ...]
    runs: tuple[tuple[Stop, ...], ...]
    looks: tuple[Mark, ...] = ()
    work: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Tap:
    """What hangs on one tap: the runs that begin there, and lamps whose cable is not written down."""

    volts: str
    common: int | None
    amperes: str
    trouble: str
    runs: tuple[tuple[Stop, ...], ...]
    loose: tuple[Lamp, ...]
    looks: tuple[Mark, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """What is drawn on the tree beside its volts.

    Attributes:
        cables: faults, by the place of the circuit and the two ends of a cable.
        lamps: faults, by the place of the circuit and that of the lamp.
        taps: faults, by the place of the circuit.
        work: what a proposal does, by the node at which a cable ends.
        after: what each light gets once that is done, by the place of the circuit and that of the lamp; None
            where no proposal is tried.
    """

    cables: Mapping[tuple[int, str, str], tuple[Mark, ...]] = field(default_factory=dict)
    lamps: Mapping[tuple[int, int], tuple[Mark, ...]] = field(default_factory=dict)
    taps: Mapping[int, tuple[Mark, ...]] = field(default_factory=dict)
    work: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    after: Mapping[tuple[int, int], LightResult] | None = None


def draw_taps(report: WiringReport, site: Site, words: Words, drawn: Drawn) -> tuple[Tap, ...]:
    """Draw what hangs on each tap and common of a transformer."""
    view = _View(report, site, words, drawn)
    return tuple(view.tap(place) for place in range(len(report.wiring.circuits)))


def standing_words(standing: Standing, words: Words) -> str:
    """Say what is wrong with the volts at a lamp; nothing where they are inside its range."""
    _ = words.gettext
    return {
        Standing.INSIDE: "",
        Standing.LOW: _("too few volts"),
        Standing.HIGH: _("too many volts"),
        Standing.BOTH: _("too few volts, and too many with its zone alone"),
        Standing.OUT: _("drops out"),
        Standing.NONE: _("cannot be lit"),
        Standing.READ_LOW: _("too few volts measured"),
        Standing.READ_HIGH: _("too many volts measured"),
    }[standing]


class _View:
    """Draws the taps of one transformer."""

    def __init__(self, report: WiringReport, site: Site, words: Words, drawn: Drawn) -> None:
        self._report, self._words, self._drawn = report, words, drawn
        self._zones = {zone.id: zone for zone in site.zones}
        self._tags = {zone.id: tag_of_model(measured_response(zone)) for zone in site.zones}

    def tap(self, place: int) -> Tap:
        report, drawn = self._report, self._drawn
        circuit, one = report.wiring.circuits[place], report.inspection.solved[place]
        network, lit = circuit.network, one.lit
        lights = report.lights(place)
        after = [drawn.after.get((place, number)) for number in range(len(lights))] if drawn.after else []
        scale = _Scale(network.feed.source_v, [*lights, *(each for each in after if each is not None)])
        lamps: dict[str, list[Lamp]] = {}
        loose = []
        for number, each in enumerate(lights):
            lamp = self._lamp(each, scale, place, number)
            if each.light.placed:
                lamps.setdefault(each.fixture.node, []).append(lamp)
            else:
                loose.append(lamp)
        onward = network.outward()
        solution = lit if isinstance(lit, Solution) else None
        tree = _Tree(
            place=place,
            onward=onward,
            lamps=lamps,
            volts=solution.volts if solution else {},
            carried=solution.carried if solution else {},
            drawn=drawn,
            words=self._words,
        )
        several = report.wiring.transformer.commons > 1
        return Tap(
            volts=self._volts(network.feed.source_v, "g"),
            common=network.feed.common if several else None,
            amperes=self._words.written(f"{lit.source_a:.2f} A") if isinstance(lit, Solution) else "",
            trouble=lit.words if isinstance(lit, NoSolution) else "",
            runs=tuple(tree.run(*each) for each in onward.get(network.feed.node, ())),
            loose=(*lamps.get(network.feed.node, ()), *loose),
            looks=drawn.taps.get(place, ()),
        )

    def _lamp(self, result: LightResult, scale: _Scale, place: int, number: int) -> Lamp:
        light, (low_v, high_v) = result.light, result.fixture.range_v
        zone = self._zones[light.zone]
        noted = zone.fixtures[light.fixture - 1].measured_volts if light.fixture else None
        shown = light.placed and result.volts is not None
        allowed = self._words.written(f"{low_v:.4g} – {high_v:.4g} V")
        tried = self._drawn.after is not None and light.placed
        after = self._drawn.after.get((place, number)) if self._drawn.after is not None else None
        return Lamp(
            id=f"lamp-{self._report.wiring.transformer.id}-{place + 1}-{number + 1}",
            zone=light.zone,
            what=fixture_words(result),
            volts=self._volts(result.volts) if shown else "",
            most=self._volts(result.most_v) if shown else "",
            allowed=allowed if light.placed else "",
            mark=standing_words(result.standing, self._words) if light.placed else "",
            after=self._volts_after(after) if tried else "",
            mark_after=standing_words(after.standing, self._words) if tried and after is not None else "",
            low=scale.place(low_v),
            high=scale.place(high_v),
            dot=scale.place(result.volts) if shown and result.volts is not None else None,
            circle=scale.place(result.most_v) if shown and result.most_v is not None else None,
            dot_after=scale.place(after.volts) if tried and after and after.volts is not None else None,
            fixture=light.fixture,
            measured=self._words.written("; ".join(f"{volts:g}" for volts in noted or ())),
            reading="" if light.measured_v is None else self._words.written(f"{light.measured_v:g}"),
            tag=self._tags[light.zone],
            looks=self._drawn.lamps.get((place, number), ()),
        )

    def _volts(self, volts: float | None, form: str = ".2f") -> str:
        return "" if volts is None else self._words.written(f"{volts:{form}} V")

    def _volts_after(self, after: LightResult | None) -> str:
        if after is None:
            return self._words.gettext("on the new transformer")
        return self._volts(after.volts)


class _Scale:
    """Places volts on a scale around those that are shown, in percent."""

    def __init__(self, source_v: float, lights: Sequence[LightResult]) -> None:
        got = [volts for each in lights for volts in (each.volts, each.most_v) if volts is not None]
        allowed = [volts for each in lights for volts in each.fixture.range_v]
        near = [volts for volts in allowed if abs(volts - source_v) <= _NEAR_PART * source_v]
        self._low_v = floor(min([source_v, *got, *near]))
        self._wide_v = max(1, ceil(max([source_v, *got, *near])) - self._low_v)

    def place(self, volts: float) -> float:
        return round(min(max((volts - self._low_v) / self._wide_v, 0.0), 1.0) * 100, 1)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Tree:
    """Follows the cables from node to node: one onward stays in its run, several begin runs of their own."""

    place: int
    onward: dict[str, list[tuple[CableSegment, bool]]]
    lamps: dict[str, list[Lamp]]
    volts: Mapping[str, float]
    carried: Mapping[CableSegment, SegmentState]
    drawn: Drawn
    words: Words

    def run(self, first: CableSegment, leads: bool) -> tuple[Stop, ...]:  # noqa: FBT001
        """Follow a cable to the end of its run; one that does not lead to its node only closes a ring."""
        return tuple(self._stops(first) if leads else [self._close(first)])

    def _stops(self, cable: CableSegment) -> Iterator[Stop]:
        following: Sequence[tuple[CableSegment, bool]] = [(cable, True)]
        while len(following) == 1 and following[0][1]:
            cable = following[0][0]
            following = self.onward.get(cable.to_node, [])
            parts = following if len(following) > 1 else []
            yield self._stop(
                cable,
                cable.to_node,
                lamps=tuple(self.lamps.get(cable.to_node, ())),
                runs=tuple(self.run(*each) for each in parts),
            )
        if len(following) == 1:
            yield self._close(following[0][0])

    def _close(self, cable: CableSegment) -> Stop:
        node = self.words.gettext("to %(node)s, which closes the ring") % {"node": cable.to_node}
        return self._stop(cable, node)

    def _stop(
        self,
        cable: CableSegment,
        node: str,
        *,
        lamps: tuple[Lamp, ...] = (),
        runs: tuple[tuple[Stop, ...], ...] = (),
    ) -> Stop:
        return Stop(
            node=node,
            cable=self._cable(cable),
            volts=self.words.written(f"{self.volts[cable.to_node]:.2f} V") if self.volts else "",
            lamps=lamps,
            runs=runs,
            looks=self.drawn.cables.get((self.place, cable.from_node, cable.to_node), ()),
            work=self.drawn.work.get(cable.to_node, ()) if node == cable.to_node else (),
        )

    def _cable(self, cable: CableSegment) -> str:
        flow = f", {self.carried[cable].amperes:.2f} A" if cable in self.carried else ""
        return f"{cable.gauge}, {self.words.written(length_text(cable.length_m, cable.gauge) + flow)}"
