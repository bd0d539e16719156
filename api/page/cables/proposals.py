"""Proposals on the page: each with its cost and what it leaves to spare, and one tried, lamp by lamp."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher

from api.page.cables.tree import Drawn, Tap, draw_taps
from api.render.wiring.text import PRICES_NOTE, FindingGroup, group_findings, length_text
from api.render.words import Words
from config.file.cable_editor import change_cables
from config.models.cable_changes import AddTransformer, LayGauge, LayRun, MoveToTap, Terminal
from config.models.site import Site
from controller.inspection.proposals import Proposal
from controller.inspection.report import LightResult, Standing, WiringReport

# Of the site file so many lines are shown around those that change.
_LINES_AROUND = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class ProposalView:
    """One proposal in the list.

    Attributes:
        clauses: what to do, one clause for each thing to do.
        cost: what it costs, and what to buy.
        spare: what it leaves to spare.
        warnings, remains: findings that it brings, and that stay.
    """

    number: int
    clauses: tuple[str, ...]
    cost: str
    spare: str
    warnings: tuple[FindingGroup, ...]
    remains: tuple[FindingGroup, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class FileChange:
    """Some lines of the site file that change, with those around them.

    Attributes:
        line: number of the first, as the file is now.
        lines: each with “-” where it is taken out, “+” where it is added, and a blank where it stays.
    """

    line: int
    lines: tuple[tuple[str, str], ...]

    @property
    def added(self) -> int:
        """How many are added."""
        return sum(mark == "+" for mark, _ in self.lines)

    @property
    def removed(self) -> int:
        """How many are taken out."""
        return sum(mark == "-" for mark, _ in self.lines)


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """One proposal as it is tried.

    Attributes:
        prices: where the prices come from; empty where nothing is bought.
        outcome: how many lamps are inside their range then, and how many are now.
        work: what to do in the garden, and what to be careful with.
    """

    transformer: str
    name: str
    proposal: ProposalView
    prices: str
    outcome: str
    taps: tuple[Tap, ...]
    work: tuple[str, ...]


def show_proposals(report: WiringReport, words: Words) -> tuple[ProposalView, ...]:
    """Give every proposal for a transformer."""
    return tuple(_show(number, each, words) for number, each in enumerate(report.proposals, start=1))


def try_proposal(report: WiringReport, number: int, site: Site, words: Words) -> Trial:
    """Draw what a proposal changes, with the volts of every lamp before and after."""
    proposal = report.proposals[number - 1]
    after = report.lights_after(proposal)
    drawn = Drawn(work=_work_by_node(report, proposal, words), after=after)
    return Trial(
        transformer=report.wiring.transformer.id,
        name=report.wiring.transformer.name,
        proposal=_show(number, proposal, words),
        prices=PRICES_NOTE if proposal.cost.buys else "",
        outcome=_outcome(report, after, words),
        taps=draw_taps(report, site, words, drawn),
        work=work_on_site(proposal, words),
    )


def compare_files(text: str, site: Site, proposal: Proposal, name: str) -> tuple[FileChange, ...]:
    """Give the lines of a site file that a proposal changes.

    Raises:
        SiteFileError: the file cannot be changed here, or was changed and is not read yet.
    """
    before = text.splitlines()
    after = change_cables(text, site, proposal.changes, name).splitlines()
    groups = SequenceMatcher(a=before, b=after, autojunk=False).get_grouped_opcodes(_LINES_AROUND)
    changes = []
    for group in groups:
        lines: list[tuple[str, str]] = []
        for what, begin, end, first, last in group:
            lines += [(" " if what == "equal" else "-", each) for each in before[begin:end]]
            lines += [("+", each) for each in after[first:last] if what != "equal"]
        changes.append(FileChange(line=group[0][1] + 1, lines=tuple(lines)))
    return tuple(changes)


def work_on_site(proposal: Proposal, words: Words) -> tuple[str, ...]:
    """Say what is to be done in the garden for a proposal, safe things first."""
    _ = words.gettext
    changes, buys = proposal.changes, proposal.cost.buys
    work = [_("Unplug the transformer before you open it or touch its terminals.")]
    if any(isinstance(each, AddTransformer) for each in changes):
        work.append(_("Mains wiring for the second transformer is for a licensed electrician."))
    if any(isinstance(each, LayRun | LayGauge) for each in changes):
        work.append(_("Have buried services marked before you dig, and dig by hand near them."))
        bought = [
            _("%(length)s of %(gauge)s")
            % {"length": words.written(length_text(each.length_m, each.gauge)), "gauge": each.gauge}
            for each in buys
        ]
        work.append(_("Lay %(cables)s: direct-burial cable.") % {"cables": words.listed(bought)})
        work.append(_("Join cables with watertight connectors, made for their gauges and for burial."))
    if any(isinstance(each, LayRun) and not each.instead_of for each in changes):
        work.append(_("Where the present cable is cut, cap both ends; no end may be fed from two sides."))
    work.append(_("Then light everything, measure at the last lamps and note it here."))
    return tuple(work)


def _show(number: int, proposal: Proposal, words: Words) -> ProposalView:
    return ProposalView(
        number=number,
        clauses=proposal.clauses,
        cost=_cost(proposal, words),
        spare=_spare(proposal, words),
        warnings=tuple(group_findings(proposal.warnings)),
        remains=tuple(group_findings(proposal.remains)),
    )


def _cost(proposal: Proposal, words: Words) -> str:
    _, cost = words.gettext, proposal.cost
    if not cost.buys:
        return _("It costs nothing but the work.")
    bought = [
        _("%(length)s of %(gauge)s")
        % {"length": words.written(length_text(each.length_m, each.gauge)), "gauge": each.gauge}
        for each in cost.buys
    ]
    return _("Buy %(cables)s and dig %(trench)s: about %(cost)s together.") % {
        "cables": words.listed(bought),
        "trench": words.written(length_text(cost.trench_m, cost.buys[0].gauge)),
        "cost": words.number(cost.total),
    }


def _spare(proposal: Proposal, words: Words) -> str:
    margins = proposal.margins
    spare_v = min((each for each in (margins.low_v, margins.high_v) if each is not None), default=0.0)
    return words.gettext(
        "The lamp nearest to a limit then has %(volts)s V to spare, and the transformer carries %(share)s of"
        " its rating."
    ) % {"volts": words.written(f"{spare_v:.2f}"), "share": words.percent(margins.load_part)}


def _outcome(report: WiringReport, after: Mapping[tuple[int, int], LightResult], words: Words) -> str:
    """Count the lamps that are inside their range afterwards, and now."""
    lights = [
        (each, after.get((place, number)))
        for place in range(len(report.wiring.circuits))
        for number, each in enumerate(report.lights(place))
        if each.light.placed
    ]
    total = sum(each.fixture.count for each, _ in lights)
    then = sum(each.fixture.count for _, each in lights if each and each.standing is Standing.INSIDE)
    now = sum(each.fixture.count for each, _ in lights if each.standing is Standing.INSIDE)
    said = words.ngettext(
        "Then %(then)d of %(count)d lamp gets the volts that it is made for, instead of %(now)d.",
        "Then %(then)d of %(count)d lamps get the volts that they are made for, instead of %(now)d.",
        total,
    )
    return said % {"then": then, "count": total, "now": now}


def _work_by_node(report: WiringReport, proposal: Proposal, words: Words) -> dict[str, tuple[str, ...]]:
    """Say at the cable that ends at each node what is done to it."""
    work: dict[str, list[str]] = {}
    for node, said in _list_work(report, proposal, words):
        work.setdefault(node, []).append(said)
    return {node: tuple(each) for node, each in work.items()}


def _list_work(report: WiringReport, proposal: Proposal, words: Words) -> Iterator[tuple[str, str]]:
    _ = words.gettext
    several = report.wiring.transformer.commons > 1

    def at(terminal: Terminal) -> str:
        volts = words.written(f"{terminal.tap_v:g}")
        if several:
            return _("%(volts)s V tap, common %(common)d") % {"volts": volts, "common": terminal.common}
        return _("%(volts)s V tap") % {"volts": volts}

    for change in proposal.changes:
        match change:
            case MoveToTap():
                yield change.node, _("connect it to the %(terminal)s") % {"terminal": at(change.terminal)}
            case LayGauge():
                for end in change.ends:
                    yield end, _("lay %(gauge)s here instead") % {"gauge": change.gauge}
            case LayRun():
                length = words.written(length_text(change.length_m, change.gauge))
                if change.instead_of:
                    yield change.instead_of, _("take this cable away")
                    said = _(
                        "bring the cable from the transformer to here: %(length)s of %(gauge)s, %(terminal)s"
                    )
                else:
                    said = _(
                        "cut it off here and lay a run of its own: %(length)s of %(gauge)s, %(terminal)s"
                    )
                told = {"length": length, "gauge": change.gauge, "terminal": at(change.terminal)}
                yield change.node, said % told
            case AddTransformer():
                for node in change.nodes:
                    volts = words.written(f"{change.tap_v:g}")
                    yield node, _("connect it to the new transformer, %(volts)s V tap") % {"volts": volts}
