"""What limits the figures of energy and cost: what is assumed, and what would have to be known, and where."""

from collections.abc import Iterable, Iterator, Sequence

from api.render.numbers import MANY_H, hours_of
from config.models.site import Site
from config.phrase import Phrase, count_phrase
from controller.energy.unknown import UnknownFigures, unknown_figures
from controller.energy.values import LOSSES_NOT_KNOWN
from controller.history.totals import HourSum
from controller.records.entries import Cause

ASSUMED = Phrase(
    "some of the energy goes by transformers and cables that the journal was not told of at the time: the "
    "first ones that it was told of are assumed"
)
UNPOWERED = Phrase(
    "while the board had no power, its transformers are taken to have had none either: nothing is billed"
)


def hour_notes(site: Site, totals: Sequence[HourSum]) -> list[Phrase]:
    """Say what limits the figures of an account, given the sums of its zones."""
    notes = list(explain_past_lower_bounds(site, totals))
    if any(each.assumed for each in totals):
        notes.append(ASSUMED)
    if any(part.reason is Cause.POWER_LOST for each in totals for part in each.missed):
        notes.append(UNPOWERED)
    return notes


def explain_lower_bounds(site: Site, zones: Sequence[str] = ()) -> Iterator[Phrase]:
    """Say what is not known of some zones, all where none is named, and what to add to the site file."""
    unknown = unknown_figures(site, zones)
    yield from _name_loads(unknown)
    yield from _name_losses(unknown)


def _name_loads(unknown: UnknownFigures) -> Iterator[Phrase]:
    if unknown.loads:
        yield count_phrase(
            "at least: zone {ids} has no load; add fixtures, rated_watts or measured_watts",
            "at least: zones {ids} have no load; add fixtures, rated_watts or measured_watts",
            len(unknown.loads),
            ids=_list(unknown.loads),
        )


def _name_losses(unknown: UnknownFigures) -> Iterator[Phrase]:
    if unknown.losses:
        yield count_phrase(
            "at least: transformer {ids} has no losses; add efficiency, or no_load_w and copper_w",
            "at least: transformers {ids} have no losses; add efficiency, or no_load_w and copper_w",
            len(unknown.losses),
            ids=_list(unknown.losses),
        )
    if unknown.no_transformer:
        yield Phrase(
            "at least: the site has no transformer; add [[transformers]] with efficiency, or no_load_w and "
            "copper_w"
        )


def explain_past_lower_bounds(site: Site, totals: Iterable[HourSum]) -> Iterator[Phrase]:
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
            yield Phrase(
                "at least: zone {zone} was lit for {lit} h with a load that was not known at the time",
                zone=zone,
                lit=_hours(each.without_load_ms),
            )
        if LOSSES_NOT_KNOWN in each.losses and not (unknown and (unknown.losses or unknown.no_transformer)):
            without_losses.append(zone)
    if without_losses:
        yield count_phrase(
            "at least: what the transformer of zone {ids} lost was not known at the time",
            "at least: what the transformer of zones {ids} lost was not known at the time",
            len(without_losses),
            ids=_list(without_losses),
        )


def _list(ids: Sequence[str]) -> str:
    """List ids: jetty; jetty, path and lawn."""
    *others, last = ids
    return Phrase("{first} and {last}", first=", ".join(others), last=last) if others else last


def _hours(lasts_ms: int) -> Phrase:
    """Write hours as ``numbers.hours`` does, in the language of the page."""
    lit = hours_of(lasts_ms)
    return Phrase("{lit:,.1f}", lit=lit) if lit >= MANY_H else Phrase("{lit:.2f}", lit=lit)
