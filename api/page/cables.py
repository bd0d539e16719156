"""What the screen of cables and lamps shows: each transformer, its tree of cables, the volts at each lamp."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor

from api.render.wiring.text import (
    READINGS_DIFFER,
    FindingGroup,
    fixture_words,
    group_findings,
    length_text,
    load_words,
    measured_words,
    proposal_words,
    readings_differ,
    tap_words,
)
from api.render.words import Words
from api.web.conditions import tag_of_model
from api.web.schemas.measured import measured_response
from config.errors import Severity
from config.models.site import Site, Zone
from controller.inspection.report import LightResult, Standing, WiringReport, report_site
from controller.wiring.network import CableSegment
from controller.wiring.solver import NoSolution, Solution

# A range that reaches farther off than this part of the tap's volts ends at the edge of the scale.
_NEAR_PART = 0.25


@dataclass(frozen=True, kw_only=True, slots=True)
class Lamp:
    """One light, or equal lights, at a node.

    Attributes:
        volts: with everything lit; ``most`` with its zone alone.
        mark: what is wrong with that, in words; empty where nothing is.
        low, high, dot, circle: the allowed range and these two volts, in percent of the scale; None where
            they are not known.
        fixture: its place among the zone's fixtures, from 1; 0 where the zone lists none.
        measured: as the site file has it, to be changed in a form.
    """

    id: str
    zone: str
    what: str
    volts: str
    most: str
    allowed: str
    mark: str
    low: float
    high: float
    dot: float | None
    circle: float | None
    fixture: int
    measured: str
    tag: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """A node of the tree, the cable that leads to it, its lamps, and the runs that part from it."""

    node: str
    cable: str
    volts: str
    lamps: tuple[Lamp, ...]
    runs: tuple[tuple[Stop, ...], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Tap:
    """What hangs on one tap: the runs that begin there, and lamps whose cable is not written down."""

    volts: str
    amperes: str
    trouble: str
    runs: tuple[tuple[Stop, ...], ...]
    loose: tuple[Lamp, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneWatts:
    """What a zone takes from its transformer: rated, and as somebody measured it, to be changed in a form."""

    id: str
    name: str
    rated: str
    measured: str
    tag: str


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformerView:
    """One transformer on the screen; ``share`` is its load in percent of the rating."""

    id: str
    name: str
    tap: str
    load: str
    share: float
    level: str
    taps: tuple[Tap, ...]
    zones: tuple[ZoneWatts, ...]
    findings: tuple[FindingGroup, ...]
    proposals: tuple[str, ...]
    measured: tuple[str, ...]
    unknown: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Cables:
    """The whole screen."""

    sentence: str
    rest: str
    transformers: tuple[TransformerView, ...]


def show_cables(site: Site, words: Words) -> Cables:
    """Inspect a site's wiring for the screen."""
    reports = report_site(site)
    groups = [group for each in reports for group in group_findings(each.inspection.findings)]
    errors = sum(group.level is Severity.ERROR for group in groups)
    warnings = len(groups) - errors
    has_cables = any(each.wiring.has_cables for each in reports)
    sentence, rest = _say(errors, warnings, bool(reports), has_cables, words)
    if reports and not groups and readings_differ(reports):
        sentence, rest = words.gettext("Nothing is wrong."), words.say(READINGS_DIFFER)
    return Cables(
        sentence=sentence,
        rest=rest,
        transformers=tuple(_View(each, site, words).show() for each in reports),
    )


def _say(errors: int, warnings: int, any_at_all: bool, has_cables: bool, words: Words) -> tuple[str, str]:  # noqa: FBT001
    _ = words.gettext
    if not any_at_all:
        return _("No transformer is written down yet."), _(
            "With transformers, lamps and cables in the site file this page shows the volts at every lamp."
        )
    if errors:
        found = words.ngettext("%(count)d thing is wrong.", "%(count)d things are wrong.", errors)
        return found % {"count": errors}, _("What to do stands below.")
    if warnings:
        found = words.ngettext("Nothing is wrong, %(count)d thing is doubtful.",
                               "Nothing is wrong, %(count)d things are doubtful.", warnings)  # fmt: skip
        return found % {"count": warnings}, _("What to do stands below.")
    if has_cables:
        return _("All is in order."), _("Every lamp gets the volts that it needs.")
    return _("Nothing is wrong."), _(
        "The cables are not written down, so the volts at the lamps are not known."
    )


class _View:
    """Makes one transformer's part of the screen."""

    def __init__(self, report: WiringReport, site: Site, words: Words) -> None:
        self._report = report
        self._words = words
        self._zones = {zone.id: zone for zone in site.zones}
        self._tags = {zone.id: tag_of_model(measured_response(zone)) for zone in site.zones}

    def show(self) -> TransformerView:
        report = self._report
        transformer = report.wiring.transformer
        return TransformerView(
            id=transformer.id,
            name=transformer.name,
            tap=tap_words(report),
            load=load_words(report),
            share=round(100 * report.load.value / transformer.rated_va, 1),
            level=report.level.value,
            taps=tuple(self._tap(place) for place in range(len(report.wiring.circuits))),
            zones=tuple(self._zone(each.zone) for each in report.loads),
            findings=tuple(group_findings(report.inspection.findings)),
            proposals=tuple(proposal_words(each) for each in report.proposals),
            measured=tuple(measured_words(report)),
            unknown=report.unknown,
        )

    def _zone(self, zone: Zone) -> ZoneWatts:
        load = zone.model_copy(update={"measured_watts": None}).rated_load
        return ZoneWatts(
            id=zone.id,
            name=zone.name,
            rated="" if load.watts is None else f"{load.watts:g} W",
            measured="" if zone.measured_watts is None else f"{zone.measured_watts:g}",
            tag=self._tags[zone.id],
        )

    def _tap(self, place: int) -> Tap:
        report = self._report
        circuit, one = report.wiring.circuits[place], report.inspection.solved[place]
        network, lit = circuit.network, one.lit
        lights = report.lights(place)
        scale = _Scale(network.feed.source_v, lights)
        lamps: dict[str, list[Lamp]] = {}
        loose = []
        for number, each in enumerate(lights):
            lamp = self._lamp(each, scale, f"lamp-{report.wiring.transformer.id}-{place + 1}-{number + 1}")
            if each.light.placed:
                lamps.setdefault(each.fixture.node, []).append(lamp)
            else:
                loose.append(lamp)
        onward = network.outward()
        tree = _Tree(onward, lamps, lit if isinstance(lit, Solution) else None, self._words)
        return Tap(
            volts=f"{network.feed.source_v:g} V",
            amperes=f"{lit.source_a:.2f} A" if isinstance(lit, Solution) else "",
            trouble=lit.words if isinstance(lit, NoSolution) else "",
            runs=tuple(tree.run(*each) for each in onward.get(network.feed.node, ())),
            loose=(*lamps.get(network.feed.node, ()), *loose),
        )

    def _lamp(self, result: LightResult, scale: _Scale, key: str) -> Lamp:
        light, (low_v, high_v) = result.light, result.fixture.range_v
        zone = self._zones[light.zone]
        noted = zone.fixtures[light.fixture - 1].measured_volts if light.fixture else None
        shown = light.placed and result.volts is not None
        return Lamp(
            id=key,
            zone=light.zone,
            what=fixture_words(result),
            volts=f"{result.volts:.2f} V" if shown and result.volts is not None else "",
            most=f"{result.most_v:.2f} V" if shown and result.most_v is not None else "",
            allowed=f"{low_v:.4g} – {high_v:.4g} V" if light.placed else "",
            mark=self._mark(result.standing) if light.placed else "",
            low=scale.place(low_v),
            high=scale.place(high_v),
            dot=scale.place(result.volts) if shown and result.volts is not None else None,
            circle=scale.place(result.most_v) if shown and result.most_v is not None else None,
            fixture=light.fixture,
            measured=", ".join(f"{volts:g}" for volts in noted or ()),
            tag=self._tags[light.zone],
        )

    def _mark(self, standing: Standing) -> str:
        _ = self._words.gettext
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


class _Tree:
    """Follows the cables from node to node: one onward stays in its run, several begin runs of their own."""

    def __init__(
        self,
        onward: dict[str, list[tuple[CableSegment, bool]]],
        lamps: dict[str, list[Lamp]],
        lit: Solution | None,
        words: Words,
    ) -> None:
        self._onward, self._lamps, self._lit, self._words = onward, lamps, lit, words

    def run(self, first: CableSegment, leads: bool) -> tuple[Stop, ...]:  # noqa: FBT001
        """Follow a cable to the end of its run; one that does not lead to its node only closes a ring."""
        return tuple(self._stops(first) if leads else [self._close(first)])

    def _stops(self, cable: CableSegment) -> Iterator[Stop]:
        following: Sequence[tuple[CableSegment, bool]] = [(cable, True)]
        while len(following) == 1 and following[0][1]:
            cable = following[0][0]
            following = self._onward.get(cable.to_node, [])
            parts = following if len(following) > 1 else []
            yield Stop(
                node=cable.to_node,
                cable=self._cable(cable),
                volts=self._volts(cable.to_node),
                lamps=tuple(self._lamps.get(cable.to_node, ())),
                runs=tuple(self.run(*each) for each in parts),
            )
        if len(following) == 1:
            yield self._close(following[0][0])

    def _close(self, cable: CableSegment) -> Stop:
        node = self._words.gettext("to %(node)s, which closes the ring") % {"node": cable.to_node}
        volts = self._volts(cable.to_node)
        return Stop(node=node, cable=self._cable(cable), volts=volts, lamps=(), runs=())

    def _volts(self, node: str) -> str:
        return f"{self._lit.volts[node]:.2f} V" if self._lit else ""

    def _cable(self, cable: CableSegment) -> str:
        flow = f", {self._lit.carried[cable].amperes:.2f} A" if self._lit else ""
        return f"{cable.gauge}, {length_text(cable.length_m, cable.gauge)}{flow}"
