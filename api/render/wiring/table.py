"""The wiring of a site on the terminal: errors first, then warnings, each kind in one line."""

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.render.numbers import count
from api.render.tables import QUIET, STRONG, TableColumn, build_table, show
from api.render.wiring import text
from api.render.wiring.as_json import NO_TRANSFORMER
from config.errors import Severity
from config.models.site import Site
from controller.inspection.findings import in_percent
from controller.inspection.report import LightResult, Standing, WiringReport


def print_wiring(site: Site, reports: Sequence[WiringReport], *, listed: bool = False) -> None:
    """Print what there is to say about some transformers; what is ok is listed only where it is asked for."""
    things: list[RenderableType] = [Text(f"{site.name}, wiring: {text.summary(reports)}", style=STRONG)]
    if not site.transformers:
        things.append(Text(f"Not known: {NO_TRANSFORMER}."))
    for report in reports:
        things += [Text(""), *_shown(report, listed=listed)]
    show(*things)


def _shown(report: WiringReport, *, listed: bool) -> Iterator[RenderableType]:
    transformer = report.wiring.transformer
    name = text.named(transformer.id, transformer.name)
    yield Text(f"Transformer {name}, {transformer.rated_va:g} VA, {text.tap_words(report)}", style=STRONG)
    yield Text(f"Load: {text.load_words(report)}")
    yield from _shown_findings(report, listed=listed)
    if report.proposals:
        errors = report.level is Severity.ERROR
        heading = TableColumn(
            heading=f"Ways to fix the {'errors' if errors else 'warnings'}, each computed", folds=True
        )
        ways = [
            (f"{place}.", text.proposal_words(each)) for place, each in enumerate(report.proposals, start=1)
        ]
        yield from (Text(""), build_table([TableColumn(heading=""), heading], ways))
        if any(each.cost.buys for each in report.proposals):
            yield Text(text.PRICES_NOTE, style=QUIET)
    elif report.without_advice:
        yield from (Text(""), Text(text.nothing_helps(report)))
    yield from _section("Measured and computed", list(text.measured_words(report)))
    yield Text("")
    numbers = [TableColumn(heading=each, right=True) for each in ("Lights", "Rated", "Lit alone")]
    yield build_table([TableColumn(heading="Zone"), *numbers], list(text.load_rows(report)))
    for place, circuit in enumerate(report.wiring.circuits):
        lights = [each for each in report.lights(place) if each.light.placed]
        if lights:
            feed = circuit.network.feed
            yield from (Text(""), Text(f"Volts from “{feed.node}”, {feed.source_v:g} V"))
            yield from _shown_lights(lights)
    yield from _section("Rule of thumb and calculation", [rule.words for rule in report.rules])
    yield from _section("Not known", report.unknown)


def _section(heading: str, lines: Sequence[str]) -> Iterator[RenderableType]:
    """Show some sentences under a heading; nothing where there are none."""
    if lines:
        yield Text("")
        yield build_table([TableColumn(heading=heading, folds=True)], [[line] for line in lines])


def _shown_findings(report: WiringReport, *, listed: bool) -> Iterator[RenderableType]:
    """Show errors and warnings, with what to do and who says so; what is ok is counted, or listed too."""
    findings = report.inspection.findings
    rows: list[Sequence[str | Text]] = []
    for group in text.group_findings(findings, listed=listed):
        rows.append([Text(group.level, style="" if group.level is Severity.OK else STRONG), group.words])
        rows += [["", f"to fix: {group.worst.remedy}"]] if group.worst.remedy else []
        rows.append(["", Text(f"source: {'; '.join(group.sources)}", style=QUIET)])
    if not listed:
        rows.append(["ok", f"{count(text.count_ok(findings), 'check')}; list them with --all"])
    yield Text("")
    yield build_table([TableColumn(heading="Level"), TableColumn(heading="Finding", folds=True)], rows)


def _shown_lights(lights: Sequence[LightResult]) -> Iterator[RenderableType]:
    """Show the lights one by one; columns that are empty all the way down are left out."""
    figures = ("Volts", "Max. V", "Allowed V", "Brightness", "Lamp life", "Measured V")
    columns = (
        *(TableColumn(heading=heading) for heading in ("Zone", "Node")),
        TableColumn(heading="Fixture", folds=True),
        *(TableColumn(heading=heading, right=True) for heading in figures),
        TableColumn(heading=""),
    )
    rows = [
        (
            each.light.zone,
            each.fixture.node,
            text.fixture_words(each),
            text.volts_text(each.volts),
            text.volts_text(each.most_v),
            text.range_text(each),
            "" if each.brightness is None else in_percent(each.brightness),
            "" if each.life is None else in_percent(each.life),
            "" if each.light.measured_v is None else text.volts_text(each.light.measured_v),
            "" if each.standing is Standing.INSIDE else each.standing.value,
        )
        for each in lights
    ]
    kept = [place for place in range(len(columns)) if any(row[place] for row in rows)]
    yield build_table([columns[place] for place in kept], [[row[place] for place in kept] for row in rows])
    note = text.VOLTS_NOTE if all(each.stated for each in lights) else f"{text.VOLTS_NOTE} {text.RANGE_NOTE}"
    yield Text(note, style=QUIET)
