"""What limits the figures of energy and cost: what is assumed, and what would have to be known, and where."""

from collections.abc import Iterable, Iterator, Sequence

from api.render.numbers import hours
from config.models.site import Site
from controller.energy.unknown import UnknownFigures, unknown_figures
from controller.energy.values import LOSSES_NOT_KNOWN
from controller.history.totals import HourSum
from controller.records.entries import Cause

ASSUMED = (
    "some of the energy goes by transformers and cables that the journal was not told of at the time: the "
    "first ones that it was told of are assumed"
)
UNPOWERED = (
    "while the board had no power, its transformers are taken to have had none either: nothing is billed"
)


def hour_notes(site: Site, totals: Sequence[HourSum]) -> list[str]:
    """Say what limits the figures of an account, given the sums of its zones."""
    notes = list(explain_past_lower_bounds(site, totals))
    if any(each.assumed for each in totals):
        notes.append(ASSUMED)
    if any(part.reason is Cause.POWER_LOST for each in totals for part in each.missed):
        notes.append(UNPOWERED)
    return notes


def explain_lower_bounds(site: Site, zones: Sequence[str] = ()) -> Iterator[str]:
    """Say what is not known of some zones, all where none is named, and what to add to the site file."""
    unknown = unknown_figures(site, zones)
    yield from _name_loads(unknown)
    yield from _name_losses(unknown)


def _name_loads(unknown: UnknownFigures) -> Iterator[str]:
    if unknown.loads:
        yield f"at least: {_have(unknown.loads, 'zone')} no load; add fixtures, rated_watts or measured_watts"


def _name_losses(unknown: UnknownFigures) -> Iterator[str]:
    if unknown.losses:
        yield (
            f"at least: {_have(unknown.losses, 'transformer')} no losses; add efficiency, or no_load_w and "
            "copper_w"
        )
    if unknown.no_transformer:
        yield (
            "at least: the site has no transformer; add [[transformers]] with efficiency, or no_load_w and "
            "copper_w"
        )


def explain_past_lower_bounds(site: Site, totals: Iterable[HourSum]) -> Iterator[str]:
    """Say the same of an account, given the sums of its zones; also what was not known then and is now.

    What was known then and is not now bounds nothing.
    """
    here = {zone.id for zone in site.zones}
    sums = [(each.zone, each) for each in totals if each.at_least and each.zone is not None]
    of_now = {zone: unknown_figures(site, [zone]) for zone, _ in sums if zone in here}
    loads = [zone for zone, each in sums if each.without_load_ms and zone in of_now]
    losses = [zone for zone, each in sums if LOSSES_NOT_KNOWN in each.losses and zone in of_now]
    if loads:
        yield from _name_loads(unknown_figures(site, loads))
    if losses:
        yield from _name_losses(unknown_figures(site, losses))
    without_losses = []
    for zone, each in sums:
        unknown = of_now.get(zone)
        if each.without_load_ms and not (unknown and unknown.loads):
            lit = hours(each.without_load_ms)
            yield f"at least: zone {zone} was lit for {lit} h with a load that was not known at the time"
        if LOSSES_NOT_KNOWN in each.losses and not (unknown and (unknown.losses or unknown.no_transformer)):
            without_losses.append(zone)
    if without_losses:
        zones = _list(without_losses, "zone")
        yield f"at least: what the transformer of {zones} lost was not known at the time"


def _list(ids: Sequence[str], noun: str) -> str:
    """List ids: zone jetty; zones jetty, path and lawn."""
    *others, last = ids
    return f"{noun}s {', '.join(others)} and {last}" if others else f"{noun} {last}"


def _have(ids: Sequence[str], noun: str) -> str:
    return f"{_list(ids, noun)} {'have' if len(ids) > 1 else 'has'}"
