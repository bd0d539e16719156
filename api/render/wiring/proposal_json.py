"""What the advice proposes for one transformer, as JSON."""

from api.render.wiring.proposal_model import (
    CableChangeResponse,
    CostResponse,
    LightAfterResponse,
    MarginsResponse,
    ProposalResponse,
    ProposalsResponse,
    PurchaseResponse,
    WorstLampResponse,
)
from config.models.cable_changes import AddTransformer, CableChange, LayGauge, LayRun, MoveToTap
from controller.inspection.changes import Cost
from controller.inspection.proposals import Proposal
from controller.inspection.report import WiringReport


def proposal_responses(report: WiringReport) -> list[ProposalResponse]:
    """Give the proposals for one transformer in their order, numbered from 1."""
    return [_proposal(report, number, each) for number, each in enumerate(report.proposals, start=1)]


def proposals_response(report: WiringReport) -> ProposalsResponse:
    """Give the proposals for one transformer as a document of their own."""
    return ProposalsResponse(transformer=report.wiring.transformer.id, proposals=proposal_responses(report))


def _proposal(report: WiringReport, number: int, proposal: Proposal) -> ProposalResponse:
    worst = proposal.worst
    return ProposalResponse(
        number=number,
        kind=proposal.kind,
        words=proposal.words,
        changes=[_change(each) for each in proposal.changes],
        buys=[PurchaseResponse(gauge=str(each.gauge), length_m=each.length_m) for each in proposal.cost.buys],
        cost=_cost(proposal.cost),
        margins=MarginsResponse.model_validate(proposal.margins, from_attributes=True),
        worst=WorstLampResponse(node=worst.fixture.node, name=worst.fixture.name, volts=worst.volts),
        lights=_lights(report, proposal),
        warnings=[finding.words for finding in proposal.warnings],
        remains=[finding.words for finding in proposal.remains],
    )


def _cost(cost: Cost) -> CostResponse:
    return CostResponse(
        copper_kg=cost.copper_kg,
        trench_m=cost.trench_m,
        per_kg=cost.prices.copper_per_kg,
        per_m=cost.prices.trench_per_m,
        total=cost.total,
    )


def _change(change: CableChange) -> CableChangeResponse:
    response = CableChangeResponse(
        what="move to tap",
        cable=None,
        nodes=[],
        gauge=None,
        length_m=None,
        tap_v=None,
        common=None,
        cut_from=None,
        instead_of=None,
        rated_va=None,
        zones=[],
    )
    if isinstance(change, AddTransformer):
        more = {
            "what": "second transformer",
            "nodes": list(change.nodes),
            "tap_v": change.tap_v,
            "rated_va": change.rated_va,
            "zones": list(change.zones),
        }
        return response.model_copy(update=more)
    more = {"cable": None if change.table is None else change.table + 1}
    if isinstance(change, LayGauge):
        more |= {"what": "lay gauge", "nodes": list(change.ends)}
    else:
        more |= {
            "nodes": [change.node],
            "tap_v": change.terminal.tap_v,
            "common": change.terminal.common,
        }
    if not isinstance(change, MoveToTap):
        more |= {"gauge": str(change.gauge), "length_m": change.length_m}
    if isinstance(change, LayRun):
        more["what"] = "move feed" if change.instead_of else "second run"
        more["instead_of"] = change.instead_of or None
        more["cut_from"] = None if change.instead_of else change.cut_from
    return response.model_copy(update=more)


def _lights(report: WiringReport, proposal: Proposal) -> list[LightAfterResponse]:
    """Give every light that is on a cable."""
    after = report.lights_after(proposal)
    lights = [
        (light, after.get((place, number)))
        for place, circuit in enumerate(report.wiring.circuits)
        for number, light in enumerate(circuit.lights)
        if light.placed
    ]
    return [
        LightAfterResponse(
            zone=light.zone,
            fixture=light.fixture or None,
            number=light.number,
            node=light.at.node,
            volts=then.volts if then else None,
            most_v=then.most_v if then else None,
        )
        for light, then in lights
    ]
