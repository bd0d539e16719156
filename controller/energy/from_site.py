"""The transformers of a site as the metering needs them."""

from __future__ import annotations

from decimal import Decimal

from config.models.site import Site, Zone
from controller.energy.values import Losses, watts

NAMELESS = ""


def losses_of(site: Site, zone: Zone | None) -> Losses:
    """Give the losses of the transformer that feeds a zone.

    A zone without one, or that is gone, belongs to a ``NAMELESS`` one whose losses are not known, so that its
    hours and watts are still counted; the account then says "at least".
    """
    transformer = None if zone is None else site.transformer_of(zone)
    if transformer is None:
        return Losses(transformer=NAMELESS)
    return Losses(
        transformer=transformer.id,
        mains_side=transformer.relay_side == "mains",
        efficiency=watts(transformer.efficiency),
        no_load_w=watts(transformer.no_load_w) or Decimal(0),
        copper_w=watts(transformer.copper_w),
        rated_va=watts(transformer.rated_va),
    )
