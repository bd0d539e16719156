"""From the site file to what the account needs: prices, losses, loads, lamps.

A zone without a transformer hangs on a nameless one whose losses nobody knows, so that its hours and its
watts are still accounted for; the account then says "at least".
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from config.models.site import Fixture, Site, Transformer, Zone
from config.models.tariff import PriceBand as FileBand
from config.program.special_nights import Nights
from controller.energy.tariff import PriceBand, Prices, Tariff
from controller.energy.values import Load, Losses, RelaySide, watts
from controller.forecast.forecast import Garden, ZoneToCome
from controller.lamps.life import LampKind, Lamps
from controller.planning.planner import Almanac

NAMELESS = ""
_NOTHING = Decimal(0)
_NO_CABLES: Mapping[str, Decimal] = {}
_NO_VOLTS: Mapping[tuple[str, int], float] = {}


def garden_of(almanac: Almanac, cable_w: Mapping[str, Decimal] = _NO_CABLES) -> Garden:
    """Give a site as the forecast needs it.

    Args:
        almanac: the site, its sky and its time zone.
        cable_w: watts lost in the cables of a zone while it is lit, where known.
    """
    site = almanac.site
    return Garden(
        zones=tuple(
            ZoneToCome(
                zone=zone.id,
                transformer=feed_of(site, zone),
                load=Load(lamps_w=watts(zone.rated_load.watts), cable_w=cable_w.get(zone.id, _NOTHING)),
            )
            for zone in site.zones
        ),
        transformers=tuple(losses_of(site).values()),
        tariff=tariff_of(site),
        sky=almanac.sky,
        dusk_angle_deg=site.dusk_angle_deg,
        tz=almanac.tz,
    )


def feed_of(site: Site, zone: Zone | None) -> str:
    """Give the id of the transformer that feeds a zone; ``NAMELESS`` where there is none, or no such zone."""
    transformer = None if zone is None else site.transformer_of(zone)
    return NAMELESS if transformer is None else transformer.id


def losses_of(site: Site) -> dict[str, Losses]:
    """Give the losses of every transformer by its id, and those of the nameless one, which nobody knows."""
    known = {each.id: _losses(each) for each in site.transformers}
    return {**known, NAMELESS: Losses(transformer=NAMELESS)}


def _losses(transformer: Transformer) -> Losses:
    """Give the losses of one transformer."""
    return Losses(
        transformer=transformer.id,
        side=RelaySide.MAINS if transformer.relay_side == "mains" else RelaySide.LOW_VOLTAGE,
        efficiency=watts(transformer.efficiency),
        no_load_w=watts(transformer.no_load_w) or _NOTHING,
        copper_w=watts(transformer.copper_w),
        rated_va=watts(transformer.rated_va),
    )


def tariff_of(site: Site) -> Tariff | None:
    """Give the prices of a site; None where its file names none."""
    tariff = site.tariff
    if tariff is None:
        return None
    first = Prices(per_kwh=tariff.per_kwh, bands=tuple(_band(band) for band in tariff.bands))
    changes = tuple(
        Prices(per_kwh=each.per_kwh, since=each.since, bands=tuple(_band(band) for band in each.bands))
        for each in tariff.changes
    )
    return Tariff(currency=tariff.currency, prices=(first, *changes))


def _band(band: FileBand) -> PriceBand:
    """Give one band of a price list."""
    days: tuple[Nights, ...] = tuple(each for each in (band.days, band.season) if each is not None)
    return PriceBand(per_kwh=band.per_kwh, begins=band.begins, ends=band.ends, days=days, name=band.name)


def lamps_of(
    site: Site, volts: Mapping[tuple[str, int], float] = _NO_VOLTS
) -> list[tuple[Zone, Fixture, Lamps]]:
    """Give the lamps of every fixture of a site.

    Args:
        site: the site.
        volts: what the lamps of a zone's fixture, counted from 1, get from their cable; rated volts where it
            is not known.
    """
    return [
        (
            zone,
            fixture,
            Lamps(
                zone=zone.id,
                fixture=place,
                kind=LampKind(fixture.lamp),
                rated_life_h=fixture.rated_life_h,
                rated_volts=fixture.rated_volts,
                volts=volts.get((zone.id, place)),
                fitted=fixture.fitted,
            ),
        )
        for zone in site.zones
        for place, fixture in enumerate(zone.fixtures, start=1)
    ]
