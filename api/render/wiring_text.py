"""The wiring in words and short figures for people; the command line's tables and the sheet share them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from api.render.wiring_json import worst_level
from config.errors import Severity
from config.models.cables import M_PER_FT, Gauge, Unit
from controller.inspection.advice import Proposal
from controller.inspection.findings import Finding, SolvedStates, Topic
from controller.inspection.lamp_checks import BRANCH_PERCENT
from controller.inspection.report import WiringReport, ZoneLoad
from controller.lamps.light import filament_light
from controller.lamps.physics import filament_life_h
from controller.wiring.fixtures import PlacedLight
from controller.wiring.network import Lamp
from controller.wiring.solver import LampState, Solution

NOT_KNOWN = "not known"
ANSWERS = {
    Severity.OK: "all is well",
    Severity.WARNING: "nothing is wrong; something is doubtful",
    Severity.ERROR: "something is wrong",
}
ONLY_THE_DROP = (
    "nothing is wrong; the cables lose {percent:.1f} % of the volts, more than the 3 % that the American code"
    " recommends but does not demand"
)
BESIDES_THE_DROP = (
    "nothing is wrong; something is doubtful, besides cables that lose more than the 3 % of the volts that"
    " the American code recommends but does not demand"
)
READINGS_DIFFER = "; but what was measured differs from what was computed"
NOTHING_DOES = "None of the changes that were tried does: fewer or smaller lamps, or another transformer."


def answer_words(reports: Sequence[WiringReport]) -> str:
    """Say in one line how the wiring stands as computed, and whether readings differ from that."""
    found = [each for report in reports for each in (*report.volts, *report.watts) if each is not None]
    differ = any(not each.agrees for each in found)
    return f"{_computed_words(reports)}{READINGS_DIFFER if differ else ''}"


def _computed_words(reports: Sequence[WiringReport]) -> str:
    """Say how the wiring stands; a drop that only passes a recommendation is called just that."""
    level = worst_level(reports)
    doubtful = [
        finding
        for report in reports
        for finding in report.inspection.findings
        if finding.level is Severity.WARNING
    ]
    drops = [each for each in doubtful if each.topic is Topic.DROP and each.limit == BRANCH_PERCENT]
    if level is not Severity.WARNING or not drops:
        return ANSWERS[level]
    if len(drops) < len(doubtful):
        return BESIDES_THE_DROP
    return ONLY_THE_DROP.format(percent=max(each.value for each in drops))


class Stand(StrEnum):
    """How a light's volts stand to what it bears; told in words, never by a colour alone."""

    INSIDE = "inside"
    LOW = "too low"
    HIGH = "too high"
    BOTH = "too low and too high"
    OUT = "drops out"
    NONE = "no solution"


@dataclass(frozen=True, kw_only=True, slots=True)
class LightView:
    """One light, or equal lights at one node.

    Attributes:
        zone: id of its zone.
        node: where it hangs.
        called: the fixture's name, or its kind.
        takes: what one light takes, such as “4.5 W LED”.
        count: how many.
        volts: with everything lit; None where there is no solution.
        most_v: with its zone lit alone on cool cable.
        low_v: fewest that it bears.
        high_v: most that it bears.
        stated: whether its plate says so.
        stand: how they stand to each other.
        light: part of the rated light, of a filament; None for others.
        life: part of the rated life, likewise.
        measured_v: what was measured at it.
    """

    zone: str
    node: str
    called: str
    takes: str
    count: int
    volts: float | None
    most_v: float | None
    low_v: float
    high_v: float
    stated: bool
    stand: Stand
    light: float | None
    life: float | None
    measured_v: float | None

    @property
    def what(self) -> str:
        """The lights in words, such as “2 × spot, 9 W LED”."""
        times = f"{self.count} × " if self.count > 1 else ""
        return f"{times}{self.called}, {self.takes}"

    @property
    def range_text(self) -> str:
        """What it bears, marked where nobody read it off a plate."""
        return f"{self.low_v:.4g}–{self.high_v:.4g}{'' if self.stated else '*'}"


def view_lights(report: WiringReport, place: int) -> tuple[LightView, ...]:
    """View the lights on one tap, in the order of the site file; those on no cable are left out."""
    circuit, one = report.wiring.circuits[place], report.inspection.solved[place]
    states = lamp_states(one)
    return tuple(
        _view(light, states[index] if states else None, one.most_v[index])
        for index, light in enumerate(circuit.lights)
        if light.placed
    )


def lamp_states(one: SolvedStates) -> Sequence[LampState]:
    """Give what the lamps get, in the order of the network's; none where there is no solution."""
    return one.lit.lamps if isinstance(one.lit, Solution) else ()


def _view(light: PlacedLight, state: LampState | None, most_v: float | None) -> LightView:
    fixture = light.at
    low_v, high_v = fixture.range_v
    volts = state.volts if state else None
    filament = fixture.lamp is Lamp.FILAMENT
    return LightView(
        zone=light.zone,
        node=fixture.node,
        called=light.name or light.kind,
        takes=f"{fixture.watts:g} W {'filament' if filament else 'LED'}",
        count=fixture.count,
        volts=volts,
        most_v=most_v,
        low_v=low_v,
        high_v=high_v,
        stated=fixture.min_v is not None,
        stand=_stand(state, most_v, low_v, high_v),
        light=filament_light(volts, fixture.rated_v) if filament and volts else None,
        life=filament_life_h(1.0, most_v, fixture.rated_v) if filament and most_v else None,
        measured_v=light.measured_v,
    )


def _stand(state: LampState | None, most_v: float | None, low_v: float, high_v: float) -> Stand:
    if state is None:
        return Stand.NONE
    low, high = state.volts < low_v, most_v is not None and most_v > high_v
    if low and high:
        return Stand.BOTH
    if state.drops_out:
        return Stand.OUT
    return Stand.LOW if low else Stand.HIGH if high else Stand.INSIDE


@dataclass(frozen=True, kw_only=True, slots=True)
class Findings:
    """Findings of one level that go by the same source: what was found, and what would do."""

    level: Severity
    source: str
    found: tuple[tuple[str, str], ...]


def group_findings(findings: Sequence[Finding]) -> list[Findings]:
    """Group findings by level and source, the worst first, else in the order in which they came."""
    groups: dict[tuple[Severity, str], list[tuple[str, str]]] = {}
    for finding in sorted(findings, key=lambda each: -each.level.rank):
        groups.setdefault((finding.level, finding.source), []).append((finding.words, finding.remedy))
    return [
        Findings(level=level, source=source, found=tuple(found)) for (level, source), found in groups.items()
    ]


def proposal_words(proposal: Proposal) -> str:
    """Say what to do, what to buy for it, and what its worst light then gets, in the units of its cable."""
    change, worst = proposal.change, proposal.worst
    buys = " and ".join(f"{length_text(each.length_m, each.gauge)} of {each.gauge}" for each in change.buys)
    bought = f" (buy {buys})" if buys else ""
    warnings = "".join(f"; but {finding.words}" for finding in proposal.warnings)
    remains = "".join(f"; still wrong: {finding.words}" for finding in proposal.remains)
    gets = f"the worst, {worst.fixture.label}, then gets {worst.volts:.2f} V"
    return f"{change.words}{bought}: {gets}{warnings}{remains}"


def load_rows(report: WiringReport) -> Iterator[tuple[str, str, str, str]]:
    """Give the load zone by zone: its name, lights, watts by its papers, and volt-amperes alone."""
    for load in report.loads:
        yield _zone_name(load), _lights_of(load), _papers_of(load), _alone_of(load)


def _zone_name(load: ZoneLoad) -> str:
    zone = load.zone
    return zone.id if zone.name == zone.id else f"{zone.id} ({zone.name})"


def _lights_of(load: ZoneLoad) -> str:
    count = sum(fixture.count for fixture in load.zone.fixtures)
    return str(count) if count else "?"


def _papers_of(load: ZoneLoad) -> str:
    origin = load.zone.rated_load.origin
    if load.rated_w is None:
        return NOT_KNOWN
    return f"{load.rated_w:g} W{'' if origin == 'fixtures' else f', {origin}'}"


def _alone_of(load: ZoneLoad) -> str:
    if load.alone_va is None:
        return NOT_KNOWN if load.rated_w is None else "no solution"
    return f"{load.alone_va:.1f} VA{'' if load.placed else ', without its cables'}"


def load_words(report: WiringReport) -> str:
    """Say the load of the whole transformer in one line."""
    return report.load.words.partition(": ")[2]


def tap_words(report: WiringReport) -> str:
    """Say which tap is in use, and which there are."""
    wiring = report.wiring
    if not wiring.tap_known:
        return "tap not written down"
    used = " and ".join(f"{network.feed.source_v:g}" for network in wiring.networks)
    others = [volts for volts in wiring.taps_v if volts not in {n.feed.source_v for n in wiring.networks}]
    rest = f" (others: {', '.join(f'{volts:g}' for volts in others)} V)" if others else ""
    return f"{used} V tap{rest}"


def length_text(length_m: float, gauge: Gauge) -> str:
    """Write a length in the unit of its gauge: feet for AWG, metres for mm²."""
    if gauge.unit is Unit.AWG:
        return f"{_short(length_m / M_PER_FT)} ft"
    return f"{_short(length_m)} m"


def trench_text(length_m: float) -> str:
    """Write a long length in whole feet and metres."""
    return f"{length_m / M_PER_FT:.0f} ft ({length_m:.0f} m)"


def _short(length: float) -> str:
    return f"{length:.1f}".removesuffix(".0")


def percent_text(part: float | None) -> str:
    """Write a part in percent; empty where there is none."""
    return "" if part is None else f"{100.0 * part:.0f} %"


def volts_text(volts: float | None) -> str:
    """Write volts as a hand meter shows them; a dash where there are none."""
    return "–" if volts is None else f"{volts:.2f}"


def measured_words(report: WiringReport) -> Iterator[str]:
    """Say how readings compare with what was computed, and what would explain those that do not agree."""
    for circuit, found in zip(report.wiring.circuits, report.volts, strict=True):
        for each in found.differences if found else ():
            node = circuit.lights[each.reading.fixture].at.node
            low_v, high_v = sorted((each.warm_v, each.cool_v))
            head = f"“{node}”: {each.reading.volts:.2f} V, computed {low_v:.2f} to {high_v:.2f} V"
            how = f"{abs(each.beyond_v):.2f} V too {'high' if each.beyond_v > 0 else 'low'}"
            yield f"{head}: {'agrees' if each.beyond_v == 0.0 else how}"
        if found and not found.agrees:
            suggestions = [each.words for each in found.explanations]
            yield from suggestions or ["no single fault explains these readings; look for more than one"]
    for watts in report.watts:
        yield watts.words
