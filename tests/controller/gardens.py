"""Invented gardens for tests of the account: zones with programs, planned without a site file."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from zoneinfo import ZoneInfo

from config.models.site import SpecialNight
from config.models.tariff import Tariff
from config.program.parser import parse_span
from config.program.special_nights import parse_nights
from controller.calendar.night import Night
from controller.energy.values import Load, Losses
from controller.forecast.forecast import ForecastInput, ForecastZone, PlanOf
from controller.planning.plan import PlanContext, Window, plan_night
from controller.planning.program_record import ZoneProgram
from controller.sun.sun import Sun


def zone(zone_id: str, *spans: str, special: Iterable[tuple[str, str]] = ()) -> ZoneProgram:
    """Write a zone down in the program language; ``special`` holds pairs of nights and one span."""
    return ZoneProgram(
        id=zone_id,
        program=tuple(parse_span(span) for span in spans),
        special_nights=tuple(
            SpecialNight(nights=parse_nights(nights), program=(parse_span(span),)) for nights, span in special
        ),
    )


def garden(
    latitude_deg: float,
    longitude_deg: float,
    time_zone: str,
    watts: dict[str, int],
    *,
    losses: Losses | None = None,
    tariff: Tariff | None = None,
) -> ForecastInput:
    """Make a garden whose zones, all on one transformer, draw these watts."""
    losses = losses or Losses(transformer="shed")
    return ForecastInput(
        zones=tuple(
            ForecastZone(zone=each, losses=losses, load=Load(lamps_w=Decimal(lamps_w)))
            for each, lamps_w in watts.items()
        ),
        tariff=tariff,
        place=PlanContext(sun=Sun(latitude_deg, longitude_deg), dusk_angle_deg=6.0, tz=ZoneInfo(time_zone)),
    )


def plan_of(place: ForecastInput, *zones: ZoneProgram) -> PlanOf:
    """Plan these zones in a garden."""
    by_id = {each.id: each for each in zones}

    def plan(zone_id: str, night: Night) -> tuple[Window, ...]:
        return plan_night(by_id[zone_id], night, place.place).windows

    return plan


def flat(price: str) -> Tariff:
    """One price at all times."""
    return Tariff(currency="USD", per_kwh=Decimal(price))
