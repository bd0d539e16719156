"""What an account of the past needs to know of a site, as one line that the journal keeps and gives back."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Literal

from pydantic import TypeAdapter

from config.models.site import Site
from controller.energy.values import Losses, losses_of
from controller.wiring.losses import cable_losses


@dataclass(frozen=True, kw_only=True, slots=True)
class Supply:
    """What feeds a zone and what it draws.

    Attributes:
        losses: of its transformer.
        load_w: its rated load in watts; None where not known.
        cable_w: what its cables lose at that load.
    """

    losses: Losses
    load_w: float | None = None
    cable_w: Decimal = Decimal(0)


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedLamps:
    """The lamps of a fixture, as its table in the site file names them; ``volts`` is what they get."""

    kind: str
    count: int
    watts: float
    id: str | None = None
    name: str = ""
    lamp: Literal["led", "filament"] = "led"
    rated_volts: float = 12.0
    rated_life_h: float | None = None
    fitted: date | None = None
    volts: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteFacts:
    """Where a site is, when it is dark there, and what each of its zones has, by the zone's id.

    ``lamps`` are those of each fixture, in the order of the file; None where a journal was not told of them.
    """

    latitude_deg: float
    longitude_deg: float
    time_zone: str
    dusk_angle_deg: float
    supplies: Mapping[str, Supply]
    lamps: Mapping[str, tuple[FittedLamps, ...]] | None = None


_FACTS = TypeAdapter(SiteFacts)


def facts_of(site: Site) -> SiteFacts:
    """Give the facts of a site; its cables are solved, which may take some milliseconds."""
    cables = cable_losses(site)
    cable_w = cables.cable_w
    return SiteFacts(
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        time_zone=site.time_zone,
        dusk_angle_deg=site.dusk_angle_deg,
        supplies={
            zone.id: Supply(
                losses=losses_of(site, zone),
                load_w=zone.rated_load.watts,
                cable_w=cable_w.get(zone.id, Decimal(0)),
            )
            for zone in site.zones
        },
        lamps={
            zone.id: tuple(
                FittedLamps(
                    kind=fixture.kind,
                    count=fixture.count,
                    watts=float(fixture.watts),
                    id=fixture.id,
                    name=fixture.name,
                    lamp=fixture.lamp,
                    rated_volts=fixture.rated_volts,
                    rated_life_h=None if fixture.rated_life_h is None else float(fixture.rated_life_h),
                    fitted=fixture.fitted,
                    volts=cables.volts.get((zone.id, number)),
                )
                for number, fixture in enumerate(zone.fixtures, start=1)
            )
            for zone in site.zones
        },
    )


def format_facts(facts: SiteFacts) -> str:
    """Write facts as JSON; the same facts give the same text."""
    return _FACTS.dump_json(facts, exclude_defaults=True).decode()


@lru_cache(maxsize=256)
def parse_facts(text: str) -> SiteFacts:
    """Read such a text again.

    Raises:
        ValueError: it is none; nothing but ``format_facts`` writes them.
    """
    return _FACTS.validate_json(text)
