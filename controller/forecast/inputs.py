"""The site as the forecast needs it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from controller.energy.from_site import feed_of, losses_of
from controller.energy.values import Load, watts
from controller.forecast.forecast import ForecastInput, ForecastZone
from controller.planning.planner import Planner

_NO_CABLES: Mapping[str, Decimal] = {}


def forecast_input(planner: Planner, cable_w: Mapping[str, Decimal] = _NO_CABLES) -> ForecastInput:
    """Give a site as the forecast needs it.

    Args:
        planner: the site, its sky and its time zone.
        cable_w: watts lost in the cables of a zone while it is lit, where known.
    """
    site = planner.site
    return ForecastInput(
        zones=tuple(
            ForecastZone(
                zone=zone.id,
                transformer=feed_of(site, zone),
                load=Load(lamps_w=watts(zone.rated_load.watts), cable_w=cable_w.get(zone.id, Decimal(0))),
            )
            for zone in site.zones
        ),
        transformers=tuple(losses_of(site).values()),
        tariff=site.tariff,
        sun=planner.sun,
        dusk_angle_deg=site.dusk_angle_deg,
        tz=planner.tz,
    )
