"""What a site is: the models of the site file, one for each of its tables.

Each table checks its own values here. What concerns several tables at once (an id that occurs twice, a
transformer that does not exist) is checked in config.validation.document when a file is read.
"""

from collections.abc import Container, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from config.errors import UnknownZoneError
from config.models.base import (
    FixtureId,
    Id,
    Loss,
    Name,
    NightsText,
    Number,
    Share,
    SpanText,
    Table,
    Volts,
    Watts,
    Words,
)
from config.models.cables import Cable, TappedTransformer, WiredFixture, WiringSettings
from config.models.contacts import Customer, Installer
from config.models.network import NetworkSettings
from config.models.tariff import Tariff
from config.phrase import Phrase

# Keys of the [site] table; every other field of Site is a table of its own. A new one goes in both places.
SITE_KEYS = ("name", "latitude", "longitude", "time_zone", "dusk_angle")

# Sunset is at 50 arc minutes (facts of refraction and semidiameter, US Naval Observatory); dusk is later.
LEAST_DUSK_ANGLE_DEG = 0.84
# Beyond astronomical twilight (18 degrees) the sky gets no darker.
GREATEST_DUSK_ANGLE_DEG = 18.0
# Electrical endurance of a small power relay at rated resistive load: from memory of usual data sheets, no
# source at hand. Lamp and transformer inrush wear contacts faster; the data sheet of the relay decides.
RELAY_CYCLES = 100_000
# The most of a rating that a load of three hours or more may take, 1 ÷ 1.25: NEC 210.19(A)(1), 210.20(A),
# 215.2 and 215.3 ask for 125 % of such a load.
CONTINUOUS_SHARE = 0.8
# What a person writes is far less. Every night is planned from all of them, also while lights are switched.
MOST_SPANS, MOST_SPECIAL_NIGHTS = 96, 100
# GPIO lines on the 40-pin header in BCM numbers; 0 and 1 are there but kept for an add-on board's memory.
FIRST_PIN, LAST_PIN = 2, 27


@dataclass(frozen=True, kw_only=True, slots=True)
class RatedLoad:
    """What all lamps of a zone draw together, and where that is from; None and "" where not known."""

    watts: float | None
    origin: Literal["fixtures", "rated", "measured", ""]


class RelayContact(Table):
    """What the data sheet of a relay says of its contact."""

    contact_a: Number | None = Field(
        None,
        gt=0,
        le=100,
        description=Phrase("the amperes that the relay's contact is rated for, such as 10"),
    )
    contact_inrush_a: Number | None = Field(
        None,
        gt=0,
        le=2000,
        description=Phrase(
            "the amperes that the contact can take for a moment, from its data sheet, such as 80"
        ),
    )
    contact_load: Literal["resistive", "lamps"] = Field(
        "resistive", description=Phrase("the load that contact_a is stated for: “resistive” or “lamps”")
    )


class RelaySettings(RelayContact):
    """The relay board, and how gently it is used."""

    board: Literal["simulated", "gpio"] = Field("simulated", description=Phrase("“simulated” or “gpio”"))
    driver: Literal["gpiozero", "gpiod"] | None = Field(None, description=Phrase("“gpiozero” or “gpiod”"))
    chip: str | None = Field(
        None,
        pattern=r"^/dev/[A-Za-z0-9][A-Za-z0-9._/-]*$",
        max_length=100,
        description=Phrase("the device of a GPIO chip, such as “/dev/gpiochip0”"),
    )
    rest_s: Number = Field(
        2.0, ge=0, le=60, description=Phrase("the seconds between two switchings of one relay, 0 to 60")
    )
    stagger_s: Number = Field(
        0.5, ge=0, le=30, description=Phrase("the seconds between zones that come on together, 0 to 30")
    )
    endurance_cycles: int = Field(
        RELAY_CYCLES,
        ge=1,
        le=1_000_000_000,
        description=Phrase("how often a relay can switch its load, from its data sheet, such as 100000"),
    )

    @property
    def hardware(
        self,
    ) -> tuple[Literal["simulated", "gpio"], Literal["gpiozero", "gpiod"] | None, str | None]:
        """The board, and what its pins are driven with: driver and chip count for real pins alone."""
        return (self.board, self.driver, self.chip) if self.board == "gpio" else (self.board, None, None)


class ClockSettings(Table):
    """When the board's clock is believed."""

    believe: Literal["synchronised", "always"] = Field(
        "synchronised", description=Phrase("“synchronised” (once a time server has set it) or “always”")
    )


class NamedTable(Table):
    """A table with an id, and a name that is the id where none is given."""

    id: Id
    name: Name = ""

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401 (pydantic's own signature)
        """Fill in the name while the table is being made, the one moment at which it may still change."""
        if not self.name:
            object.__setattr__(self, "name", self.id)


class Transformer(NamedTable, TappedTransformer):
    """Steps the mains down for some zones."""

    rated_va: Watts = Field(description=Phrase("its rating in VA, over 0 up to 3000, such as 200"))
    efficiency: Share | None = Field(
        None, description=Phrase("what it gives over what it takes while lit, over 0 up to 1, such as 0.88")
    )
    no_load_w: Loss | None = Field(None, description=Phrase("the watts it takes with nothing lit, such as 6"))
    copper_w: Loss | None = Field(
        None, description=Phrase("the watts its windings lose at the rated load, such as 9")
    )
    mains_volts: Number | None = Field(
        None, ge=90, le=260, description=Phrase("the volts of the mains at its input, such as 120 or 230")
    )
    relay_side: Literal["low voltage", "mains"] = Field(
        "low voltage",
        description=Phrase(
            "“low voltage” where the relays are on its output, “mains” where they switch it off"
        ),
    )


class Fixture(WiredFixture):
    """One or more lamps of one kind, with their holders."""

    id: FixtureId | None = Field(
        None, description=Phrase("lower case letters, digits and hyphens, with a letter, such as steps-2")
    )
    formerly: tuple[FixtureId, ...] = Field(
        (), strict=False, description=Phrase('a list of the ids that it had earlier, such as ["steps"]')
    )
    kind: Literal[
        "spot", "wash", "path", "step", "well", "bollard", "string", "tape", "pendant", "underwater", "other"
    ] = Field(
        description=Phrase(
            "spot, wash, path, step, well, bollard, string, tape, pendant, underwater or other"
        )
    )
    name: Name = ""
    count: int = Field(ge=1, le=500, description=Phrase("how many there are, 1 to 500"))
    watts: Number = Field(
        gt=0, le=1000, description=Phrase("the watts of one lamp, over 0 up to 1000, such as 4.5")
    )
    rated_volts: Volts = Field(12.0, description=Phrase("the lamp's rated volts, over 0 up to 60"))
    lamp: Literal["led", "filament"] = Field("led", description=Phrase("“led” or “filament”"))
    rated_life_h: Number | None = Field(
        None, gt=0, le=1_000_000, description=Phrase("the lamp's rated life in hours, such as 25000")
    )
    fitted: date | None = Field(
        None, description=Phrase("the date of fitting without quotes, such as 2027-04-15")
    )


class SpecialNight(Table):
    """Nights on which a zone does something else, and what; no span at all means dark."""

    nights: NightsText = Field(
        description=Phrase(
            "weekdays such as “Fri, Sat”, a date such as “2027-12-31”, or a stretch such as “12-20 to 01-06”"
        )
    )
    program: tuple[SpanText, ...] = Field(
        (),
        strict=False,
        max_length=MOST_SPANS,
        description=Phrase('a list of at most 96 spans such as ["dusk to 01:30"], or [] for dark'),
    )


NO_REASON = Phrase("no reason given")


def _take_out_of_service(value: object) -> object:
    if isinstance(value, bool):
        return str(NO_REASON) if value else None
    return value


class Zone(NamedTable, RelayContact):
    """One relay and the fixtures that it switches."""

    formerly: tuple[Id, ...] = Field(
        (), strict=False, description=Phrase('a list of the ids that it had earlier, such as ["front-path"]')
    )
    transformer: Id | None = Field(None, description=Phrase("the id of one of the site's transformers"))
    pin: int = Field(ge=FIRST_PIN, le=LAST_PIN, description=Phrase("the BCM number of a header pin, 2 to 27"))
    active_high: bool = Field(
        default=False, description=Phrase("true where the relay closes on high, false where it closes on low")
    )
    program: tuple[SpanText, ...] = Field(
        strict=False,
        max_length=MOST_SPANS,
        description=Phrase('a list of at most 96 spans such as ["dusk to midnight"], or [] for dark'),
    )
    special_nights: tuple[SpecialNight, ...] = Field(
        (),
        strict=False,
        max_length=MOST_SPECIAL_NIGHTS,
        description=Phrase("at most 100 [[zones.special_nights]] tables"),
    )
    fixtures: tuple[Fixture, ...] = Field((), strict=False, description=Phrase("[[zones.fixtures]] tables"))
    rated_watts: Watts | None = Field(
        None, description=Phrase("the watts of the whole zone, over 0 up to 3000")
    )
    measured_watts: Watts | None = Field(
        None, description=Phrase("the watts measured on site, over 0 up to 3000")
    )
    out_of_service: Annotated[Words | None, BeforeValidator(_take_out_of_service)] = Field(
        None, description=Phrase("the reason in quotes, or true")
    )

    @property
    def most_windows(self) -> int:
        """The most windows that a night can have."""
        return max(map(len, (self.program, *(each.program for each in self.special_nights))))

    def node_of(self, fixture: Fixture, simple: Container[str]) -> str | None:
        """Name the node of a fixture: as it says, else the one of these lines and hubs with the zone's id."""
        return fixture.node if fixture.node is not None else (self.id if self.id in simple else None)

    @property
    def rated_load(self) -> RatedLoad:
        """What the zone draws: as measured, else the sum of its fixtures, else as rated, else not known."""
        if self.measured_watts is not None:
            return RatedLoad(watts=self.measured_watts, origin="measured")
        if self.fixtures:
            return RatedLoad(watts=sum(each.count * each.watts for each in self.fixtures), origin="fixtures")
        if self.rated_watts is not None:
            return RatedLoad(watts=self.rated_watts, origin="rated")
        return RatedLoad(watts=None, origin="")


# A settings table that is missing is read as an empty one: making it alone would build its model twice.
_EMPTY: dict[str, Any] = {"default_factory": dict, "validate_default": True}


class Site(Table):
    """One property: where it is, its transformers and its zones."""

    name: Name
    latitude_deg: Number = Field(
        alias="latitude",
        ge=-90,
        le=90,
        description=Phrase("degrees from -90 to 90, south negative, such as 41.4901"),
    )
    longitude_deg: Number = Field(
        alias="longitude", ge=-180, le=180, description=Phrase("degrees from -180 to 180, west negative")
    )
    time_zone: str = Field(
        description=Phrase('an area and a city such as "America/New_York" or "Europe/Oslo"')
    )
    dusk_angle_deg: Number = Field(
        6.0,
        alias="dusk_angle",
        ge=LEAST_DUSK_ANGLE_DEG,
        le=GREATEST_DUSK_ANGLE_DEG,
        description=Phrase("how many degrees the sun is below the horizon at dusk and dawn, 0.84 to 18"),
    )
    customer: Customer | None = Field(None, description=Phrase("a [customer] table"))
    installer: Installer | None = Field(None, description=Phrase("an [installer] table"))
    tariff: Tariff | None = Field(None, description=Phrase("a [tariff] table"))
    relays: RelaySettings = Field(**_EMPTY, description=Phrase("a [relays] table"))
    clock: ClockSettings = Field(**_EMPTY, description=Phrase("a [clock] table"))
    wiring: WiringSettings = Field(**_EMPTY, description=Phrase("a [wiring] table"))
    network: NetworkSettings = Field(**_EMPTY, description=Phrase("a [network] table"))
    transformers: tuple[Transformer, ...] = Field(
        (), strict=False, description=Phrase("[[transformers]] tables")
    )
    cables: tuple[Cable, ...] = Field((), strict=False, description=Phrase("[[cables]] tables"))
    zones: tuple[Zone, ...] = Field(strict=False, description=Phrase("at least one [[zones]] table"))

    def zone(self, zone_id: str) -> Zone:
        """Return the zone with that id, or raise UnknownZoneError."""
        for zone in self.zones:
            if zone.id == zone_id:
                return zone
        now = self.zone_id_now(zone_id)
        known = tuple(zone.id for zone in self.zones)
        raise UnknownZoneError(zone_id, known, now=None if now == zone_id else now)

    def zone_id_now(self, zone_id: str) -> str:
        """Return the id that a zone has now: the same, or that of the zone that had this one earlier."""
        return next((zone.id for zone in self.zones if zone_id in zone.formerly), zone_id)

    def transformer_of(self, zone: Zone) -> Transformer | None:
        """Return the transformer of a zone: the one it names, else the only one; None without any."""
        if zone.transformer is None:
            return self.transformers[0] if len(self.transformers) == 1 else None
        return next((each for each in self.transformers if each.id == zone.transformer), None)


def flatten_site(document: Mapping[str, object]) -> dict[str, object]:
    """Bring the keys of the [site] table to the top, where the Site model has them."""
    place = document.get("site")
    fields = {key: value for key, value in document.items() if key != "site"}
    return {**fields, **place} if isinstance(place, Mapping) else fields
