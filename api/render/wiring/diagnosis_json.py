"""What would explain the volts that were measured, as JSON."""

from api.render.wiring.diagnosis_model import (
    DiagnosisResponse,
    ExplanationResponse,
    FaultPlaceResponse,
    FaultyCableResponse,
    FaultyLampResponse,
)
from controller.diagnosis.diagnosis import FaultPlace
from controller.inspection.report import WiringReport


def diagnosis_response(report: WiringReport) -> DiagnosisResponse | None:
    """Give what would explain the readings, its places named as in the site file; None without readings."""
    diagnosis = report.diagnosis
    if diagnosis is None:
        return None
    return DiagnosisResponse(
        fault=diagnosis.fault,
        clear=diagnosis.clear,
        confidence=diagnosis.confidence,
        copper_c=diagnosis.copper_c,
        words=diagnosis.words,
        explanations=[
            ExplanationResponse(
                fault=each.fault,
                places=[_fault_place(report, place) for place in each.places],
                probability=each.probability,
                words=each.words,
                remedy=each.remedy,
                cautions=list(each.cautions),
                left_v=each.left_v,
            )
            for each in diagnosis.explanations
        ],
    )


def _fault_place(report: WiringReport, place: FaultPlace) -> FaultPlaceResponse:
    circuit = report.wiring.circuits[place.circuit]
    lamp = None
    if place.fixture is not None:
        light = circuit.lights[place.fixture]
        lamp = FaultyLampResponse(
            zone=light.zone, fixture=light.fixture or None, number=light.number, node=light.at.node
        )
    return FaultPlaceResponse(
        where=place.where,
        circuit=circuit.network.feed.node,
        cables=[FaultyCableResponse(begins=begins, to=to) for begins, to in place.cables],
        lamp=lamp,
        size=place.size,
        unit=place.unit,
        gauge=place.gauge,
        other_zone=place.other_zone,
        probability=place.probability,
    )
