"""What is allowed in a site file but probably a mistake: warnings, which stop no light."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from config.currencies import CURRENCIES
from config.errors import KeyPath
from config.models.site import CONTINUOUS_SHARE, Site, Transformer, Zone
from config.models.tariff import Prices
from config.phrase import Phrase
from config.program.spans import Span
from config.validation.cables import Document
from config.validation.contacts import warn_contacts
from config.validation.finding import SiteFinding
from config.validation.place import find_near_zones, name_near_zones, warn_place

# A January day: summer time, where it holds then, is taken off again.
_A_WINTER_DAY = datetime(2027, 1, 15, tzinfo=UTC)
_A_SUMMER_DAY = datetime(2027, 7, 15, tzinfo=UTC)
# The widest true gap between a zone's standard time and its sun is about 3.1 h, in the far west of a country
# that keeps UTC+8 throughout (73.5 degrees east).
_WIDEST_GAP_H = 3.5
_DEGREES_PER_HOUR = 15.0
# So near to a pole any hour is the sun's.
_POLAR_DEG = 85.0
# Usual figures, loosely quoted and from memory: magnetic transformers give 80 to 95 % of what they take, and
# lose a few per cent of their rating with no load. Beyond these bounds it is probably a slip of the pen.
_LEAST_EFFICIENCY = 0.5
# No lamp is sold for less; a point that divides thousands makes 25 of 25.000.
_LEAST_LIFE_H = 100
# In these currencies a kilowatt-hour costs less than one, and is often quoted in hundredths: from memory.
_OF_HUNDREDTHS, _HIGHEST_PRICE = frozenset({"AUD", "CAD", "CHF", "EUR", "GBP", "NZD", "USD"}), 3
# Beyond this a figure is wrong rather than a load too great.
_GREATEST_SHARE = 3
_GREATEST_LOSS = 0.25
# BCM 2 and 3 carry I2C and have pull-up resistors soldered on; 14 and 15 are the serial console.
_POOR_PINS = {
    **dict.fromkeys((2, 3), Phrase("has a pull-up resistor that cannot be taken off")),
    **dict.fromkeys((14, 15), Phrase("is the serial console's pin and moves while the board starts")),
}
# BCM 0 to 8 have pull-ups after a reset, 9 to 27 pull-downs: from memory of the chip's peripherals manual.
_PULLED_UP_PINS = range(2, 9)


def find_warnings(site: Site, document: Document) -> Iterator[SiteFinding]:
    """Yield everything that is probably a mistake in a valid site with these plain tables."""
    yield from list(warn_place(site)) or _warn_time_zone(site)
    if site.tariff:
        if site.tariff.currency not in CURRENCIES:
            what = Phrase("is not a currency known here")
            remedy = Phrase("check that it is a code of ISO 4217")
            yield SiteFinding(("tariff", "currency"), what, remedy)
        yield from _warn_prices(site.tariff, site.tariff.currency, ("tariff",))
        for index, change in enumerate(site.tariff.changes):
            yield from _warn_prices(change, site.tariff.currency, ("tariff", "changes", index))
    for index, transformer in enumerate(site.transformers):
        yield from _warn_transformer(site, transformer, ("transformers", index))
    for index, zone in enumerate(site.zones):
        yield from _warn_zone(zone, ("zones", index))
    yield from warn_contacts(site)
    yield from _warn_network(site)
    if site.cables:
        from config.validation.cable_tree import find_cable_warnings  # noqa: PLC0415 (most files have none)

        yield from find_cable_warnings(site, document)


def _warn_network(site: Site) -> Iterator[SiteFinding]:
    network = site.network
    if network.listen == "board":
        asks_to_be_found = network.discovery and "discovery" in network.model_fields_set
        for key, asked in (("discovery", asks_to_be_found), ("certificate", network.certificate)):
            if asked:
                what = Phrase("has no effect: only this machine can reach the API")
                yield SiteFinding(("network", key), what, Phrase('write listen = "home", or remove it'))


def _warn_time_zone(site: Site) -> Iterator[SiteFinding]:
    day = _A_WINTER_DAY.astimezone(ZoneInfo(site.time_zone))
    standard_h = ((day.utcoffset() or timedelta()) - (day.dst() or timedelta())).total_seconds() / 3600
    sun_h = site.longitude_deg / _DEGREES_PER_HOUR
    # On either side of the date line the two differ by a whole day, which is no mistake.
    gap_h = abs((standard_h - sun_h + 12) % 24 - 12)
    path = ("site", "time_zone")
    if gap_h > _WIDEST_GAP_H and abs(site.latitude_deg) < _POLAR_DEG:
        what = Phrase(
            "is {gap:.1f} hours off the sun's time at longitude {longitude:g}",
            gap=gap_h,
            longitude=site.longitude_deg,
        )
        remedy = Phrase("check the time zone and the sign of the longitude (west is negative)")
        yield SiteFinding(path, what, remedy)
    elif site.time_zone.partition("/")[0] in ("Etc", site.time_zone) and _differs_from_place(site):
        what = Phrase("is the time of no place, and differs from the clocks here")
        near = name_near_zones(site.latitude_deg, site.longitude_deg)
        yield SiteFinding(path, what, Phrase("write an area and a city: {near}", near=near))


def _differs_from_place(site: Site) -> bool:
    """Whether the nearest time zone with a place has another offset in January or in July."""
    near = find_near_zones(site.latitude_deg, site.longitude_deg)[:1]
    zones = [ZoneInfo(name) for name in (site.time_zone, *near)]
    return any(
        len({day.astimezone(zone).utcoffset() for zone in zones}) > 1
        for day in (_A_WINTER_DAY, _A_SUMMER_DAY)
    )


def _warn_transformer(site: Site, transformer: Transformer, path: KeyPath) -> Iterator[SiteFinding]:
    loads = [zone.rated_load.watts for zone in site.zones if site.transformer_of(zone) is transformer]
    load_w = sum(watts for watts in loads if watts is not None)
    share = load_w / transformer.rated_va
    if share > CONTINUOUS_SHARE:
        drawn = Phrase("{watts:g} W", watts=load_w)
        if None in loads:
            drawn = Phrase(
                "{watts:g} W, {count} of them with an unknown load", watts=load_w, count=loads.count(None)
            )
        what = Phrase(
            "is nearly used up: its zones draw {drawn}, {share:.0%} of its rating", drawn=drawn, share=share
        )
        remedy = Phrase("common practice is to stay at or below 80 %")
        if share > _GREATEST_SHARE:
            what = Phrase(
                "is too small: its zones draw {drawn}, over {times} times its rating",
                drawn=drawn,
                times=_GREATEST_SHARE,
            )
            remedy = Phrase("check the VA on its plate, and the watts of its lamps")
        elif share > 1:
            what = Phrase(
                "is too small: its zones draw {drawn}, {share:.0%} of its rating", drawn=drawn, share=share
            )
            remedy = Phrase("move a zone to another one, or fit lamps of fewer watts")
        yield SiteFinding((*path, "rated_va"), what, remedy)
    if transformer.efficiency is not None and transformer.efficiency < _LEAST_EFFICIENCY:
        remedy = Phrase("write what the transformer gives over what it takes, as 0.88 for 88 %")
        yield SiteFinding((*path, "efficiency"), Phrase("means that more than half is lost"), remedy)
    for key, watts in (("no_load_w", transformer.no_load_w), ("copper_w", transformer.copper_w)):
        if watts is not None and watts > _GREATEST_LOSS * transformer.rated_va:
            share = watts / transformer.rated_va
            what = Phrase("is {share:.0%} of its rating, which is far more than usual", share=share)
            yield SiteFinding((*path, key), what, Phrase("check the plate, or measure it"))
    if transformer.relay_side == "mains" and len(loads) > 1:
        what = Phrase(
            "switches the mains of a transformer that {count} zones share: each lights all of them",
            count=len(loads),
        )
        remedy = Phrase("give each of these zones its own transformer, or write “low voltage”")
        yield SiteFinding((*path, "relay_side"), what, remedy)


def _warn_prices(prices: Prices, currency: str, path: KeyPath) -> Iterator[SiteFinding]:
    for key, per_kwh in (
        (("per_kwh",), prices.per_kwh),
        *((("bands", index, "per_kwh"), band.per_kwh) for index, band in enumerate(prices.bands)),
    ):
        if currency in _OF_HUNDREDTHS and per_kwh > _HIGHEST_PRICE:
            what = Phrase("is far more than a kilowatt-hour costs")
            remedy = Phrase(
                "write {price}, if it is meant in hundredths of {currency}",
                price=f"{per_kwh / 100:f}",
                currency=currency,
            )
            yield SiteFinding((*path, *key), what, remedy)
    for index, band in enumerate(prices.bands):
        if band.begins == band.ends and band.days is None and band.season is None:
            what = Phrase("holds at all times, so that no price before it ever counts")
            remedy = Phrase("say from when to when, on which days or in which season")
            yield SiteFinding((*path, "bands", index), what, remedy)


def _warn_zone(zone: Zone, path: KeyPath) -> Iterator[SiteFinding]:
    if zone.active_high and zone.pin in _PULLED_UP_PINS:
        what = Phrase(
            "lets the relay close while the board starts, as BCM {pin} is pulled up until Leerie sets it",
            pin=zone.pin,
        )
        remedy = Phrase("use BCM 9 to 13 or 16 to 27, or a relay that closes on low")
        yield SiteFinding((*path, "active_high"), what, remedy)
    elif zone.pin in _POOR_PINS:
        remedy = Phrase("another pin is better for a relay")
        yield SiteFinding((*path, "pin"), _POOR_PINS[zone.pin], remedy)
    if zone.fixtures and zone.rated_watts is not None:
        what = Phrase("does not count while fixtures are listed")
        remedy = Phrase("remove it, or rename it to measured_watts if it was measured")
        yield SiteFinding((*path, "rated_watts"), what, remedy)
    for index, fixture in enumerate(zone.fixtures):
        if fixture.rated_life_h is not None and fixture.rated_life_h < _LEAST_LIFE_H:
            what = Phrase("is {hours:g} hours, far less than any lamp has", hours=fixture.rated_life_h)
            remedy = Phrase("write thousands without a point or comma, such as 25000")
            yield SiteFinding((*path, "fixtures", index, "rated_life_h"), what, remedy)
    yield from _warn_spans(zone.program, (*path, "program"))
    if not any((zone.program, *(night.program for night in zone.special_nights))) and not zone.out_of_service:
        what = Phrase("leaves the zone dark on every night")
        remedy = Phrase('add a span such as "dusk to midnight"')
        yield SiteFinding((*path, "program"), what, remedy)
    last = {night.nights: index for index, night in enumerate(zone.special_nights)}
    for index, night in enumerate(zone.special_nights):
        place = (*path, "special_nights", index)
        yield from _warn_spans(night.program, (*place, "program"))
        if last[night.nights] != index:
            what = Phrase("is given again on line {line}, and the last one decides", line=0)
            other = (*path, "special_nights", last[night.nights], "nights")
            yield SiteFinding((*place, "nights"), what, Phrase("remove one of the two"), other)


def _warn_spans(program: tuple[Span, ...], path: KeyPath) -> Iterator[SiteFinding]:
    for index, span in enumerate(program):
        if span.never_lights:
            what = Phrase("gives no light: it ends before it begins, as a night runs from noon to noon")
            remedy = Phrase("swap the two times, or write one span to 11:59 and one from 12:00")
            if str(span.ends) == "12:00":
                what = Phrase("gives no light: it ends at noon, when the night begins")
                remedy = Phrase("write 00:00 for midnight")
            yield SiteFinding((*path, index), what, remedy)
