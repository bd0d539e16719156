"""What the JSON of the wiring consists of. Lengths are in metres; a number that is not known is null."""

from typing import Literal

from pydantic import AliasChoices, Field

from api.render.model import Origin, ResponseModel, SiteName, ZoneId
from api.render.wiring.diagnosis_model import DiagnosisResponse
from api.render.wiring.fields import (
    Gauge,
    Level,
    NodeName,
    Rounded2,
    Rounded3,
    Rounded4,
    Rounded6,
    TextOrNull,
    Words,
)
from api.render.wiring.proposal_model import ProposalResponse
from config.errors import Severity
from controller.design.path_lights import PathSide
from controller.design.placement import Target
from controller.inspection.findings import Topic


class ZoneLoadResponse(ResponseModel):
    """What one zone asks of its transformer."""

    zone: ZoneId
    name: str = Field(description="what the zone is called", examples=["Front path"])
    lights: int = Field(description="how many lights it has", examples=[13])
    rated_w: float | None = Field(
        description="its rated load in watts; null where it is not in the file", examples=[48.5]
    )
    rated_by: Origin | None = Field(
        description="where that number comes from; null where not known", examples=["fixtures"]
    )
    alone_va: Rounded3 | None = Field(
        description="VA with this zone lit alone, its cables included, warm or cool, whichever is more; null"
        " where not known",
        examples=[56.461],
    )
    alone_w: Rounded3 | None = Field(
        description="watts with this zone lit alone, its cables included; null where not known",
        examples=[51.072],
    )
    on_cables: bool = Field(description="whether the cables to all its lights are known")


class TransformerLoadResponse(ResponseModel):
    """Everything lit."""

    va: Rounded3 = Field(description="the load in VA", examples=[205.541])
    rated_va: float = Field(description="the rating in VA", examples=[300.0])
    part: Rounded4 = Field(description="the load as a part of the rating", examples=[0.6851])
    line_va: float = Field(description="80 % of the rating, in VA", examples=[240.0])
    left_va: Rounded3 = Field(
        description="VA that are left up to that line; below zero above it", examples=[34.459]
    )
    zones: list[ZoneLoadResponse] = Field(description="what each zone asks of it")


class CableResponse(ResponseModel):
    """One piece of cable, from the transformer outwards."""

    begins: NodeName = Field(
        serialization_alias="from",
        validation_alias=AliasChoices("from", "begins"),
        description="node nearer to the transformer",
    )
    to: NodeName = Field(description="node at its far end")
    gauge: Gauge
    length_m: Rounded4 = Field(description="its length in metres", examples=[3.048])
    amperes: Rounded4 | None = Field(
        description="current through it in A, everything lit; null where it cannot be computed",
        examples=[4.3922],
    )
    backwards: bool | None = Field(
        description="whether the current flows from its far end, as in a ring; null where it cannot be"
        " computed",
        examples=[False],
    )
    limit_a: float = Field(description="the current that it is allowed to carry, in A", examples=[20.0])
    drop_v: Rounded6 | None = Field(
        description="volts lost along it; null where it cannot be computed", examples=[0.173932]
    )
    loss_w: Rounded4 | None = Field(
        description="watts lost in it; null where it cannot be computed", examples=[0.7639]
    )
    volts: Rounded6 | None = Field(
        description="volts at its far end, everything lit; null where it cannot be computed",
        examples=[12.826068],
    )


class LightResponse(ResponseModel):
    """One light, or equal lights at one node."""

    zone: ZoneId
    fixture: int | None = Field(
        description="its place among the zone's fixtures, from 1; null where these are not listed",
        examples=[1],
    )
    number: int = Field(description="its place among the fixture's lights, from 1", examples=[1])
    kind: str | None = Field(description="of fixture; null where not known", examples=["path"])
    name: str | None = Field(
        description="of its fixture; null where it has none", examples=["Low hats along the path"]
    )
    node: str | None = Field(
        description="node that it is on; null where its cable is not known", examples=["front-path 1"]
    )
    count: int = Field(description="how many equal lights this is", examples=[1])
    watts: float = Field(description="rated watts of one of them", examples=[4.5])
    lamp: Literal["led", "filament"] | None = Field(
        description="what gives the light; null where its cable is not known", examples=["led"]
    )
    driver: Literal["regulated", "linear", "resistor"] | None = Field(
        description="of an LED: how its current follows the volts; null for a filament",
        examples=["regulated"],
    )
    volts: Rounded6 | None = Field(
        description="the fewest volts that it gets: everything lit, cable at copper_c; null where not known",
        examples=[12.826068],
    )
    most_v: Rounded6 | None = Field(
        description="the most volts that it gets: its zone lit alone on cool cable, with 10 % of regulation "
        "where that of the transformer is not in the file; null where not known",
        examples=[12.914],
    )
    range_v: list[Rounded4] | None = Field(
        description="lowest and highest volts that it is allowed; null where not known",
        examples=[[10.0, 15.0]],
    )
    range_stated: bool | None = Field(
        description="whether that is read off its plate; null where not known", examples=[True]
    )
    amperes: Rounded6 | None = Field(
        description="current through one light in A; null where not known", examples=[0.350848]
    )
    light: Rounded4 | None = Field(
        description="of a filament: part of its rated light; null for an LED", examples=[0.8871]
    )
    life: Rounded4 | None = Field(
        description="of a filament: its life as a multiple of the rated one; null for an LED",
        examples=[1.6312],
    )
    drops_out: bool | None = Field(
        description="whether a regulated driver is below its range; null where not known", examples=[False]
    )
    measured_v: float | None = Field(
        description="volts measured at it; null where none were", examples=[12.7]
    )


class ReadingResponse(ResponseModel):
    """One reading and what was computed."""

    node: NodeName
    zone: ZoneId
    measured_v: float = Field(description="volts that were read", examples=[11.2])
    cool_v: Rounded6 = Field(description="volts computed with cool cable", examples=[12.091])
    warm_v: Rounded6 = Field(description="volts computed with warm cable", examples=[11.938])
    beyond_v: Rounded6 = Field(
        description="volts outside both and the meter's tolerance, above zero where it is too high; 0 where "
        "it agrees",
        examples=[-0.638],
    )


class MeasuredVoltsResponse(ResponseModel):
    """All readings of one circuit."""

    agrees: bool = Field(description="whether every reading agrees with what was computed")
    readings: list[ReadingResponse] = Field(
        validation_alias=AliasChoices("readings", "differences"), description="reading by reading"
    )


class CircuitResponse(ResponseModel):
    """Everything on one tap and common."""

    node: NodeName = Field(description="node that the tap feeds")
    tap_v: float | None = Field(description="volts of the tap; null where not known", examples=[13.0])
    common: int = Field(description="which of the transformer's commons, from 1", examples=[1])
    feed_v: Rounded6 | None = Field(
        description="volts at the transformer, everything lit; null where they cannot be computed",
        examples=[13.04],
    )
    measured_tap_v: float | None = Field(
        description="volts measured at the tap; null where none were", examples=[13.1]
    )
    solved: bool = Field(description="whether volts and currents could be computed", examples=[True])
    why_not: str | None = Field(
        description="why there are none; null where there are",
        examples=["the volts collapse: the load is too much for the cable"],
    )
    amperes: Rounded4 | None = Field(
        description="current from the tap in A, everything lit; null where not known", examples=[10.9633]
    )
    cable_loss_w: Rounded4 | None = Field(
        description="watts lost in all its cables; null where not known", examples=[8.6335]
    )
    cables: list[CableResponse] = Field(description="its pieces of cable, from the tap outwards")
    lights: list[LightResponse] = Field(description="its lights")
    measured: MeasuredVoltsResponse | None = Field(
        description="readings beside what was computed; null where none were taken"
    )


class FindingResponse(ResponseModel):
    """One finding."""

    level: Severity = Field(description="how much it matters")
    topic: Topic = Field(description="what it is about")
    circuit: TextOrNull = Field(
        validation_alias=AliasChoices("circuit", "feed"),
        description="node of the tap that it belongs to; null for the whole transformer",
        examples=["house"],
    )
    place: str = Field(description="transformer, zone, node or cable that it is about", examples=["facade 1"])
    value: Rounded6 = Field(description="what was found, in the unit below", examples=[205.541])
    limit: Rounded6 = Field(description="what it is held against, in the unit below", examples=[240.0])
    unit: str = Field(description="unit of both", examples=["VA"])
    source: str = Field(description="who sets the limit", examples=["NEC 210.20(A), 80 % of the rating"])
    words: Words
    remedy: TextOrNull = Field(
        description="what to do; null where it is ok", examples=["move a zone to another transformer"]
    )


class RuleOfThumbResponse(ResponseModel):
    """The rule of thumb and the calculation."""

    circuit: NodeName = Field(description="node of the tap")
    farthest_m: Rounded3 = Field(
        description="metres of cable from the tap to the farthest light", examples=[39.624]
    )
    thinnest_mm2: float = Field(
        description="copper of the thinnest cable on the ways to lights, in mm²", examples=[2.081]
    )
    rated_part: Rounded4 = Field(description="watts of the lights as a part of the rating", examples=[0.6083])
    rule_kept: bool = Field(description="whether the rule of thumb is kept")
    every_lamp_in_range: bool = Field(description="whether every lamp gets the volts that it is allowed")
    words: Words


class MeasuredWattsResponse(ResponseModel):
    """Measured and computed watts of a zone."""

    zone: ZoneId
    measured_w: float = Field(description="watts that were measured", examples=[48.0])
    computed_w: Rounded3 = Field(description="watts that were computed", examples=[51.072])
    agrees: bool = Field(description="whether the two agree")
    words: Words


class TransformerWiringResponse(ResponseModel):
    """One transformer and all that hangs on it."""

    id: str = Field(description="id of the transformer in the site file", examples=["house"])
    name: str = Field(description="what it is called", examples=["House, north wall"])
    level: Level
    load: TransformerLoadResponse = Field(
        description="its load with everything lit, on warm or cool cable, whichever is more"
    )
    taps_v: list[float] = Field(description="volts of all its taps", examples=[[12.0, 13.0, 14.0, 15.0]])
    relay_side: Literal["mains", "low voltage"] = Field(description="which side of it the relays switch")
    circuits: list[CircuitResponse] = Field(description="everything on each tap in use")
    findings: list[FindingResponse] = Field(description="what was checked, with the result")
    advice: list[ProposalResponse] = Field(
        description="changes that mend the errors: those without new warnings first, then by their cost"
    )
    rule_of_thumb: list[RuleOfThumbResponse] = Field(description="the trade's rule beside the calculation")
    diagnosis: DiagnosisResponse | None = Field(
        description="faults that would explain the measured volts; null where none were measured"
    )
    measured_watts: list[MeasuredWattsResponse] = Field(description="measured watts beside computed ones")
    unknown: list[str] = Field(
        description="what is not known, and why",
        examples=[["the volts of facade: its cable is not in the file"]],
    )


class WiringResponse(ResponseModel):
    """The wiring of a site."""

    site: SiteName
    level: Level
    copper_c: float = Field(
        description="temperature of the copper in the cables that is assumed, in °C", examples=[75.0]
    )
    transformers: list[TransformerWiringResponse] = Field(description="each transformer that was asked about")
    unknown: list[str] = Field(
        description="what is not known of the site as a whole",
        examples=[["the site has no [[transformers]] table, so its load and wiring are not known"]],
    )


class PlacementResponse(ResponseModel):
    """Lights for one object."""

    object: Target = Field(description="what is to be lit")
    height_m: Rounded4 | None = Field(description="its height in metres; null for a path", examples=[2.1336])
    spread_m: Rounded4 = Field(
        description="its width, or its length where it is long, in metres", examples=[1.524]
    )
    width_m: Rounded4 | None = Field(
        description="of a path, in metres; null for anything else", examples=[1.2192]
    )
    spread_taken: bool = Field(description="whether the usual width was taken, as none was given")
    kind: Literal["spot", "wash", "path"] = Field(description="kind of fixture", examples=["spot"])
    lights: int = Field(description="how many lights", examples=[1])
    out_m: Rounded4 = Field(
        description="metres to each light from the crown's edge, the face, the front or the edge of the path",
        examples=[0.6565],
    )
    from_middle_m: Rounded4 | None = Field(
        description="metres to each light from the trunk or the middle; null for a long object",
        examples=[1.4185],
    )
    around_deg: list[Rounded4] = Field(
        description="where they stand around it, in degrees from the viewer's side; empty for a long object",
        examples=[[0.0]],
    )
    along_m: list[Rounded4] = Field(
        description="where they stand along it, in metres from its beginning; empty unless it is long",
        examples=[[0.9, 2.7]],
    )
    side: PathSide | None = Field(
        description="on which side of a path they stand; null for anything else", examples=["alternating"]
    )
    tilt_deg: Rounded4 = Field(
        description="degrees above the level that they are aimed at; 0 for a path", examples=[44.9]
    )
    beam_deg: Rounded4 = Field(
        description="the narrowest usual beam that covers it from foot to top, in degrees; 0 for a path",
        examples=[60.0],
    )
    lux: Rounded2 = Field(
        description="lx where they are aimed, on an upright face turned to them; of a path the mean",
        examples=[15.0],
    )
    least_lux: Rounded2 = Field(description="lx in the darkest place of it", examples=[5.87])
    most_lux: Rounded2 = Field(description="lx in the brightest place of it", examples=[37.84])
    surroundings_lux: float = Field(description="lx that its surroundings are taken to have", examples=[3.0])
    candela: Rounded2 = Field(
        description="cd of one light in the middle of its beam; of a path light, all around below its hat",
        examples=[85.54],
    )
    lumens: Rounded2 = Field(description="lm of one light", examples=[92.51])
    led_w: float | None = Field(
        description="watts of the usual LED lamp that gives them; null where none does", examples=[1.5]
    )
    halogen_w: float | None = Field(
        description="watts of the usual halogen lamp that gives them; null where none does", examples=[10.0]
    )
    warnings: list[str] = Field(
        description="what will not look right, and what to do",
        examples=[["7 lx beside surroundings of 5 lx: it hardly stands out; aim at 10 lx or more"]],
    )
    common_practice: list[str] = Field(
        description="what of it is common practice, without a source",
        examples=[["a small tree: one or two spots"]],
    )
    geometry: list[str] = Field(
        description="what of it is computed",
        examples=[["aimed at 1.4 m up from 1.4 m away: 45° above the level"]],
    )
