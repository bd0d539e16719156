"""The wiring in words and short figures for people; the terminal's tables and the sheet share them."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from config.errors import Severity
from config.models.cables import M_PER_FT, Gauge, Unit
from config.phrase import Phrase, count_phrase, list_phrases
from controller.diagnosis.diagnosis import Diagnosis
from controller.inspection.checks import BRANCH_PERCENT, LIGHTING_PERCENT, load_in_words
from controller.inspection.findings import Finding, Topic
from controller.inspection.measurements import Difference
from controller.inspection.proposals import Proposal
from controller.inspection.report import LightResult, WiringReport
from controller.wiring.network import Lamp

NOT_KNOWN: Final = Phrase("not known")
_NOTHING_HELPS: Final = Phrase(
    "No other tap, common or cable that was tried mends this: other lamps or another transformer may be"
    " needed."
)
_NOTHING_HELPS_RING: Final = Phrase(
    "No change that was tried mends this. Rings, and cables side by side, were tried on other taps and"
    " commons only, not with thicker cable."
)
RANGE_NOTE: Final = Phrase(
    "* 0.90 to 1.05 of the rated volts, as the lamp's own range is not in the site file."
)
PRICES_NOTE: Final = Phrase(
    "Cost: cable by its copper, and trench, at prices that are common practice without a source; set your own"
    " in [wiring]."
)
VOLTS_NOTE: Final = "Volts: everything lit. Max. V: its zone alone on cool cable."
READINGS_DIFFER: Final = Phrase("What was measured differs from what was computed.")
_DROPS: Final = (
    (LIGHTING_PERCENT, Phrase("Some cables drop more than the 5 % that IEC 60364-7-715 recommends.")),
    (BRANCH_PERCENT, Phrase("Some cables drop more than the 3 % that the NEC recommends.")),
)
_RATED: Final[Mapping[str, Callable[[float], Phrase]]] = {
    "fixtures": lambda watts: Phrase("{watts:g} W", watts=watts),
    "rated": lambda watts: Phrase("{watts:g} W, rated", watts=watts),
    "measured": lambda watts: Phrase("{watts:g} W, measured", watts=watts),
}
_KINDS: Final = {
    "spot": Phrase("spot"),
    "wash": Phrase("wash"),
    "path": Phrase("path"),
    "step": Phrase("step"),
    "well": Phrase("well"),
    "bollard": Phrase("bollard"),
    "string": Phrase("string"),
    "tape": Phrase("tape"),
    "pendant": Phrase("pendant"),
    "underwater": Phrase("underwater"),
    "other": Phrase("other"),
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
        return _say_several(self.worst.topic, self.places, self.worst.words)


# How several findings about one topic are put in one line: at how many places, and the worst of them.
_SEVERAL: Final[Mapping[Topic, Callable[[int, str], Phrase]]] = {
    Topic.ZONE: lambda n, worst: count_phrase(
        "{n} zone loads the transformer too much; the worst: {worst}",
        "{n} zones load the transformer too much; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.SOLUTION: lambda n, worst: count_phrase(
        "{n} circuit has no solution; the worst: {worst}",
        "{n} circuits have no solution; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.SUPPLY: lambda n, worst: count_phrase(
        "{n} tap supplies too many volts; the worst: {worst}",
        "{n} taps supply too many volts; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.CIRCUIT: lambda n, worst: count_phrase(
        "{n} circuit carries too much current; the worst: {worst}",
        "{n} circuits carry too much current; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.CABLE: lambda n, worst: count_phrase(
        "{n} cable carries too much current; the worst: {worst}",
        "{n} cables carry too much current; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.CONNECTOR: lambda n, worst: count_phrase(
        "{n} connector carries too much current; the worst: {worst}",
        "{n} connectors carry too much current; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.CONTACT: lambda n, worst: count_phrase(
        "{n} relay contact carries too much current; the worst: {worst}",
        "{n} relay contacts carry too much current; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.INRUSH: lambda n, worst: count_phrase(
        "{n} relay contact takes too much inrush; the worst: {worst}",
        "{n} relay contacts take too much inrush; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.CONDUCTOR: lambda n, worst: count_phrase(
        "{n} conductor is too thin; the worst: {worst}",
        "{n} conductors are too thin; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.LAMP_LOW: lambda n, worst: count_phrase(
        "lamps at {n} place get too few volts; the worst: {worst}",
        "lamps at {n} places get too few volts; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.LAMP_HIGH: lambda n, worst: count_phrase(
        "lamps at {n} place get too many volts; the worst: {worst}",
        "lamps at {n} places get too many volts; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.READING: lambda n, worst: count_phrase(
        "at {n} place other volts were measured than its lamps are made for; the worst: {worst}",
        "at {n} places other volts were measured than the lamps are made for; the worst: {worst}",
        n,
        worst=worst,
    ),
    Topic.DROP: lambda n, worst: count_phrase(
        "{n} circuit drops too many volts; the worst: {worst}",
        "{n} circuits drop too many volts; the worst: {worst}",
        n,
        worst=worst,
    ),
}


def _say_several(topic: Topic, places: int, worst: str) -> Phrase:
    if topic in _SEVERAL:
        return _SEVERAL[topic](places, worst)
    return count_phrase(
        "{n} finding; the worst: {worst}", "{n} findings; the worst: {worst}", places, worst=worst
    )


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


def summary(reports: Sequence[WiringReport]) -> Phrase:
    """Say how the wiring stands: how many errors and warnings, and what may be the one thing to know."""
    groups = [group for report in reports for group in group_findings(report.inspection.findings)]
    errors = sum(group.level is Severity.ERROR for group in groups)
    parts = [count_words(errors, len(groups) - errors)]
    drops = [
        each.limit
        for report in reports
        for each in report.inspection.findings
        if each.topic is Topic.DROP and each.level is Severity.WARNING
    ]
    parts += [words for limit, words in _DROPS if limit in drops and not errors][:1]
    parts += [READINGS_DIFFER] if readings_differ(reports) else []
    return list_phrases(parts, " ")


def count_words(errors: int, warnings: int) -> Phrase:
    """Say how many kinds of errors and of warnings there are."""
    return Phrase("{errors}, {warnings}.", errors=_errors(errors), warnings=_warnings(warnings))


def readings_differ(reports: Sequence[WiringReport]) -> bool:
    """Whether anything that was measured differs from what was computed."""
    compared = [each for report in reports for each in (*report.volts, *report.watts) if each is not None]
    diagnoses = [report.diagnosis for report in reports if report.diagnosis is not None]
    faulty = any(each.clear and not each.all_well for each in diagnoses)
    return faulty or not all(each.agrees for each in compared)


def _errors(count: int) -> Phrase:
    return count_phrase("{n} error", "{n} errors", count) if count else Phrase("No errors")


def _warnings(count: int) -> Phrase:
    return count_phrase("{n} warning", "{n} warnings", count) if count else Phrase("no warnings")


def proposal_words(proposal: Proposal) -> Phrase:
    """Say what to do, what it takes and costs, what its worst lamp then gets, and what is new or stays."""
    worst, cost = proposal.worst, proposal.cost
    words: Phrase = proposal.words
    if cost.buys:
        buys = [
            Phrase(
                "{length} of {gauge}", length=length_text(each.length_m, each.gauge), gauge=str(each.gauge)
            )
            for each in cost.buys
        ]
        words = Phrase(
            "{words} (buy {buys}, dig {trench}; cost about {cost:.0f})",
            words=words,
            buys=list_phrases(buys),
            trench=length_text(cost.trench_m, cost.buys[0].gauge),
            cost=cost.total,
        )
    after = Phrase(
        "{words}: the worst, {lamp}, then gets {volts:.2f} V",
        words=words,
        lamp=worst.fixture.label,
        volts=worst.volts,
    )
    if proposal.warnings:
        after = Phrase("{words}; new warnings: {kinds}", words=after, kinds=_kinds(proposal.warnings))
    if proposal.remains:
        after = Phrase("{words}; errors that stay: {kinds}", words=after, kinds=_kinds(proposal.remains))
    return after


def _kinds(findings: Sequence[Finding]) -> Phrase:
    """Name the kinds of some findings, and at how many places they are."""
    return list_phrases(
        [
            count_phrase("{kind}", "{kind} ({n} places)", group.places, kind=str(group.worst.topic))
            for group in group_findings(findings)
        ]
    )


def load_rows(report: WiringReport) -> Iterator[tuple[str, str, str, str]]:
    """Give the load zone by zone: its name, lights, rated watts, and volt-amperes lit alone."""
    for load in report.loads:
        rated_load, count = load.zone.rated_load, sum(fixture.count for fixture in load.zone.fixtures)
        rated, alone = NOT_KNOWN, Phrase("no solution")
        if rated_load.watts is not None:
            rated = _RATED[rated_load.origin](rated_load.watts)
        else:
            alone = NOT_KNOWN
        if load.alone_va is not None:
            without = Phrase("{va:.1f} VA, without its cables", va=load.alone_va)
            alone = Phrase("{va:.1f} VA", va=load.alone_va) if load.placed else without
        yield named(load.zone.id, load.zone.name), str(count or "?"), rated, alone


def named(id_: str, name: str) -> str:
    """Give an id with its name, where it has one."""
    return id_ if name == id_ else f"{id_} ({name})"


def load_words(report: WiringReport) -> str:
    """Say the load of the whole transformer in one line."""
    return load_in_words(report.load.value, report.wiring.transformer.rated_va)


def tap_words(report: WiringReport) -> Phrase:
    """Say which tap is in use, and which there are."""
    wiring = report.wiring
    if not wiring.tap_known:
        return Phrase("tap not written down")
    in_use = list(dict.fromkeys(network.feed.source_v for network in wiring.networks))
    used = _list_volts(in_use)
    others = [volts for volts in wiring.taps_v if volts not in in_use]
    several = len(in_use) > 1
    words = Phrase("taps of {used} V", used=used) if several else Phrase("{used} V tap", used=used)
    if others:
        words = Phrase("{taps} (others: {others} V)", taps=words, others=_list_volts(others))
    measured_v = wiring.transformer.measured_volts
    if measured_v is not None and wiring.transformer.tap is not None:
        return Phrase("{taps}, measured {measured:g} V", taps=words, measured=measured_v)
    return words


def _list_volts(volts: Sequence[float]) -> Phrase:
    """List some volts, each as its language writes a number."""
    return list_phrases([Phrase("{volts:g}", volts=each) for each in dict.fromkeys(volts)])


def fixture_words(result: LightResult) -> Phrase:
    """Say what a light is, such as “2 × spot, 9 W LED”."""
    light, watts = result.light, watts_words(result)
    name = light.name or kind_words(light.kind)
    if light.at.count > 1:
        return Phrase("{count} × {name}, {watts}", count=light.at.count, name=name, watts=watts)
    return Phrase("{name}, {watts}", name=name, watts=watts)


def kind_words(kind: str) -> str:
    """Name a kind of fixture."""
    return _KINDS.get(kind, kind)


def watts_words(result: LightResult) -> Phrase:
    """Say what one light takes, such as “9 W LED”."""
    watts = result.fixture.watts
    if result.fixture.lamp is Lamp.FILAMENT:
        return Phrase("{watts:g} W filament", watts=watts)
    return Phrase("{watts:g} W LED", watts=watts)


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
    yield from volts_words(report)
    if report.diagnosis is not None:
        yield from diagnosis_words(report.diagnosis)
    for watts in report.watts:
        yield watts.words


def volts_words(report: WiringReport) -> Iterator[Phrase]:
    """Say how the volts that were measured compare with what was computed.

    Readings that are too low are one line with the worst of them, and so are those that are too high; those
    that agree are counted.
    """
    for found in report.volts:
        if found is None:
            continue
        low = [each for each in found.differences if each.beyond_v < 0.0]
        high = [each for each in found.differences if each.beyond_v > 0.0]
        if low:
            worst = min(low, key=lambda each: each.beyond_v)
            yield count_phrase(
                "“{node}”: {measured:.2f} V, computed {least:.2f} to {most:.2f} V: {beyond:.2f} V too low",
                "{n} readings are too low; the worst, “{node}”: {measured:.2f} V, computed {least:.2f} to"
                " {most:.2f} V: {beyond:.2f} V too low",
                len(low),
                **_compared(worst),
            )
        if high:
            worst = max(high, key=lambda each: each.beyond_v)
            yield count_phrase(
                "“{node}”: {measured:.2f} V, computed {least:.2f} to {most:.2f} V: {beyond:.2f} V too high",
                "{n} readings are too high; the worst, “{node}”: {measured:.2f} V, computed {least:.2f} to"
                " {most:.2f} V: {beyond:.2f} V too high",
                len(high),
                **_compared(worst),
            )
        agreeing = [each for each in found.differences if each.beyond_v == 0.0]
        if agreeing:
            yield count_phrase(
                "“{node}”: {measured:.2f} V, computed {least:.2f} to {most:.2f} V: agrees",
                "{n} readings agree with what was computed",
                len(agreeing),
                **_compared(agreeing[0]),
            )


def nothing_helps(report: WiringReport) -> Phrase:
    """Say that no change mends the errors, and where not everything was tried."""
    ring = any(not network.is_tree for network in report.wiring.networks)
    return _NOTHING_HELPS_RING if ring else _NOTHING_HELPS


def diagnosis_words(diagnosis: Diagnosis) -> Iterator[Phrase]:
    """Say which faults would explain the readings, what to do, and what to be careful with."""
    yield diagnosis.words
    if diagnosis.all_well:
        return
    for each in diagnosis.explanations[:1] if diagnosis.clear else diagnosis.explanations:
        remedy = each.remedy
        yield Phrase("{words}: {remedy}", words=each.words, remedy=remedy) if remedy else each.words
    first = diagnosis.explanations[:1]
    yield from (caution for each in first for caution in each.cautions)


def _compared(reading: Difference) -> dict[str, Any]:
    least_v, most_v = sorted((reading.warm_v, reading.cool_v))
    return {
        "node": reading.node,
        "measured": reading.measured_v,
        "least": least_v,
        "most": most_v,
        "beyond": abs(reading.beyond_v),
    }
