"""What the journal records, as values: switchings, events, overrides, replacements; and runs made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from config.models.site import Site
from controller.records.reading import Reading


class Cause(StrEnum):
    """Why a relay is, or was switched, as it is."""

    PROGRAM = "program"
    SPECIAL_NIGHT = "special night"
    OVERRIDE = "override"
    CLOCK_NOT_TRUSTED = "clock not trusted"
    OUT_OF_SERVICE = "out of service"
    POWER_LOST = "power lost"
    STOPPED = "stopped"
    SITE_CHANGED = "site changed"
    RELAY_FAULT = "relay fault"


class EventKind(StrEnum):
    """What else happened that a person may ask about later."""

    STARTED = "started"
    STOPPED = "stopped"
    POWER_LOST = "power lost"
    DIED = "ended without warning"
    CLOCK_STEPPED = "clock stepped"
    CLOCK_TRUSTED = "clock trusted"
    CLOCK_CONFIRMED = "clock confirmed"
    CLOCK_NOT_TRUSTED = "clock not trusted"
    RESUMED = "resumed"
    SITE_CHANGED = "site changed"
    SITE_REFUSED = "site refused"
    PROGRAM = "program"
    RELAY_FAULT = "relay fault"
    RELAY_RECOVERED = "relay recovered"
    JOURNAL_FAULT = "journal fault"
    JOURNAL_RECOVERED = "journal recovered"
    JOURNAL_SET_ASIDE = "journal set aside"
    JOURNAL_REPLACED = "journal replaced"
    REPLACEMENT = "replacement"
    ACCESS_GIVEN = "access given"
    ACCESS_REVOKED = "access revoked"
    ACCESS_REFUSED = "access refused"


@dataclass(frozen=True, kw_only=True, slots=True)
class Switching:
    """One change of one relay.

    Attributes:
        words: the cause in words; no instants in them, so that equal reasons stay equal.
        load_w: rated load of the zone at that time in watts, None where not known.
        load_from: where that figure comes from: "fixtures", "rated", "measured", "".
    """

    zone: str
    at: Reading
    on: bool
    cause: Cause
    words: str
    load_w: float | None = None
    load_from: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Something that happened beside the switchings; ``size_s`` is the length of a step or a gap."""

    kind: EventKind
    at: Reading
    words: str
    zone: str | None = None
    size_s: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Override:
    """A person's "on" or "off" for now.

    Attributes:
        ends_at_utc: the instant at which it ends; None where it ends after ``lasts_s`` or with the
            program's next change.
        lasts_s: seconds after which it ends, measured on the boot-time clock; None otherwise.
    """

    zone: str
    on: bool
    placed_at: Reading
    ends_at_utc: datetime | None = None
    lasts_s: float | None = None
    by: str = "api"


@dataclass(frozen=True, kw_only=True, slots=True)
class OverrideEnded:
    """The end of an override, and why it ended."""

    zone: str
    at: Reading
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Heartbeat:
    """A sign that the daemon runs while something is lit; bounds what a power cut can lose."""

    at: Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class Replacement:
    """The lamps of one fixture, or the relay of a zone, replaced on a date; a date has one for each part.

    Attributes:
        part: the fixture's id, or "relay". Digits are the fixture's place in its zone, from 1: so it was
            recorded before fixtures had ids.
    """

    zone: str
    part: str
    on_date: date
    at: Reading
    note: str = ""

    @property
    def id(self) -> str:
        """What names it, such as ``jetty.steps.2027-04-15``."""
        return f"{self.zone}.{self.part}.{self.on_date}"


@dataclass(frozen=True, kw_only=True, slots=True)
class ReplacementUndone:
    """A replacement is taken back, as it was none."""

    zone: str
    part: str
    on_date: date
    at: Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class FixtureIds:
    """What fixtures are called, each by its zone and its place from 1.

    A replacement that was recorded for the place belongs to that fixture from then on, wherever it stands.
    """

    ids: Mapping[tuple[str, int], str]

    @classmethod
    def of(cls, site: Site) -> FixtureIds:
        """Name the fixtures of a site that have an id, for their zones under all names that these had."""
        return cls(
            ids={
                (zone_id, place): fixture.id
                for zone in site.zones
                for zone_id in (zone.id, *zone.formerly)
                for place, fixture in enumerate(zone.fixtures, start=1)
                if fixture.id is not None
            }
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteRecord:
    """What the site was from an instant on, as `controller.history.site_facts` writes it."""

    at: Reading
    text: str


Entry = (
    Switching
    | Event
    | Override
    | OverrideEnded
    | Heartbeat
    | Replacement
    | ReplacementUndone
    | FixtureIds
    | SiteRecord
)
