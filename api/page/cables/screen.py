"""What the screen of cables and lamps shows: each transformer, its tree of cables, the volts at each lamp."""

from __future__ import annotations

from dataclasses import dataclass

from api.page.cables.proposals import ProposalView, show_proposals
from api.page.cables.tree import Tap, draw_taps
from api.page.cables.where_to_look import WhereToLook, mark_faults, where_to_look
from api.render.wiring.text import (
    READINGS_DIFFER,
    FindingGroup,
    count_words,
    group_findings,
    load_words,
    nothing_helps,
    readings_differ,
    tap_words,
    volts_words,
)
from api.render.words import Words
from api.web.conditions import tag_of_model
from api.web.schemas.measured import measured_response
from config.errors import Severity
from config.models.site import Site, Zone
from controller.inspection.report import WiringReport, report_site


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
    proposals: tuple[ProposalView, ...]
    nothing_helps: str
    look: WhereToLook | None
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
    faults = [each.diagnosis for each in reports if each.diagnosis and not each.diagnosis.all_well]
    clear = [words.say(each.explanations[0].words) for each in faults if each.clear]
    if clear:
        found = words.gettext("The volts that were measured point to a fault.")
        sentence, rest = (f"{sentence} {found}" if errors else found), f"{clear[0]}."
    elif faults:
        maybe = words.gettext(
            "The volts that were measured may point to a fault: see below for where to look."
        )
        rest = maybe
    elif reports and not groups and readings_differ(reports):
        sentence, rest = words.say(count_words(0, 0)), words.say(READINGS_DIFFER)
    return Cables(
        sentence=sentence,
        rest=rest,
        transformers=tuple(_show(each, site, words) for each in reports),
    )


def _say(errors: int, warnings: int, any_at_all: bool, has_cables: bool, words: Words) -> tuple[str, str]:  # noqa: FBT001
    _ = words.gettext
    if not any_at_all:
        return _("No transformer is written down yet."), _(
            "With transformers, lamps and cables in the site file this page shows the volts at every lamp."
        )
    counted = words.say(count_words(errors, warnings))
    if errors or warnings:
        return counted, ""
    if has_cables:
        return counted, _("Every lamp gets the volts that it needs.")
    return counted, _("The cables are not written down, so the volts at the lamps are not known.")


def _show(report: WiringReport, site: Site, words: Words) -> TransformerView:
    """Give one transformer's part of the screen."""
    transformer = report.wiring.transformer
    return TransformerView(
        id=transformer.id,
        name=transformer.name,
        tap=tap_words(report),
        load=load_words(report),
        share=round(100 * report.load.value / transformer.rated_va, 1),
        level=report.level.value,
        taps=draw_taps(report, site, words, mark_faults(report, words)),
        zones=tuple(_zone(each.zone, words) for each in report.loads),
        findings=tuple(group_findings(report.inspection.findings)),
        proposals=show_proposals(report, words),
        nothing_helps=nothing_helps(report) if report.without_advice else "",
        look=where_to_look(report, words),
        measured=(*volts_words(report), *(each.words for each in report.watts)),
        unknown=report.unknown,
    )


def _zone(zone: Zone, words: Words) -> ZoneWatts:
    load = zone.model_copy(update={"measured_watts": None}).rated_load
    return ZoneWatts(
        id=zone.id,
        name=zone.name,
        rated="" if load.watts is None else words.written(f"{load.watts:g} W"),
        measured="" if zone.measured_watts is None else words.written(f"{zone.measured_watts:g}"),
        tag=tag_of_model(measured_response(zone)),
    )
