"""The site sheet: everything about the wiring on paper, for the one who digs, splices and switches on."""

import re
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from markupsafe import Markup

from api.render.jinja import render
from api.render.wiring import text
from api.render.wiring.as_json import NO_TRANSFORMER
from api.render.wiring.svg import MARKS, draw_tree
from api.render.words import Words, english
from config.errors import Severity
from config.models.cables import M_PER_FT
from config.models.site import CONTINUOUS_SHARE, Site
from config.phrase import Phrase
from controller.design.materials import list_materials
from controller.inspection.report import WiringReport
from controller.wiring.network import CableSegment
from controller.wiring.solver import NoSolution, SegmentState, Solution

# Where a check names no code it is common practice, without a source: half an inch of bared copper, marked
# conductor to marked conductor, the outlet tested and the transformer unplugged first. Marked services before
# digging: 49 CFR 196.103; outlets outdoors: NEC 210.8(A)(3), elsewhere IEC 60364-4-41; water: NEC 411, 680.
CHECKS: Final = (
    Phrase("Before digging: buried services are marked (in the US, call 811), and the marks are there."),
    Phrase("The outlet is tested, and its cover stays weatherproof with the plug in (NEC 406.9)."),
    Phrase("The outlet is protected by a GFCI, outside the US by a 30 mA RCD; its test button was tried."),
    Phrase("The transformer is unplugged while anything is wired."),
    Phrase(
        "The transformer is listed for outdoor use and hangs upright; its cables are on the tap named here."
    ),
    Phrase("Marked conductor to marked conductor at every splice, all the way."),
    Phrase("Half an inch (13 mm) of copper bared at a splice: none shows outside the connector."),
    Phrase("Every connector is rated for wet places, and takes the number of wires in it."),
    Phrase("Nothing is within 10 ft (3 m) of a pool, spa or fountain unless NEC 680 permits it."),
    Phrase("Cable is buried as deep as it must be, and deeper under a drive."),
    Phrase("Every lamp has the watts named here."),
    Phrase("Switched on: volts at the tap and at every light are read and written down."),
    Phrase(
        "Switched on: amperes of each cable at the transformer, and watts of each zone, are written down."
    ),
    Phrase("After an hour no connector, cable or transformer is too warm to hold."),
)

CAUTIONS: Final = (
    Phrase("Work on the mains side, such as a new outlet or fixed wiring, is for a licensed electrician."),
    Phrase("Local code takes precedence over this sheet, and so do the instructions of a listed product."),
    Phrase("This program computes and advises; it protects nothing. Fuses and breakers do."),
    Phrase("A GFCI or RCD before the transformer sees no leakage behind it: keep the distance from water."),
    Phrase("Low voltage is not low current: a loose joint heats."),
    Phrase(
        "Computed from the published tables of resistance, without reactance; splices count where they are"
        " written down."
    ),
)
_RELAYS: Final = {
    "mains": Phrase("Its mains are switched: everything on it is lit together."),
    "low voltage": Phrase(
        "The relays are on its low-voltage side: each zone has cables of its own from its relay."
    ),
}
# A level as it is printed.
LEVELS: Final = {
    Severity.OK: Phrase("ok"),
    Severity.NOTE: Phrase("note"),
    Severity.WARNING: Phrase("warning"),
    Severity.ERROR: Phrase("error"),
}
_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=%|(?:VA|V|A|W|ft|m|mm|ohm|AWG|mm2)\b)")


def make_sheet(
    site: Site,
    reports: Sequence[WiringReport],
    made_on: date | None = None,
    *,
    words: Words | None = None,
) -> str:
    """Make the site sheet as a page that needs nothing else, and prints on A4 and Letter.

    ``made_on`` is the date that is written on it, if any. ``words`` are those of a browser that shows it on
    the page; without any it is in English, and alone.
    """
    on_page, words = words is not None, words or english(ZoneInfo(site.time_zone))
    materials = list_materials(site, [report.wiring for report in reports])
    return render(
        "sheet.html",
        words,
        on_page=on_page,
        site=site,
        made_on=None if made_on is None else words.full_date(made_on),
        answer=text.summary(reports),
        no_transformer=NO_TRANSFORMER,
        transformers=[_show(report, number, words) for number, report in enumerate(reports, start=1)],
        materials=materials,
        trench=f"{materials.trench_m / M_PER_FT:.0f} ft ({materials.trench_m:.0f} m)",
        checks=CHECKS,
        cautions=CAUTIONS,
        levels=LEVELS,
        marks=MARKS,
        text=text,
        tidy=tidy,
    )


def tidy(words: str) -> str:
    """Keep numbers and their units on one line."""
    kept = _BEFORE_UNIT.sub("\u00a0", words)
    return Markup(kept) if isinstance(words, Markup) else kept  # noqa: S704 - it was escaped before


def _show(report: WiringReport, number: int, words: Words) -> dict[str, Any]:
    """Give one transformer as the template wants it."""
    wiring, transformer = report.wiring, report.wiring.transformer
    load_va, rated_va = report.load.value, transformer.rated_va
    has_name = transformer.name != transformer.id
    places = range(len(wiring.circuits))
    readings = [each for place in places for each in report.lights(place) if each.light.placed]
    return {
        "report": report,
        "name": f"{transformer.name} ({transformer.id})" if has_name else transformer.id,
        "rated": f"{rated_va:g}",
        "tap": text.tap_words(report),
        "bar_percent": f"{min(100.0, 100.0 * load_va / rated_va):.1f}",
        "line": f"{CONTINUOUS_SHARE * rated_va:g}",
        "load": text.load_words(report),
        "relays": _RELAYS[transformer.relay_side],
        "zones": [
            (*row, "" if load.zone.measured_watts is None else f"{load.zone.measured_watts:g}")
            for row, load in zip(text.load_rows(report), report.loads, strict=True)
        ],
        "circuits": [_show_circuit(report, place, number, words) for place in places],
        "readings": readings,
        "all_stated": all(each.stated for each in readings),
        "runs": list(_runs(report)),
    }


def _show_circuit(report: WiringReport, place: int, number: int, words: Words) -> dict[str, Any]:
    circuit, one = report.wiring.circuits[place], report.inspection.solved[place]
    network, lit = circuit.network, one.lit
    key = f"tree-{number}-{place + 1}"
    drawing = draw_tree(report, place, words=words, key=key) if network.segments else None
    return {
        "node": network.feed.node,
        "tap": f"{network.feed.source_v:g}",
        "tap_box": bool(network.segments),
        "amperes": f"{lit.source_a:.2f}" if isinstance(lit, Solution) else "",
        "why_not": lit.words if isinstance(lit, NoSolution) else "",
        "measured": "" if circuit.measured_v is None else text.volts_text(circuit.measured_v),
        "scale": Markup(drawing.scale if drawing else ""),  # noqa: S704 - our own template, escaped there
        "pieces": [Markup(piece) for piece in drawing.pieces] if drawing else [],  # noqa: S704
    }


def _runs(report: WiringReport) -> Iterator[tuple[CableSegment, SegmentState | None]]:
    """Give the cables that begin at the transformer, where a clamp meter goes round one conductor."""
    for circuit, one in zip(report.wiring.circuits, report.inspection.solved, strict=True):
        carried = one.lit.carried if isinstance(one.lit, Solution) else {}
        for cable in circuit.network.segments:
            if cable.from_node == circuit.network.feed.node:
                yield cable, carried.get(cable)
