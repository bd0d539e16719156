"""The wiring of a site, told on the command line: load, volts at every light, findings, what would do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.render.tables import QUIET, STRONG, TableColumn, build_table, show
from api.render.wiring_json import NO_TRANSFORMER
from api.render.wiring_text import (
    NOTHING_DOES,
    LightView,
    Stand,
    answer_words,
    group_findings,
    load_rows,
    load_words,
    measured_words,
    percent_text,
    proposal_words,
    tap_words,
    view_lights,
    volts_text,
)
from config.errors import Severity
from config.models.site import Site
from controller.inspection.findings import Finding
from controller.inspection.report import WiringReport

_LIGHTS = (
    TableColumn(heading="Zone"),
    TableColumn(heading="Node"),
    TableColumn(heading="Light", folds=True),
    TableColumn(heading="Volts", right=True),
    TableColumn(heading="At most", right=True),
    TableColumn(heading="Bears", right=True),
    TableColumn(heading="Light", right=True),
    TableColumn(heading="Life", right=True),
    TableColumn(heading="Measured", right=True),
    TableColumn(heading=""),
)


def tell_wiring(site: Site, reports: Sequence[WiringReport]) -> None:
    """Print what there is to say about some transformers."""
    things: list[RenderableType] = [Text(f"{site.name}, wiring: {answer_words(reports)}", style=STRONG)]
    if not site.transformers:
        things.append(Text(f"Not known: {NO_TRANSFORMER}."))
    for report in reports:
        things += [Text(""), *_tell(report)]
    show(*things)


def _tell(report: WiringReport) -> Iterator[RenderableType]:
    transformer = report.wiring.transformer
    name = transformer.id if transformer.name == transformer.id else f"{transformer.id} ({transformer.name})"
    yield Text(f"Transformer {name}, {transformer.rated_va:g} VA, {tap_words(report)}", style=STRONG)
    yield Text(f"Load: {load_words(report)}")
    yield Text("")
    numbers = [TableColumn(heading=each, right=True) for each in ("Lights", "By papers", "Lit alone")]
    yield build_table([TableColumn(heading="Zone"), *numbers], load_rows(report))
    for place, circuit in enumerate(report.wiring.circuits):
        lights = view_lights(report, place)
        if lights:
            yield Text("")
            yield Text(f"Volts from “{circuit.network.feed.node}”, {circuit.network.feed.source_v:g} V")
            yield from _tell_lights(lights)
    yield Text("")
    yield _tell_findings(report.inspection.findings)
    yield from _tell_advice(report)
    yield from _tell_measured(report)
    if report.rules:
        yield Text("")
        heading = TableColumn(heading="The trade’s rule beside the truth", folds=True)
        yield build_table([heading], [[rule.words] for rule in report.rules])
    if report.unknown:
        yield Text("")
        yield build_table([TableColumn(heading="Not known", folds=True)], [[each] for each in report.unknown])


def _tell_lights(lights: Sequence[LightView]) -> Iterator[RenderableType]:
    """Tell the lights one by one; columns that are empty all the way down are left out."""
    rows = [
        (
            light.zone,
            light.node,
            light.what,
            volts_text(light.volts),
            volts_text(light.most_v),
            light.range_text,
            percent_text(light.light),
            percent_text(light.life),
            "" if light.measured_v is None else volts_text(light.measured_v),
            "" if light.stand is Stand.INSIDE else light.stand.value,
        )
        for light in lights
    ]
    kept = [place for place in range(len(_LIGHTS)) if any(row[place] for row in rows)]
    yield build_table([_LIGHTS[place] for place in kept], [[row[place] for place in kept] for row in rows])
    notes = ["Volts: everything lit. At most: its zone alone on cool cable."]
    if not all(light.stated for light in lights):
        notes.append("* 0.90 to 1.05 of the rated volts, as no plate is written down.")
    yield Text(" ".join(notes), style=QUIET)


def _tell_findings(findings: Sequence[Finding]) -> RenderableType:
    """Tell the findings, the worst first; each with who says so, and what would do."""
    rows: list[Sequence[str | Text]] = []
    for group in group_findings(findings):
        style = "" if group.level is Severity.OK else STRONG
        for words, remedy in group.found:
            rows.append([Text(group.level.value, style=style), words])
            rows += [["", f"would do: {remedy}"]] if remedy else []
        rows.append(["", Text(f"by: {group.source}", style=QUIET)])
    return build_table([TableColumn(heading="Finding"), TableColumn(heading="", folds=True)], rows)


def _tell_advice(report: WiringReport) -> Iterator[RenderableType]:
    """Tell what would do, the cheapest first, each solved."""
    if report.proposals:
        rows = [[f"{place}.", proposal_words(each)] for place, each in enumerate(report.proposals, start=1)]
        yield Text("")
        heading = TableColumn(heading="What would do, each solved", folds=True)
        yield build_table([TableColumn(heading=""), heading], rows)
    elif report.without_advice:
        yield Text("")
        yield Text(NOTHING_DOES)


def _tell_measured(report: WiringReport) -> Iterator[RenderableType]:
    """Tell what was measured beside what was computed."""
    rows = [[row] for row in measured_words(report)]
    if rows:
        yield Text("")
        yield build_table([TableColumn(heading="Measured beside computed", folds=True)], rows)
