"""What the JSON of the proposals for the wiring consists of."""

from typing import Literal

from pydantic import Field

from api.render.model import ResponseModel, ZoneId
from api.render.wiring.fields import Gauge, NodeName, Rounded2, Rounded3, Rounded4, Rounded6, Words
from controller.inspection.changes import ChangeKind


class PurchaseResponse(ResponseModel):
    """Cable to buy for a proposal."""

    gauge: Gauge
    length_m: Rounded3 = Field(description="how much of it, in metres", examples=[12.192])


class CostResponse(ResponseModel):
    """What a proposal costs: cable and digging, at prices that are common practice, without a source."""

    copper_kg: Rounded3 = Field(description="copper in the new cable, in kg", examples=[0.719])
    trench_m: Rounded3 = Field(description="metres to dig, once where two cables share", examples=[12.192])
    per_kg: float = Field(description="price of cable for each kg of its copper", examples=[40.0])
    per_m: float = Field(description="price of trench, for each of its metres", examples=[6.0])
    total: Rounded2 = Field(description="both together", examples=[101.91])


class MarginsResponse(ResponseModel):
    """How far the worst of everything is from its limit, once a proposal is carried out."""

    low_v: Rounded3 | None = Field(
        description="the least that a light is above its fewest volts; null without lights", examples=[0.149]
    )
    high_v: Rounded3 | None = Field(
        description="the least that a light is below its most volts; null without lights", examples=[0.679]
    )
    load_part: Rounded4 = Field(
        description="load of the transformer as a part of its rating", examples=[0.78]
    )
    circuit_part: Rounded4 = Field(
        description="current of the fullest circuit as a part of its limit", examples=[0.52]
    )


class CableChangeResponse(ResponseModel):
    """One thing to do."""

    what: Literal["move to tap", "lay gauge", "second run", "move feed", "second transformer"] = Field(
        description="kind of change"
    )
    cable: int | None = Field(
        description="the cable that it is about, by its place among the [[cables]] of the site file, from 1; "
        "of a run: the cable that leads to its end now; null where there is none",
        examples=[2],
    )
    nodes: list[NodeName] = Field(
        description="ends of the pieces that are laid anew, or of the cables that are moved",
        examples=[["oak"]],
    )
    gauge: Gauge | None = Field(description="gauge to lay; null where nothing is", examples=["10 AWG"])
    length_m: Rounded3 | None = Field(
        description="length to lay in metres; null where nothing is", examples=[12.192]
    )
    tap_v: float | None = Field(
        description="volts of the tap to connect to; null where it stays", examples=[13.0]
    )
    common: int | None = Field(description="common to connect to, from 1; null where it stays", examples=[1])
    cut_from: str | None = Field(
        description="node from which the present cable is cut off; null where none is", examples=["jetty 4"]
    )
    instead_of: str | None = Field(
        description="node to which the home run leads that this one replaces; null where none is",
        examples=["jetty 1"],
    )
    rated_va: float | None = Field(
        description="VA of a second transformer; null where there is none", examples=[150.0]
    )
    zones: list[ZoneId] = Field(description="zones that go to a second transformer")


class LightAfterResponse(ResponseModel):
    """What one light gets once a proposal is carried out."""

    zone: ZoneId
    fixture: int | None = Field(
        description="its place among the zone's fixtures, from 1; null where these are not listed",
        examples=[1],
    )
    number: int = Field(description="its place among the fixture's lights, from 1", examples=[1])
    node: NodeName
    volts: Rounded6 | None = Field(
        description="the fewest volts that it then gets; null where it moves to another transformer",
        examples=[11.930847],
    )
    most_v: Rounded6 | None = Field(
        description="the most volts that it then gets; null where it moves to another transformer",
        examples=[12.31],
    )


class WorstLampResponse(ResponseModel):
    """The light with the fewest volts in proportion, once a proposal is carried out."""

    node: NodeName
    name: str = Field(description="what it is called", examples=["Low hats along the path"])
    volts: Rounded6 = Field(description="volts that it then gets", examples=[11.930847])


class ProposalResponse(ResponseModel):
    """Changes after which no error is left that cables or taps can mend, computed."""

    number: int = Field(description="its number, from 1: what it is applied by", examples=[1])
    kind: ChangeKind = Field(description="the greatest of its changes")
    words: Words = Field(examples=["use the 13 V tap instead of 12 V"])
    changes: list[CableChangeResponse] = Field(description="what to do, one by one")
    buys: list[PurchaseResponse] = Field(description="the cable that it takes; none where none is needed")
    cost: CostResponse = Field(description="what it costs")
    margins: MarginsResponse = Field(description="what it keeps to spare")
    worst: WorstLampResponse = Field(description="the light that then gets the fewest volts in proportion")
    lights: list[LightAfterResponse] = Field(description="every light on a cable, with its volts afterwards")
    warnings: list[str] = Field(
        description="warnings that it brings", examples=[["12.9 V at “hub” is above the highest of 12.6 V"]]
    )
    remains: list[str] = Field(description="errors that stay", examples=[["the load is 112 % of the rating"]])


class ProposalsResponse(ResponseModel):
    """What would mend the errors of one transformer."""

    transformer: str = Field(description="id of the transformer in the site file", examples=["house"])
    proposals: list[ProposalResponse] = Field(
        description="changes that mend the errors: those without new warnings first, then by their cost"
    )
