"""What the site file leaves open, so that energy can only be said to be at least so much."""

from collections.abc import Sequence
from dataclasses import dataclass

from config.models.site import Site
from controller.energy.values import LOSSES_NOT_KNOWN, losses_of


@dataclass(frozen=True, kw_only=True, slots=True)
class UnknownFigures:
    """What is not known of a site.

    Attributes:
        loads: ids of the zones without a load.
        losses: ids of the transformers without any loss.
        no_transformer: whether there is no transformer at all.
    """

    loads: tuple[str, ...]
    losses: tuple[str, ...]
    no_transformer: bool


def unknown_figures(site: Site, zones: Sequence[str] = ()) -> UnknownFigures:
    """Find what would have to be known for the energy of some zones; of all where none is named."""
    wanted = [zone for zone in site.zones if not zones or zone.id in zones]
    feeds = dict.fromkeys(losses_of(site, zone) for zone in wanted)
    return UnknownFigures(
        loads=tuple(zone.id for zone in wanted if zone.rated_load.watts is None),
        losses=tuple(
            each.transformer for each in feeds if each.transformer and each.origin == LOSSES_NOT_KNOWN
        ),
        no_transformer=not site.transformers,
    )
