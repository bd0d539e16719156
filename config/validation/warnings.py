"""What is allowed in a site file but hardly meant; all of it becomes warnings, none of it stops a light."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from config.currencies import CURRENCIES
from config.errors import KeyPath
from config.models.site import Site, Transformer, Zone
from config.models.tariff import PriceBand
from config.program.spans import Span
from config.validation.cable_warnings import find_cable_doubts
from config.validation.finding import SiteFinding

# A January day: summer time, where it holds then, is taken off again.
_A_WINTER_DAY = datetime(2027, 1, 15, tzinfo=UTC)
# The widest true gap between a zone's standard time and its sun is about 3.1 h, in the far west of a country
# that keeps UTC+8 throughout (73.5 degrees east).
_WIDEST_GAP_H = 3.5
_DEGREES_PER_HOUR = 15.0
# Common practice, no source: a transformer is loaded to at most this share of its rating.
_COMMON_SHARE = 0.8
# Usual figures, loosely quoted and from memory: magnetic transformers give 80 to 95 % of what they take, and
# lose a few per cent of their rating with no load. Beyond these bounds it is rather a slip of the pen.
_LEAST_EFFICIENCY = 0.5
_GREATEST_LOSS = 0.25
# BCM 2 and 3 carry I2C and have pull-up resistors soldered on; 14 and 15 are the serial console.
_DOUBTFUL_PINS = {
    2: "has a pull-up resistor that cannot be taken off",
    3: "has a pull-up resistor that cannot be taken off",
    14: "is the serial console's pin and moves while the board starts",
    15: "is the serial console's pin and moves while the board starts",
}


def find_warnings(site: Site) -> Iterator[SiteFinding]:
    """Yield everything in a valid site that is probably not meant."""
    yield from _doubt_time_zone(site)
    if site.tariff and site.tariff.currency not in CURRENCIES:
        remedy = "see that it is a code of ISO 4217"
        yield SiteFinding(path=("tariff", "currency"), what="is no currency known here", remedy=remedy)
    if site.tariff:
        yield from _doubt_bands(site.tariff.bands, ("tariff", "bands"))
        for index, change in enumerate(site.tariff.changes):
            yield from _doubt_bands(change.bands, ("tariff", "changes", index, "bands"))
    for index, transformer in enumerate(site.transformers):
        yield from _doubt_load(site, transformer, ("transformers", index))
        yield from _doubt_losses(site, transformer, ("transformers", index))
    for index, zone in enumerate(site.zones):
        yield from _doubt_zone(zone, ("zones", index))
    yield from find_cable_doubts(site)


def _doubt_time_zone(site: Site) -> Iterator[SiteFinding]:
    """Doubt a time zone whose standard time is far from the sun's time at the site's longitude."""
    day = _A_WINTER_DAY.astimezone(ZoneInfo(site.time_zone))
    standard_h = ((day.utcoffset() or timedelta()) - (day.dst() or timedelta())).total_seconds() / 3600
    sun_h = site.longitude_deg / _DEGREES_PER_HOUR
    # Either side of the date line the two differ by a whole day, which is no doubt.
    gap_h = abs((standard_h - sun_h + 12) % 24 - 12)
    if gap_h > _WIDEST_GAP_H:
        yield SiteFinding(
            path=("site", "time_zone"),
            what=f"is {gap_h:.1f} hours off the sun's time at longitude {site.longitude_deg:g}",
            remedy="see whether the sign of the longitude (west is negative) and the time zone are right",
        )


def _doubt_load(site: Site, transformer: Transformer, path: KeyPath) -> Iterator[SiteFinding]:
    """Doubt a transformer whose zones draw more than its rating, or more than common practice allows."""
    loads = [zone.rated_load.watts for zone in site.zones if site.transformer_of(zone) is transformer]
    load_w = sum(watts for watts in loads if watts is not None)
    share = load_w / transformer.rated_va
    if share <= _COMMON_SHARE:
        return
    unknown = f", {loads.count(None)} of them with an unknown load" if None in loads else ""
    drawn = f"its zones draw {load_w:g} W{unknown}, {share:.0%} of its rating"
    if share > 1:
        what, remedy = f"is too small: {drawn}", "move a zone to another one, or fit lamps of fewer watts"
    else:
        what, remedy = f"is nearly used up: {drawn}", "common practice is to stay at or below 80 %"
    yield SiteFinding(path=(*path, "rated_va"), what=what, remedy=remedy)


def _doubt_losses(site: Site, transformer: Transformer, path: KeyPath) -> Iterator[SiteFinding]:
    """Doubt losses that hardly any transformer has, and one mains switch for several zones."""
    if transformer.efficiency is not None and transformer.efficiency < _LEAST_EFFICIENCY:
        remedy = "it is what the transformer gives over what it takes, as 0.88 for 88 %"
        yield SiteFinding(path=(*path, "efficiency"), what="wastes more than half", remedy=remedy)
    for key, watts in (("no_load_w", transformer.no_load_w), ("copper_w", transformer.copper_w)):
        if watts is not None and watts > _GREATEST_LOSS * transformer.rated_va:
            what = f"is {watts / transformer.rated_va:.0%} of its rating, which is far more than usual"
            yield SiteFinding(path=(*path, key), what=what, remedy="see the plate, or measure it")
    zones = [zone.id for zone in site.zones if site.transformer_of(zone) is transformer]
    if transformer.relay_side == "mains" and len(zones) > 1:
        what = f"switches the mains of a transformer that {len(zones)} zones share: each lights all of them"
        remedy = "give each of these zones a transformer of its own, or write “low voltage”"
        yield SiteFinding(path=(*path, "relay_side"), what=what, remedy=remedy)


def _doubt_bands(bands: tuple[PriceBand, ...], path: KeyPath) -> Iterator[SiteFinding]:
    """Doubt a band that holds at all hours of all days, so that the price beside it never counts."""
    for index, band in enumerate(bands):
        if band.begins == band.ends and band.days is None and band.season is None:
            what = "holds at all times, so that no price before it ever counts"
            remedy = "say from when to when, on which days or in which season"
            yield SiteFinding(path=(*path, index), what=what, remedy=remedy)


def _doubt_zone(zone: Zone, path: KeyPath) -> Iterator[SiteFinding]:
    """Doubt a zone's pin, its watts given twice, and spans and special nights without effect."""
    if words := _DOUBTFUL_PINS.get(zone.pin):
        yield SiteFinding(path=(*path, "pin"), what=words, remedy="another pin is better for a relay")
    if zone.fixtures and zone.rated_watts is not None:
        yield SiteFinding(
            path=(*path, "rated_watts"),
            what="does not count while fixtures are listed",
            remedy="leave it out, or call it measured_watts if it was measured",
        )
    yield from _doubt_spans(zone.program, (*path, "program"))
    if not any((zone.program, *(night.program for night in zone.special_nights))) and not zone.out_of_service:
        what = f"leaves zone “{zone.id}” dark on every night"
        yield SiteFinding(path=(*path, "program"), what=what, remedy='add a span such as "dusk to midnight"')
    last = {night.nights: index for index, night in enumerate(zone.special_nights)}
    for index, night in enumerate(zone.special_nights):
        place = (*path, "special_nights", index)
        yield from _doubt_spans(night.program, (*place, "program"))
        if last[night.nights] != index:
            yield SiteFinding(
                path=(*place, "nights"),
                what="is written again on line {line}, and the last one decides",
                remedy="leave one of the two out",
                other=(*path, "special_nights", last[night.nights], "nights"),
            )


def _doubt_spans(program: tuple[Span, ...], path: KeyPath) -> Iterator[SiteFinding]:
    """Doubt each span that cannot give light."""
    for index, span in enumerate(program):
        if not span.never_lights:
            continue
        if str(span.ends) == "12:00":
            what, remedy = "ends at noon, where the night begins, and gives no light", "midnight is 00:00"
        else:
            what = "ends before it begins, as a night runs from noon to noon, and gives no light"
            remedy = "exchange the two times, or write one span to 11:59 and one from 12:00"
        yield SiteFinding(path=(*path, index), what=what, remedy=remedy)
