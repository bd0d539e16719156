"""From the site file to what the account needs: prices, losses, loads, lamps.

A zone without a transformer hangs on a nameless one whose losses nobody knows, so that its hours and its
watts are still accounted for; the account then says "at least".
"""

from __future__ import annotations

from decimal import Decimal

from config.models.site import Site, Transformer, Zone
from config.models.tariff import PriceBand as FileBand
from config.program.special_nights import Nights
from controller.energy.tariff import PriceBand, Prices, Tariff
from controller.energy.values import Losses, RelaySide, watts

NAMELESS = ""
_NOTHING = Decimal(0)


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
