"""The transformers of a site as the metering needs them.

A zone without a transformer belongs to a nameless one whose losses are not known, so that its hours and its
watts are still counted; the account then says "at least".
"""

from __future__ import annotations

from decimal import Decimal

from config.models.site import Site, Transformer, Zone
from controller.energy.values import Losses, RelaySide, watts

NAMELESS = ""
_NOTHING = Decimal(0)


def feed_of(site: Site, zone: Zone | None) -> str:
    """Give the id of the transformer that feeds a zone; ``NAMELESS`` where there is none, or no such zone."""
    transformer = None if zone is None else site.transformer_of(zone)
    return NAMELESS if transformer is None else transformer.id


def losses_of(site: Site) -> dict[str, Losses]:
    """Give the losses of every transformer by its id, and those of the nameless one, which are not known."""
    known = {each.id: _losses(each) for each in site.transformers}
    return {**known, NAMELESS: Losses(transformer=NAMELESS)}


def _losses(transformer: Transformer) -> Losses:
    return Losses(
        transformer=transformer.id,
        side=RelaySide.MAINS if transformer.relay_side == "mains" else RelaySide.LOW_VOLTAGE,
        efficiency=watts(transformer.efficiency),
        no_load_w=watts(transformer.no_load_w) or _NOTHING,
        copper_w=watts(transformer.copper_w),
        rated_va=watts(transformer.rated_va),
    )
