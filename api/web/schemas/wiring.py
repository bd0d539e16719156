"""What the web server answers about the wiring, as models: the same JSON as the command line prints."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from api.web.schemas.responses import Answer

Levels = Literal["ok", "warning", "error"]


class ZoneLoadAnswer(Answer):
    """What one zone asks of its transformer."""

    zone: str
    name: str
    lights: int
    rated_w: float | None = Field(description="by its papers; null where nobody said")
    rated_by: str | None = Field(description="“measured”, “fixtures” or “rated”")
    alone_va: float | None = Field(description="with this zone lit alone, its cables included")
    alone_w: float | None
    on_cables: bool = Field(description="whether the cables to all its lights are known")


class TransformerLoadAnswer(Answer):
    """Everything lit."""

    va: float
    rated_va: float
    part: float = Field(description="of the rating")
    line_va: float = Field(description="80 % of the rating")
    left_va: float = Field(description="up to that line; below zero above it")
    zones: list[ZoneLoadAnswer]


class CableAnswer(Answer):
    """One piece of cable, from the transformer outwards."""

    begins: str = Field(alias="from")
    to: str
    gauge: str
    length_m: float
    amperes: float | None
    limit_a: float = Field(description="what it may carry")
    drop_v: float | None
    loss_w: float | None
    volts: float | None = Field(description="at its far end, everything lit")


class LightAnswer(Answer):
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
    volts: float | None = Field(description="everything lit, cable at the wiring's temperature: the fewest")
    most_v: float | None = Field(description="its zone lit alone on cool cable: the most")
    range_v: list[float] | None = Field(description="what it bears")
    range_stated: bool | None = Field(description="whether that is read off its plate")
    amperes: float | None = Field(description="through one light")
    light: float | None = Field(description="of a filament: part of its rated light")
    life: float | None = Field(description="of a filament: part of its rated life")
    drops_out: bool | None = Field(description="whether a regulated driver is below its range")
    measured_v: float | None


class ReadingAnswer(Answer):
    """One reading beside what was computed."""

    node: str
    zone: str
    measured_v: float
    cool_v: float
    warm_v: float
    beyond_v: float = Field(description="outside both and the meter's tolerance; 0 where it agrees")


class SuggestionAnswer(Answer):
    """A fault that would explain every reading."""

    fault: str
    places: list[str]
    words: str


class MeasuredVoltsAnswer(Answer):
    """All readings of one circuit."""

    agrees: bool
    readings: list[ReadingAnswer]
    suggests: list[SuggestionAnswer]


class CircuitAnswer(Answer):
    """Everything on one tap."""

    node: str
    tap_v: float | None
    measured_tap_v: float | None
    solved: bool
    why_not: str | None = Field(description="why there are no volts; null where there are")
    amperes: float | None
    cable_loss_w: float | None
    cables: list[CableAnswer]
    lights: list[LightAnswer]
    measured: MeasuredVoltsAnswer | None


class FindingAnswer(Answer):
    """One finding."""

    level: Levels
    topic: str
    circuit: str | None
    place: str
    value: float
    limit: float
    unit: str
    source: str = Field(description="who sets the limit")
    words: str
    remedy: str | None = Field(description="what would do")


class PurchaseAnswer(Answer):
    """Cable to buy for a proposal."""

    gauge: str
    length_m: float


class WorstAnswer(Answer):
    """The light with the fewest volts in proportion, once a proposal is carried out."""

    node: str
    name: str
    volts: float


class ProposalAnswer(Answer):
    """A change after which nothing is wrong there, solved."""

    kind: str
    words: str
    buys: list[PurchaseAnswer]
    copper_kg: float
    tap_v: float | None
    worst: WorstAnswer
    warnings: list[str] = Field(description="what it makes doubtful")
    remains: list[str] = Field(description="what is wrong elsewhere all the same")


class RuleAnswer(Answer):
    """The trade's rule of thumb beside the truth."""

    circuit: str
    farthest_m: float
    thinnest_mm2: float
    rated_part: float
    rule_kept: bool
    every_lamp_in_range: bool
    words: str


class MeasuredWattsAnswer(Answer):
    """Measured watts of a zone beside computed ones."""

    zone: str
    measured_w: float
    computed_w: float
    agrees: bool
    words: str


class TransformerWiringAnswer(Answer):
    """One transformer and all that hangs on it."""

    id: str
    name: str
    level: Levels
    load: TransformerLoadAnswer
    taps_v: list[float]
    relay_side: str
    circuits: list[CircuitAnswer]
    findings: list[FindingAnswer]
    advice: list[ProposalAnswer]
    rule_of_thumb: list[RuleAnswer]
    measured_watts: list[MeasuredWattsAnswer]
    unknown: list[str] = Field(description="what cannot be told, and why")


class WiringAnswer(Answer):
    """The wiring of a site."""

    site: str
    level: Levels
    copper_c: float
    transformers: list[TransformerWiringAnswer]
    unknown: list[str]


class PlacingAnswer(Answer):
    """Lights for one object."""

    object: str
    height_m: float
    spread_m: float
    spread_taken: bool = Field(description="whether its width was taken as usual")
    kind: str = Field(description="of fixture")
    lights: int
    out_m: float
    around_deg: list[float]
    along_m: list[float]
    tilt_deg: float
    beam_deg: float
    candela: float | None
    lux: float | None
    common_practice: list[str] = Field(description="what of it is common practice, without a source")
    geometry: list[str] = Field(description="what of it is computed")
