"""The wiring in words and short figures for people; the terminal's tables and the sheet share them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from config.errors import Severity
from config.models.cables import M_PER_FT, Gauge, Unit
from controller.inspection.advice import Proposal
from controller.inspection.checks import BRANCH_PERCENT, LIGHTING_PERCENT, load_in_words
from controller.inspection.findings import Finding, Topic
from controller.inspection.report import LightResult, WiringReport
from controller.wiring.network import Lamp

NOT_KNOWN: Final = "not known"
NOTHING_HELPS: Final = (
    "No change that was tried mends this: use fewer or smaller lamps, or another transformer."
)
RANGE_NOTE: Final = "* 0.90 to 1.05 of the rated volts, as the lamp's own range is not in the site file."
VOLTS_NOTE: Final = "Volts: everything lit. Max. V: its zone alone on cool cable."
READINGS_DIFFER: Final = "What was measured differs from what was computed."
_DROPS: Final = (
    (LIGHTING_PERCENT, "Some cables drop more than the 5 % that IEC 60364-7-715 recommends."),
    (BRANCH_PERCENT, "Some cables drop more than the 3 % that the NEC recommends."),
)
# How several findings of one kind are put in one line.
_SEVERAL: Final = {
    Topic.ZONE: "{} zones load the transformer too much",
    Topic.SOLUTION: "{} circuits have no solution",
    Topic.SUPPLY: "{} taps supply too many volts",
    Topic.CIRCUIT: "{} circuits carry too much current",
    Topic.CABLE: "{} cables carry too much current",
    Topic.CONDUCTOR: "{} conductors are too thin",
    Topic.LAMP_LOW: "lamps at {} places get too few volts",
    Topic.LAMP_HIGH: "lamps at {} places get too many volts",
    Topic.DROP: "{} circuits drop too many volts",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class FindingGroup:
    """Findings of one level about the same thing: the worst of them, at how many places, and who says so."""

    level: Severity
    worst: Finding
    places: int
    sources: tuple[str, ...]

    @property
    def words(self) -> str:
        """One sentence with the count and the worst case."""
        if self.places == 1:
            return self.worst.words
        several = _SEVERAL.get(self.worst.topic, "{} findings").format(self.places)
        return f"{several}; the worst: {self.worst.words}"


def group_findings(findings: Sequence[Finding], *, listed: bool = False) -> list[FindingGroup]:
    """Group findings by level and topic, errors first; where ``listed``, what is ok too, each by itself."""
    groups: dict[tuple[Severity, Topic, int], list[Finding]] = {}
    for number, each in enumerate(sorted(findings, key=lambda each: -each.level.rank)):
        if each.level is not Severity.OK:
            groups.setdefault((each.level, each.topic, 0), []).append(each)
        elif listed:
            groups[each.level, each.topic, number] = [each]
    return [
        FindingGroup(
            level=level,
            worst=max(found, key=lambda each: each.excess),
            places=len({(each.feed, each.place) for each in found}),
            sources=tuple(dict.fromkeys(each.source for each in found)),
        )
        for (level, _, _), found in groups.items()
    ]


def count_ok(findings: Sequence[Finding]) -> int:
    """Count the findings that are in order."""
    return sum(each.level is Severity.OK for each in findings)


def summary(reports: Sequence[WiringReport]) -> str:
    """Say how the wiring stands: how many errors and warnings, and what may be the one thing to know."""
    groups = [group for report in reports for group in group_findings(report.inspection.findings)]
    errors = sum(group.level is Severity.ERROR for group in groups)
    parts = [f"{counted(errors, 'error')}, {counted(len(groups) - errors, 'warning')}."]
    drops = [
        each.limit
        for report in reports
        for each in report.inspection.findings
        if each.topic is Topic.DROP and each.level is Severity.WARNING
    ]
    parts += [words for limit, words in _DROPS if limit in drops and not errors][:1]
    compared = [each for report in reports for each in (*report.volts, *report.watts) if each is not None]
    parts += [READINGS_DIFFER] if not all(each.agrees for each in compared) else []
    text = " ".join(parts)
    return f"{text[0].upper()}{text[1:]}"


def counted(number: int, noun: str) -> str:
    """Say how many: ``no errors``, ``1 error``, ``2 errors``."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def proposal_words(proposal: Proposal) -> str:
    """Say what to do, what to buy for it, what its worst lamp then gets, and what is new or stays."""
    change, worst = proposal.change, proposal.worst
    buys = " and ".join(f"{length_text(each.length_m, each.gauge)} of {each.gauge}" for each in change.buys)
    bought = f" (buy {buys})" if buys else ""
    gets = f"the worst, {worst.fixture.label}, then gets {worst.volts:.2f} V"
    warnings = _kinds("; new warnings: ", proposal.warnings)
    return f"{change.words}{bought}: {gets}{warnings}{_kinds('; errors that stay: ', proposal.remains)}"


def _kinds(head: str, findings: Sequence[Finding]) -> str:
    """Name the kinds of some findings, and at how many places they are; nothing where there are none."""
    kinds = [
        f"{group.worst.topic}{f' ({group.places} places)' if group.places > 1 else ''}"
        for group in group_findings(findings)
    ]
    return f"{head}{', '.join(kinds)}" if kinds else ""


def load_rows(report: WiringReport) -> Iterator[tuple[str, str, str, str]]:
    """Give the load zone by zone: its name, lights, rated watts, and volt-amperes lit alone."""
    for load in report.loads:
        rated_load, count = load.zone.rated_load, sum(fixture.count for fixture in load.zone.fixtures)
        rated, alone = NOT_KNOWN, "no solution"
        if rated_load.watts is not None:
            origin = "" if rated_load.origin == "fixtures" else f", {rated_load.origin}"
            rated = f"{rated_load.watts:g} W{origin}"
        else:
            alone = NOT_KNOWN
        if load.alone_va is not None:
            alone = f"{load.alone_va:.1f} VA{'' if load.placed else ', without its cables'}"
        yield named(load.zone.id, load.zone.name), str(count or "?"), rated, alone


def named(id_: str, name: str) -> str:
    """Give an id with its name, where it has one."""
    return id_ if name == id_ else f"{id_} ({name})"


def load_words(report: WiringReport) -> str:
    """Say the load of the whole transformer in one line."""
    return load_in_words(report.load.value, report.wiring.transformer.rated_va)


def tap_words(report: WiringReport) -> str:
    """Say which tap is in use, and which there are."""
    wiring = report.wiring
    if not wiring.tap_known:
        return "tap not written down"
    in_use = [network.feed.source_v for network in wiring.networks]
    used = " and ".join(f"{volts:g}" for volts in in_use)
    others = ", ".join(f"{volts:g}" for volts in wiring.taps_v if volts not in in_use)
    return f"{used} V tap{f' (others: {others} V)' if others else ''}"


def fixture_words(result: LightResult) -> str:
    """Say what a light is, such as “2 × spot, 9 W LED”."""
    light = result.light
    times = f"{light.at.count} × " if light.at.count > 1 else ""
    return f"{times}{light.name or light.kind}, {watts_words(result)}"


def watts_words(result: LightResult) -> str:
    """Say what one light takes, such as “9 W LED”."""
    fixture = result.fixture
    return f"{fixture.watts:g} W {'filament' if fixture.lamp is Lamp.FILAMENT else 'LED'}"


def range_text(result: LightResult) -> str:
    """Write the volts that a light is allowed, marked where they are not in the file."""
    low_v, high_v = result.fixture.range_v
    return f"{low_v:.4g}–{high_v:.4g}{'' if result.stated else '*'}"


def length_text(length_m: float, gauge: Gauge) -> str:
    """Write a length in the unit of its gauge: feet for AWG, metres for mm²."""
    length, unit = (length_m / M_PER_FT, "ft") if gauge.unit is Unit.AWG else (length_m, "m")
    return f"{f'{length:.1f}'.removesuffix('.0')} {unit}"


def volts_text(volts: float | None) -> str:
    """Write volts as a hand meter shows them; a dash where there are none."""
    return "–" if volts is None else f"{volts:.2f}"


def measured_words(report: WiringReport) -> Iterator[str]:
    """Say how readings compare with what was computed, and what would explain those that do not agree."""
    for found in report.volts:
        for each in found.differences if found else ():
            low_v, high_v = sorted((each.warm_v, each.cool_v))
            head = f"“{each.node}”: {each.measured_v:.2f} V, computed {low_v:.2f} to {high_v:.2f} V"
            how = f"{abs(each.beyond_v):.2f} V too {'high' if each.beyond_v > 0 else 'low'}"
            yield f"{head}: {'agrees' if each.beyond_v == 0.0 else how}"
        if found and not found.agrees:
            suggestions = [each.words for each in found.explanations]
            yield from suggestions or ["no single fault explains these readings; look for more than one"]
    for watts in report.watts:
        yield watts.words
