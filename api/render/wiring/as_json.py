"""The wiring of a site as JSON: the same from the command line and over the web.

Lengths are in metres, temperatures in °C; a number that is not known is null. Nothing is rounded so far that
a voltmeter could see it.
"""

from collections.abc import Iterable, Sequence
from typing import Annotated, Final, TypeVar

from pydantic import AfterValidator, AliasChoices, BeforeValidator, Field

from api.render.model import ResponseModel
from config.errors import Severity
from config.models.site import CONTINUOUS_SHARE, Site
from controller.design.placement import Placement
from controller.inspection.advice import Proposal
from controller.inspection.report import LightResult, WiringReport, ZoneLoad
from controller.wiring.network import CableSegment, Lamp
from controller.wiring.solver import SegmentState, Solution

# The solver's kinds of lamp in the words of the site file: its lamp, and its driver.
_LAMPS: Final = {
    Lamp.POWER: ("led", "regulated"),
    Lamp.CURRENT: ("led", "linear"),
    Lamp.RESISTANCE: ("led", "resistor"),
    Lamp.FILAMENT: ("filament", None),
}
NO_TRANSFORMER: Final = "the site has no [[transformers]] table, so its load and wiring are not known"

Response = TypeVar("Response", bound=ResponseModel)

TextOrNull = Annotated[str | None, BeforeValidator(lambda text: text or None)]
Rounded2 = Annotated[float, AfterValidator(lambda value: round(value, 2))]
Rounded3 = Annotated[float, AfterValidator(lambda value: round(value, 3))]
Rounded4 = Annotated[float, AfterValidator(lambda value: round(value, 4))]
Rounded6 = Annotated[float, AfterValidator(lambda value: round(value, 6))]


class ZoneLoadResponse(ResponseModel):
    """What one zone asks of its transformer."""

    zone: str
    name: str
    lights: int
    rated_w: float | None = Field(description="null where it is not in the file")
    rated_by: str | None = Field(description="“measured”, “fixtures” or “rated”")
    alone_va: Rounded3 | None = Field(description="with this zone lit alone, its cables included")
    alone_w: Rounded3 | None
    on_cables: bool = Field(description="whether the cables to all its lights are known")


class TransformerLoadResponse(ResponseModel):
    """Everything lit."""

    va: Rounded3
    rated_va: float
    part: Rounded4 = Field(description="of the rating")
    line_va: float = Field(description="80 % of the rating")
    left_va: Rounded3 = Field(description="up to that line; below zero above it")
    zones: list[ZoneLoadResponse]


class CableResponse(ResponseModel):
    """One piece of cable, from the transformer outwards."""

    begins: str = Field(serialization_alias="from", validation_alias=AliasChoices("from", "begins"))
    to: str
    gauge: str
    length_m: Rounded4
    amperes: Rounded4 | None
    limit_a: float = Field(description="the current that it is allowed to carry")
    drop_v: Rounded6 | None
    loss_w: Rounded4 | None
    volts: Rounded6 | None = Field(description="at its far end, everything lit")


class LightResponse(ResponseModel):
    """One light, or equal lights at one node."""

    zone: str
    fixture: int | None = Field(description="its place among the zone's fixtures, from 1")
    number: int = Field(description="its place among the fixture's lights, from 1")
    kind: str | None
    name: str | None
    node: str | None = Field(description="null where its cable is not known")
    count: int
    watts: float
    lamp: str | None = Field(description="“led” or “filament”")
    driver: str | None = Field(description="of an LED: “regulated”, “linear” or “resistor”")
    volts: Rounded6 | None = Field(description="everything lit, cable at copper_c: the fewest")
    most_v: Rounded6 | None = Field(description="its zone lit alone on cool cable: the most")
    range_v: list[Rounded4] | None = Field(description="lowest and highest volts that it is allowed")
    range_stated: bool | None = Field(description="whether that is read off its plate")
    amperes: Rounded6 | None = Field(description="through one light")
    light: Rounded4 | None = Field(description="of a filament: part of its rated light")
    life: Rounded4 | None = Field(description="of a filament: part of its rated life")
    drops_out: bool | None = Field(description="whether a regulated driver is below its range")
    measured_v: float | None


class ReadingResponse(ResponseModel):
    """One reading and what was computed."""

    node: str
    zone: str
    measured_v: float
    cool_v: Rounded6
    warm_v: Rounded6
    beyond_v: Rounded6 = Field(description="outside both and the meter's tolerance; 0 where it agrees")


class SuggestionResponse(ResponseModel):
    """A fault that would explain every reading."""

    fault: str
    places: list[str]
    words: str


class MeasuredVoltsResponse(ResponseModel):
    """All readings of one circuit."""

    agrees: bool
    readings: list[ReadingResponse] = Field(validation_alias=AliasChoices("readings", "differences"))
    suggests: list[SuggestionResponse] = Field(validation_alias=AliasChoices("suggests", "explanations"))


class CircuitResponse(ResponseModel):
    """Everything on one tap."""

    node: str
    tap_v: float | None
    measured_tap_v: float | None
    solved: bool
    why_not: str | None = Field(description="why there are no volts; null where there are")
    amperes: Rounded4 | None
    cable_loss_w: Rounded4 | None
    cables: list[CableResponse]
    lights: list[LightResponse]
    measured: MeasuredVoltsResponse | None


class FindingResponse(ResponseModel):
    """One finding."""

    level: Severity
    topic: str
    circuit: TextOrNull = Field(validation_alias=AliasChoices("circuit", "feed"))
    place: str
    value: Rounded6
    limit: Rounded6
    unit: str
    source: str = Field(description="who sets the limit")
    words: str
    remedy: TextOrNull = Field(description="what to do; null where it is ok")


class PurchaseResponse(ResponseModel):
    """Cable to buy for a proposal."""

    gauge: str
    length_m: Rounded3


class WorstLampResponse(ResponseModel):
    """The light with the fewest volts in proportion, once a proposal is carried out."""

    node: str
    name: str
    volts: Rounded6


class ProposalResponse(ResponseModel):
    """A change after which no error is left there, computed."""

    kind: str
    words: str
    buys: list[PurchaseResponse]
    copper_kg: Rounded3
    tap_v: float | None
    worst: WorstLampResponse
    warnings: list[str] = Field(description="warnings that it brings")
    remains: list[str] = Field(description="errors elsewhere that stay")


class RuleOfThumbResponse(ResponseModel):
    """The rule of thumb and the calculation."""

    circuit: str
    farthest_m: Rounded3
    thinnest_mm2: float
    rated_part: Rounded4
    rule_kept: bool
    every_lamp_in_range: bool
    words: str


class MeasuredWattsResponse(ResponseModel):
    """Measured and computed watts of a zone."""

    zone: str
    measured_w: float
    computed_w: Rounded3
    agrees: bool
    words: str


class TransformerWiringResponse(ResponseModel):
    """One transformer and all that hangs on it."""

    id: str
    name: str
    level: Severity
    load: TransformerLoadResponse
    taps_v: list[float]
    relay_side: str
    circuits: list[CircuitResponse]
    findings: list[FindingResponse]
    advice: list[ProposalResponse]
    rule_of_thumb: list[RuleOfThumbResponse]
    measured_watts: list[MeasuredWattsResponse]
    unknown: list[str] = Field(description="what is not known, and why")


class WiringResponse(ResponseModel):
    """The wiring of a site."""

    site: str
    level: Severity
    copper_c: float
    transformers: list[TransformerWiringResponse]
    unknown: list[str]


class PlacementResponse(ResponseModel):
    """Lights for one object."""

    object: str = Field(validation_alias=AliasChoices("object", "what"))
    height_m: Rounded4
    spread_m: Rounded4
    spread_taken: bool = Field(
        validation_alias=AliasChoices("spread_taken", "spread_assumed"),
        description="whether the usual width was taken, as none was given",
    )
    kind: str = Field(description="of fixture")
    lights: int
    out_m: Rounded4
    around_deg: list[Rounded4]
    along_m: list[Rounded4]
    tilt_deg: Rounded4
    beam_deg: Rounded4
    candela: float | None
    lux: Rounded2 | None
    common_practice: list[str] = Field(
        validation_alias=AliasChoices("common_practice", "practice"),
        description="what of it is common practice, without a source",
    )
    geometry: list[str] = Field(description="what of it is computed")


def placement_response(placement: Placement) -> PlacementResponse:
    """Give an object with its lights; what is common practice stands apart from what is geometry."""
    return _same(PlacementResponse, placement)


def worst_level(reports: Iterable[WiringReport]) -> Severity:
    """Give the worst level of some reports; ok where there are none."""
    return max((report.level for report in reports), key=lambda level: level.rank, default=Severity.OK)


def to_response(site: Site, reports: Sequence[WiringReport]) -> WiringResponse:
    """Give the wiring of some transformers of a site."""
    return WiringResponse(
        site=site.name,
        level=worst_level(reports),
        copper_c=site.wiring.copper_c,
        transformers=[_transformer(report) for report in reports],
        unknown=[] if site.transformers else [NO_TRANSFORMER],
    )


def _transformer(report: WiringReport) -> TransformerWiringResponse:
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
        advice=[_proposal(proposal) for proposal in report.proposals],
        rule_of_thumb=[_same(RuleOfThumbResponse, rule) for rule in report.rules],
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
    carried = found.cables if found else {}
    return CircuitResponse(
        node=feed.node,
        tap_v=feed.source_v if known else None,
        measured_tap_v=circuit.measured_v,
        solved=found is not None,
        why_not=None if found else str(lit),
        amperes=found.source_a if found and known else None,
        cable_loss_w=found.loss_w if found else None,
        cables=[_cable(cable, carried.get(cable.to_node), found) for cable in circuit.network.walk()],
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


def _proposal(proposal: Proposal) -> ProposalResponse:
    change, worst = proposal.change, proposal.worst
    return ProposalResponse(
        kind=change.kind,
        words=change.words,
        buys=[PurchaseResponse(gauge=str(each.gauge), length_m=each.length_m) for each in change.buys],
        copper_kg=change.copper_kg,
        tap_v=change.tap_v,
        worst=WorstLampResponse(node=worst.fixture.node, name=worst.fixture.name, volts=worst.volts),
        warnings=[finding.words for finding in proposal.warnings],
        remains=[finding.words for finding in proposal.remains],
    )
