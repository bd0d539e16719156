"""What the JSON about measured volts and their faults consists of."""

from typing import Literal

from pydantic import AliasChoices, Field

from api.render.model import ResponseModel, ZoneId
from api.render.wiring.fields import NodeName, Rounded3, TextOrNull
from controller.diagnosis.faults import WiringFault


class FaultyCableResponse(ResponseModel):
    """A piece of cable that a fault may be in."""

    begins: NodeName = Field(
        serialization_alias="from",
        validation_alias=AliasChoices("from", "begins"),
        description="node at which it begins",
        examples=["house"],
    )
    to: NodeName


class FaultyLampResponse(ResponseModel):
    """A light that a fault may be at."""

    zone: ZoneId
    fixture: int | None = Field(description="its fixture's place in the zone, from 1", examples=[1])
    number: int = Field(description="its place among the fixture's lights, from 1", examples=[3])
    node: NodeName


class FaultPlaceResponse(ResponseModel):
    """One place where a fault may be."""

    where: str = Field(description="the same in words", examples=["between “hub” and “hub 3”"])
    circuit: NodeName = Field(description="node of its tap")
    cables: list[FaultyCableResponse] = Field(description="pieces of cable that it may be in")
    lamp: FaultyLampResponse | None = Field(description="light that it is at; null for a cable or a tap")
    size: Rounded3 | None = Field(
        description="ohms too many, volts at the tap, watts of a lamp or mm² of a gauge; null without one",
        examples=[0.41],
    )
    unit: Literal["ohm", "V", "W", "mm2"] | None = Field(description="unit of the size", examples=["ohm"])
    gauge: str | None = Field(description="what the cable really is; null otherwise", examples=["14 AWG"])
    other_zone: ZoneId | None = Field(
        description="zone that the light is wired to; null otherwise", examples=["beds"]
    )
    probability: Rounded3 = Field(description="how likely it is, 0 to 1, cautiously", examples=[0.96])


class ExplanationResponse(ResponseModel):
    """A kind of fault that would explain the readings."""

    fault: WiringFault = Field(description="kind of fault")
    places: list[FaultPlaceResponse] = Field(
        description="where it may be, the likeliest first; none where nothing is wrong"
    )
    probability: Rounded3 = Field(description="how likely it is, 0 to 1, cautiously", examples=[0.97])
    words: str = Field(
        description="what is wrong, and where",
        examples=["About 0.41 ohm too much between “hub” and “hub 3”"],
    )
    remedy: TextOrNull = Field(
        description="what to do; null where nothing is wrong",
        examples=["open the splices there and remake them"],
    )
    cautions: list[str] = Field(
        description="what to be careful with",
        examples=[["Switch the transformer off before you open a splice: a loose joint may be hot."]],
    )
    left_v: Rounded3 = Field(
        description="volts that it leaves unexplained, root mean square", examples=[0.04]
    )


class DiagnosisResponse(ResponseModel):
    """What would explain the volts that were measured."""

    fault: WiringFault | None = Field(description="the likeliest; null where no single fault explains them")
    clear: bool = Field(description="whether its first place stands out from everything else")
    confidence: Rounded3 = Field(description="how likely that is, 0 to 1, cautiously", examples=[0.98])
    copper_c: float = Field(
        description="temperature of the copper with which it fits, in °C", examples=[28.0]
    )
    words: str = Field(
        description="how sure it is",
        examples=["One fault explains these readings, and no other does as well:"],
    )
    explanations: list[ExplanationResponse] = Field(
        description="one for each kind of fault, the likeliest first"
    )
