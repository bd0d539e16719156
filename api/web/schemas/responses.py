"""What the web server answers, as models: the shape of each answer, and what each field means."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

Instant = Annotated[
    str, WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2027-06-22T00:56:40Z"]})
]
NightDate = Annotated[str, WithJsonSchema({"type": "string", "format": "date", "examples": ["2027-06-21"]})]
SpanText = Annotated[str, Field(examples=["dusk to midnight"])]


class Answer(BaseModel):
    """The base of every answer: it never changes, and has no field that is not written down here."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class HealthAnswer(Answer):
    """The keeper is making its rounds."""

    status: str = Field("ok", description="always “ok”; a keeper that is late is a problem document")
    last_round_s: float = Field(description="seconds since the last round")
    lit: int = Field(description="how many zones are lit")


class ClockAnswer(Answer):
    """What time it is here, and whether to believe it."""

    now: Instant
    trusted: bool = Field(description="whether the program is followed; if not, nothing is lit by guesswork")
    because: str = Field(description="why it is or is not believed")
    since: Instant = Field(description="since when, by the clock as it is now")


class KeeperAnswer(Answer):
    """The keeper itself."""

    started_at: Instant
    last_round: Instant
    summary: str = Field(description="the state of everything in one line")


class JournalAnswer(Answer):
    """How the journal is doing; the lights do not depend on it."""

    waiting: int = Field(description="entries not written yet")
    lost: int = Field(description="entries given up because too many waited")
    fault: str | None = Field(description="why it cannot be written now; null while it can")


class SiteFileAnswer(Answer):
    """The site file on disk, beside the site that is kept."""

    refused: str | None = Field(description="why the last changed file was not taken; null where it was")


class TimeZoneAnswer(Answer):
    """The site's time zone, and the edition of the world's rules that answers for it."""

    name: str = Field(examples=["America/New_York"])
    rules: str = Field(examples=["2026f, from the package tzdata"])


class DecisionAnswer(Answer):
    """What a zone must be now, because of what, and until when."""

    on: bool
    cause: str = Field(description="what decided, in a word", examples=["program"])
    because: str = Field(description="the same in words", examples=["dusk to midnight, every night"])
    until: Instant | None = Field(description="when this ends; null where that is not known")


class FaultAnswer(Answer):
    """A relay that does not do what it is told."""

    because: str
    since: Instant
    tries: int = Field(description="failed tries so far; it goes on trying")


class OverrideAnswer(Answer):
    """A person's wish for now."""

    light: str = Field(description="“on” or “off”")
    until: Instant | None = Field(description="when it ends; null while the clock is not trusted")
    lasts_s: float | None = Field(description="seconds that are left; null where that cannot be told yet")
    placed_at: Instant
    by: str = Field(description="who asked", examples=["api"])


class ZoneInShort(Answer):
    """One zone in the overview."""

    id: str
    name: str
    lit: bool = Field(description="what was read back from the relay last")
    decision: DecisionAnswer | None = Field(description="null until the keeper's first round with this zone")
    override: OverrideAnswer | None
    fault: FaultAnswer | None


class StatusAnswer(Answer):
    """Everything at a glance."""

    site: str
    time_zone: TimeZoneAnswer
    clock: ClockAnswer
    keeper: KeeperAnswer
    zones: list[ZoneInShort]
    journal: JournalAnswer
    site_file: SiteFileAnswer


class ZonesAnswer(Answer):
    """Every zone of the site, in the order of the site file."""

    site: str
    zones: list[ZoneInShort]


class LoadAnswer(Answer):
    """What a zone draws, and where the figure comes from."""

    watts: float | None = Field(description="all lamps of the zone together; null where nobody said")
    origin: str | None = Field(description="“measured”, “fixtures” or “rated”; null where nobody said")


class SpecialNightAnswer(Answer):
    """Nights that differ; no span at all means dark."""

    nights: str = Field(examples=["Fri, Sat"])
    program: list[SpanText]


class WindowAnswer(Answer):
    """One stretch of light: from ``on`` up to, not including, ``off``."""

    on: Instant
    off: Instant
    span: str = Field(description="the span, or the spans, that it comes from")


class NightAnswer(Answer):
    """What one zone does in one night."""

    night: NightDate = Field(description="the date on which the night begins, at noon")
    zone: str
    windows: list[WindowAnswer] = Field(description="empty for a dark night")
    because: str = Field(description="“every night”, the special night, or what made it dark")


class NightsAnswer(Answer):
    """Night after night, and in each the zones."""

    site: str
    nights: list[NightAnswer]


class ZoneAnswer(ZoneInShort):
    """One zone in full."""

    transformer: str | None
    pin: int = Field(description="BCM number of the header pin")
    rated_load: LoadAnswer
    totals_since: Instant | None = Field(description="by the clock as it is now; null while it is dark")
    out_of_service: str | None = Field(description="why it is never lit; null where it is in service")
    program: list[SpanText]
    special_nights: list[SpecialNightAnswer]
    tonight: NightAnswer = Field(description="by the site file alone")


class WhyAnswer(DecisionAnswer):
    """Lit or dark at an instant, because of what, until when."""

    site: str
    zone: str
    at: Instant
    basis: str = Field(description="“keeper” for what is in force; “site file” for any other instant")
    note: str = Field(description="what that means")


class SwitchingAnswer(Answer):
    """One change of one relay."""

    at: Instant
    zone: str
    on: bool
    cause: str
    because: str
    trusted: bool = Field(description="whether the clock was to be believed then")
    load_w: float | None = Field(description="rated load at that time in watts; null where nobody said")
    load_from: str | None = Field(description="where that figure came from")


class SwitchingsAnswer(Answer):
    """Changes of relays, the newest first."""

    site: str
    switchings: list[SwitchingAnswer]
    next: str | None = Field(description="where the older ones are; null where these were the last")


class RouteAnswer(Answer):
    """One thing that can be asked or done here."""

    method: str
    path: str
    does: str


class IndexAnswer(Answer):
    """What there is to ask and to do."""

    site: str
    routes: list[RouteAnswer]


class ProblemKindAnswer(Answer):
    """One kind of problem: what it means, and what would do."""

    type: str
    title: str
    status: int
    remedy: str
