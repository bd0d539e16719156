"""The garden in short sections: what its site file says, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.render.words import Words
from config.errors import SiteProblem
from config.header import HEADER_PINS
from config.models.site import Fixture, Site, Transformer, Zone


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One thing of the garden: what it is called, and what there is to say of it."""

    id: str
    name: str
    address: str
    says: str
    warnings: Sequence[SiteProblem] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Garden:
    """Every section of the screen."""

    sentence: str
    rest: str
    place: str
    zones: list[Line]
    transformers: list[Line]
    papers: list[Line]
    warnings: list[SiteProblem]


def show_garden(site: Site, warnings: Sequence[SiteProblem], words: Words) -> Garden:
    """Say what the site file says."""
    _ = words.gettext
    zones = [
        Line(
            id=zone.id,
            name=zone.name,
            address=f"/garden/zones/{zone.id}",
            says=_zone(site, zone, words),
            warnings=_of(f"zones[{number}]", warnings),
        )
        for number, zone in enumerate(site.zones, start=1)
    ]
    transformers = [
        Line(
            id=each.id,
            name=each.name,
            address=f"/garden/transformers/{each.id}",
            says=_transformer(site, each, words),
            warnings=_of(f"transformers[{number}]", warnings),
        )
        for number, each in enumerate(site.transformers, start=1)
    ]
    papers = _papers(site, warnings, words)
    shown = {id(each) for line in (*zones, *transformers, *papers) for each in line.warnings}
    count = words.ngettext("It has one zone.", "It has %(count)d zones.", len(zones)) % {"count": len(zones)}
    return Garden(
        sentence=_("This is the garden as Leerie knows it."),
        rest=count,
        place=_place(site, words),
        zones=zones,
        transformers=transformers,
        papers=papers,
        warnings=[each for each in warnings if id(each) not in shown],
    )


def _of(key: str, warnings: Sequence[SiteProblem]) -> list[SiteProblem]:
    return [each for each in warnings if each.key == key or each.key.startswith((f"{key}.", f"{key}["))]


def _place(site: Site, words: Words) -> str:
    _ = words.gettext
    north = _("%(degrees)s north") if site.latitude_deg >= 0 else _("%(degrees)s south")
    east = _("%(degrees)s east") if site.longitude_deg >= 0 else _("%(degrees)s west")
    return _("%(north)s, %(east)s; its clocks go by %(zone)s.") % {
        "north": north % {"degrees": f"{abs(site.latitude_deg):.4f}°"},
        "east": east % {"degrees": f"{abs(site.longitude_deg):.4f}°"},
        "zone": site.time_zone,
    }


def _zone(site: Site, zone: Zone, words: Words) -> str:
    _ = words.gettext
    where = {"bcm": zone.pin, "header": HEADER_PINS[zone.pin]}
    parts = [
        _("pin %(header)d of the header (BCM %(bcm)d), closes on high") % where
        if zone.active_high
        else _("pin %(header)d of the header (BCM %(bcm)d), closes on low") % where
    ]
    transformer = site.transformer_of(zone)
    if transformer is not None and len(site.transformers) > 1:
        parts.append(_("fed by %(name)s") % {"name": transformer.name})
    if zone.fixtures:
        lamps = sum(each.count for each in zone.fixtures)
        parts.append(words.ngettext("%(count)d lamp", "%(count)d lamps", lamps) % {"count": lamps})
    if zone.rated_load.watts is not None:
        parts.append(f"{zone.rated_load.watts:g}\N{NO-BREAK SPACE}W")
    text = "; ".join(parts)
    if zone.out_of_service is not None:
        text = _("out of service: %(why)s") % {"why": zone.out_of_service} + f"; {text}"
    return text


def describe_lamps(fixture: Fixture) -> str:
    """Say how many lamps there are of how many watts."""
    return f"{fixture.count} × {fixture.watts:g}\N{NO-BREAK SPACE}W"


def _transformer(site: Site, transformer: Transformer, words: Words) -> str:
    loads = [zone.rated_load.watts for zone in site.zones if site.transformer_of(zone) is transformer]
    known = sum(each for each in loads if each is not None)
    figures = {"load": f"{known:g}", "rating": f"{transformer.rated_va:g}"}
    if None in loads:
        return (
            words.gettext("%(rating)s VA; carries at least %(load)s W, as some zones' watts are not known")
            % figures
        )
    return words.gettext("%(rating)s VA; carries %(load)s W") % figures


def _papers(site: Site, warnings: Sequence[SiteProblem], words: Words) -> list[Line]:
    """Say what there is for the reports: price, customer and installer."""
    _ = words.gettext
    nothing = _("not entered")
    tariff, customer, installer = site.tariff, site.customer, site.installer
    price = nothing
    if tariff is not None:
        price = _("%(price)s %(currency)s a kilowatt-hour") % {
            "price": tariff.per_kwh,
            "currency": tariff.currency,
        }
        if tariff.bands or tariff.changes:
            price += _("; at some times another, as the site file says")
    people = [
        ("customer", _("Customer"), customer and (customer.name, customer.address)),
        ("installer", _("Installer"), installer and (installer.name, installer.telephone, installer.email)),
    ]
    return [
        Line(
            id="tariff",
            name=_("Price of electricity"),
            address="/garden/tariff",
            says=price,
            warnings=_of("tariff", warnings),
        ),
        *(
            Line(
                id=key,
                name=name,
                address=f"/garden/{key}",
                says=", ".join(filter(None, found)) if found else nothing,
            )
            for key, name, found in people
        ),
    ]
