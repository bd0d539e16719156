"""The wiring of a site as JSON: the same from the command line and over the web."""

from collections.abc import Iterable, Sequence
from typing import Final, TypeVar

from api.render.model import ResponseModel
from api.render.wiring.diagnosis_json import diagnosis_response
from api.render.wiring.model import (
    CableResponse,
    CircuitResponse,
    FindingResponse,
    LightResponse,
    MeasuredVoltsResponse,
    MeasuredWattsResponse,
    PlacementResponse,
    RuleOfThumbResponse,
    TransformerLoadResponse,
    TransformerWiringResponse,
    WiringResponse,
    ZoneLoadResponse,
)
from api.render.wiring.proposal_json import proposal_responses
from config.errors import Severity
from config.models.site import CONTINUOUS_SHARE, Site
from config.phrase import Phrase
from controller.design.placement import Placement
from controller.inspection.report import LightResult, WiringReport, ZoneLoad
from controller.wiring.network import CableSegment, Lamp
from controller.wiring.solver import NoSolution, SegmentState, Solution

# The solver's kinds of lamp in the words of the site file: its lamp, and its driver.
_LAMPS: Final = {
    Lamp.POWER: ("led", "regulated"),
    Lamp.CURRENT: ("led", "linear"),
    Lamp.RESISTANCE: ("led", "resistor"),
    Lamp.FILAMENT: ("filament", None),
}
NO_TRANSFORMER: Final = Phrase("the site has no [[transformers]] table, so its load and wiring are not known")

Response = TypeVar("Response", bound=ResponseModel)


def placement_response(placement: Placement) -> PlacementResponse:
    """Give an object with its lights; what is common practice stands apart from what is geometry."""
    bright, spread = placement.brightness, placement.spread
    return PlacementResponse(
        object=placement.what,
        height_m=placement.height_m or None,
        spread_m=placement.spread_m,
        width_m=placement.width_m,
        spread_taken=placement.spread_assumed,
        kind=placement.kind,
        lights=placement.lights,
        out_m=placement.out_m,
        from_middle_m=placement.from_middle_m,
        around_deg=list(placement.around_deg),
        along_m=list(placement.along_m),
        side=placement.side,
        tilt_deg=placement.tilt_deg,
        beam_deg=placement.beam_deg,
        lux=bright.lux,
        least_lux=spread.least * bright.lux,
        most_lux=spread.most * bright.lux,
        surroundings_lux=bright.surroundings_lx,
        candela=bright.candela,
        lumens=bright.lumens,
        led_w=bright.led_w,
        halogen_w=bright.halogen_w,
        warnings=list(placement.warnings),
        common_practice=list(placement.practice),
        geometry=list(placement.geometry),
    )


def worst_level(reports: Iterable[WiringReport]) -> Severity:
    """Give the worst level of some reports; ok where there are none."""
    return max((report.level for report in reports), key=lambda level: level.rank, default=Severity.OK)


def to_response(site: Site, reports: Sequence[WiringReport]) -> WiringResponse:
    """Give the wiring of some transformers of a site."""
    return WiringResponse(
        site=site.name,
        level=worst_level(reports),
        copper_c=site.wiring.copper_c,
        transformers=[transformer_response(report) for report in reports],
        unknown=[] if site.transformers else [NO_TRANSFORMER],
    )


def transformer_response(report: WiringReport) -> TransformerWiringResponse:
    """Give the wiring of one transformer."""
    transformer = report.wiring.transformer
    rated_va, load_va = transformer.rated_va, report.load.value
    return TransformerWiringResponse(
        id=transformer.id,
        name=transformer.name,
        level=report.level,
        load=TransformerLoadResponse(
            va=load_va,
            rated_va=rated_va,
            part=load_va / rated_va,
            line_va=CONTINUOUS_SHARE * rated_va,
            left_va=CONTINUOUS_SHARE * rated_va - load_va,
            zones=[_zone(load) for load in report.loads],
        ),
        taps_v=list(report.wiring.taps_v),
        relay_side=transformer.relay_side,
        circuits=[_circuit(report, place) for place in range(len(report.wiring.circuits))],
        findings=[_same(FindingResponse, finding) for finding in report.inspection.findings],
        advice=proposal_responses(report),
        rule_of_thumb=[_same(RuleOfThumbResponse, rule) for rule in report.rules],
        diagnosis=diagnosis_response(report),
        measured_watts=[_same(MeasuredWattsResponse, each) for each in report.watts],
        unknown=list(report.unknown),
    )


def _same(kind: type[Response], value: object) -> Response:
    """Make a response of a value with attributes of the same names."""
    return kind.model_validate(value, from_attributes=True)


def _zone(load: ZoneLoad) -> ZoneLoadResponse:
    return ZoneLoadResponse(
        zone=load.zone.id,
        name=load.zone.name,
        lights=sum(fixture.count for fixture in load.zone.fixtures),
        rated_w=load.zone.rated_load.watts,
        rated_by=load.zone.rated_load.origin or None,
        alone_va=load.alone_va,
        alone_w=load.alone_w,
        on_cables=load.placed,
    )


def _circuit(report: WiringReport, place: int) -> CircuitResponse:
    """Give one tap: its nodes and lights with their volts, or why there are none."""
    circuit, lit = report.wiring.circuits[place], report.inspection.solved[place].lit
    measured = report.volts[place]
    found = lit if isinstance(lit, Solution) else None
    feed, known = circuit.network.feed, report.wiring.tap_known
    carried = found.carried if found else {}
    return CircuitResponse(
        node=feed.node,
        tap_v=feed.source_v if known else None,
        common=feed.common,
        feed_v=found.feed_v if found and known else None,
        measured_tap_v=circuit.measured_v,
        solved=found is not None,
        why_not=lit.words if isinstance(lit, NoSolution) else None,
        amperes=found.source_a if found and known else None,
        cable_loss_w=found.loss_w if found else None,
        cables=[_cable(cable, carried.get(cable), found) for cable in circuit.network.walk()],
        lights=[_light(light) for light in report.lights(place)],
        measured=_same(MeasuredVoltsResponse, measured) if measured else None,
    )


def _cable(cable: CableSegment, state: SegmentState | None, found: Solution | None) -> CableResponse:
    return CableResponse(
        begins=cable.from_node,
        to=cable.to_node,
        gauge=str(cable.gauge),
        length_m=cable.length_m,
        amperes=state.amperes if state else None,
        backwards=state.backwards if state else None,
        limit_a=cable.limit_a,
        drop_v=state.drop_v if state else None,
        loss_w=state.loss_w if state else None,
        volts=found.volts[cable.to_node] if found else None,
    )


def _light(result: LightResult) -> LightResponse:
    light, fixture = result.light, result.fixture
    known = light.placed
    state = result.state if known else None
    return LightResponse(
        zone=light.zone,
        fixture=light.fixture or None,
        number=light.number,
        kind=light.kind or None,
        name=light.name or None,
        node=fixture.node if known else None,
        count=fixture.count,
        watts=fixture.watts,
        lamp=_LAMPS[fixture.lamp][0] if known else None,
        driver=_LAMPS[fixture.lamp][1] if known else None,
        volts=state.volts if state else None,
        most_v=result.most_v if known else None,
        range_v=list(fixture.range_v) if known else None,
        range_stated=fixture.min_v is not None if known else None,
        amperes=state.amperes if state else None,
        light=result.brightness,
        life=result.life,
        drops_out=state.drops_out if state else None,
        measured_v=light.measured_v,
    )
