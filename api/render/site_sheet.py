"""The site sheet: everything about the wiring on paper, for the one who digs, splices and switches on."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from markupsafe import Markup

from api.render.jinja import render
from api.render.sheet_words import CAUTIONS, CHECKS, relays_words
from api.render.wiring_json import NO_TRANSFORMER
from api.render.wiring_svg import draw_tree
from api.render.wiring_text import (
    NOTHING_DOES,
    answer_words,
    group_findings,
    load_rows,
    load_words,
    measured_words,
    proposal_words,
    tap_words,
    trench_text,
    view_lights,
    volts_text,
)
from config.models.site import Site
from controller.design.materials import list_materials
from controller.inspection.circuit_checks import CONTINUOUS
from controller.inspection.report import WiringReport
from controller.wiring.cable import ampacity
from controller.wiring.solver import Solution

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=%|(?:VA|V|A|W|ft|m|mm|ohm|AWG|mm2)\b)")


def make_sheet(site: Site, reports: Sequence[WiringReport], made_on: date | None = None) -> str:
    """Make the site sheet as a page that needs nothing else, and prints on A4 and Letter.

    Args:
        site: the site.
        reports: the transformers that are to stand on it.
        made_on: the date that is written on it; none where nobody gives one.
    """
    answer = answer_words(reports)
    materials = list_materials(site, [report.wiring for report in reports])
    return render(
        "sheet.html",
        site=site,
        made_on=None if made_on is None else f"{made_on.day} {made_on:%B %Y}",
        answer=tidy(f"{answer[0].upper()}{answer[1:]}."),
        no_transformer=f"{NO_TRANSFORMER[0].upper()}{NO_TRANSFORMER[1:]}",
        transformers=[_show(report, number) for number, report in enumerate(reports, start=1)],
        materials=materials,
        trench=trench_text(materials.trench_m),
        checks=CHECKS,
        cautions=CAUTIONS,
        nothing_does=NOTHING_DOES,
        volts=volts_text,
        tidy=tidy,
    )


def tidy(words: str) -> str:
    """Keep numbers and their units on one line."""
    return _BEFORE_UNIT.sub("\u00a0", words)


def _show(report: WiringReport, number: int) -> dict[str, Any]:
    """Give one transformer as the template wants it."""
    wiring, transformer = report.wiring, report.wiring.transformer
    load_va, rated_va = report.load.value, transformer.rated_va
    named = transformer.name != transformer.id
    places = range(len(wiring.circuits))
    readings = [light for place in places for light in view_lights(report, place)]
    return {
        "name": f"{transformer.name} ({transformer.id})" if named else transformer.id,
        "rated": f"{rated_va:g}",
        "tap": tap_words(report),
        "percent": f"{100.0 * load_va / rated_va:.0f} %",
        "bar_percent": f"{min(100.0, 100.0 * load_va / rated_va):.1f}",
        "line": f"{CONTINUOUS * rated_va:g}",
        "load": load_words(report),
        "relays": relays_words(wiring),
        "zones": [
            (*row, "" if load.zone.measured_watts is None else f"{load.zone.measured_watts:g}")
            for row, load in zip(load_rows(report), report.loads, strict=True)
        ],
        "circuits": [_show_circuit(report, place, number) for place in places],
        "findings": group_findings(report.inspection.findings),
        "proposals": [proposal_words(each) for each in report.proposals],
        "without_advice": report.without_advice,
        "measured": list(measured_words(report)),
        "rules": [rule.words for rule in report.rules],
        "unknown": report.unknown,
        "readings": readings,
        "all_stated": all(light.stated for light in readings),
        "runs": list(_runs(report)),
    }


def _show_circuit(report: WiringReport, place: int, number: int) -> dict[str, Any]:
    circuit, one = report.wiring.circuits[place], report.inspection.solved[place]
    network, lit = circuit.network, one.lit
    drawn = draw_tree(report, place, key=f"tree-{number}-{place + 1}") if network.stretches else []
    return {
        "node": network.feed.node,
        "tap": f"{network.feed.source_v:g}",
        "tap_box": bool(network.stretches),
        "amperes": f"{lit.source_a:.2f}" if isinstance(lit, Solution) else "",
        "why_not": "" if isinstance(lit, Solution) else f"{lit}.",
        "measured": "" if circuit.measured_v is None else volts_text(circuit.measured_v),
        "taken": not all(light.stated for light in view_lights(report, place)),
        "pieces": [Markup(piece) for piece in drawn],  # noqa: S704 - our own template, escaped there
    }


def _runs(report: WiringReport) -> Iterator[dict[str, str]]:
    """Give the cables that begin at the transformer, where a clamp meter goes round one conductor."""
    for circuit, one in zip(report.wiring.circuits, report.inspection.solved, strict=True):
        states = one.lit.stretches if isinstance(one.lit, Solution) else ()
        amperes = {state.stretch.to_node: state.amperes for state in states}
        for cable in circuit.network.stretches:
            if cable.from_node == circuit.network.feed.node:
                known = cable.to_node in amperes
                yield {
                    "words": f"{cable.from_node} to {cable.to_node}",
                    "gauge": str(cable.gauge),
                    "limit": f"{cable.ampacity_a or ampacity(cable.gauge).amperes:g}",
                    "amperes": f"{amperes[cable.to_node]:.2f}" if known else "–",
                }
