"""The garden in short sections: what its site file says, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.page.garden.cables import Supply, draw_cables
from api.page.sentences import reason_of
from api.render.words import Words
from config.errors import SiteProblem
from config.header import HEADER_PINS
from config.models.site import Site, Transformer, Zone


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
    cables: list[Supply]
    cable_warnings: list[SiteProblem]
    can_have_cables: bool
    board: list[Line]
    papers: list[Line]
    warnings: list[SiteProblem]


def show_garden(
    site: Site, document: Mapping[str, Any], warnings: Sequence[SiteProblem], words: Words
) -> Garden:
    """Say what the site file says."""
    _ = words.gettext
    zones = [
        Line(
            id=zone.id,
            name=zone.name,
            address=f"/garden/zones/{zone.id}",
            says=_zone(site, zone, words),
            warnings=problems_of(f"zones[{number}]", warnings),
        )
        for number, zone in enumerate(site.zones, start=1)
    ]
    transformers = [
        Line(
            id=each.id,
            name=each.name,
            address=f"/garden/transformers/{each.id}",
            says=_transformer(site, each, words),
            warnings=problems_of(f"transformers[{number}]", warnings),
        )
        for number, each in enumerate(site.transformers, start=1)
    ]
    papers, board = _papers(site, warnings, words), _board(site, warnings, words)
    of_cables = [each for each in warnings if each.key.startswith("cables")]
    lines = (*zones, *transformers, *papers, *board)
    shown = {id(each) for each in (*of_cables, *(each for line in lines for each in line.warnings))}
    count = words.ngettext("It has one zone.", "It has %(count)d zones.", len(zones)) % {"count": len(zones)}
    return Garden(
        sentence=_("This is the garden as Leerie knows it."),
        rest=count,
        place=_place(site, words),
        zones=zones,
        transformers=transformers,
        cables=draw_cables(document, words),
        cable_warnings=of_cables,
        can_have_cables=bool(site.transformers),
        board=board,
        papers=papers,
        warnings=[each for each in warnings if id(each) not in shown],
    )


def problems_of(key: str, warnings: Sequence[SiteProblem]) -> list[SiteProblem]:
    """List the problems of a part of the site file, by its dotted path."""
    return [each for each in warnings if each.key == key or each.key.startswith((f"{key}.", f"{key}["))]


def _place(site: Site, words: Words) -> str:
    _ = words.gettext
    north = _("%(degrees)s north") if site.latitude_deg >= 0 else _("%(degrees)s south")
    east = _("%(degrees)s east") if site.longitude_deg >= 0 else _("%(degrees)s west")
    return _("%(north)s, %(east)s; its clocks go by %(zone)s.") % {
        "north": north % {"degrees": f"{words.number(abs(site.latitude_deg), 4)}°"},
        "east": east % {"degrees": f"{words.number(abs(site.longitude_deg), 4)}°"},
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
        parts.append(words.written(f"{zone.rated_load.watts:g}") + "\N{NO-BREAK SPACE}W")
    text = "; ".join(parts)
    if zone.out_of_service is not None:
        text = _("out of service: %(why)s") % {"why": reason_of(zone, words)} + f"; {text}"
    return text


def _transformer(site: Site, transformer: Transformer, words: Words) -> str:
    loads = [zone.rated_load.watts for zone in site.zones if site.transformer_of(zone) is transformer]
    known = sum(each for each in loads if each is not None)
    figures = {"load": words.written(f"{known:g}"), "rating": words.written(f"{transformer.rated_va:g}")}
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
            "price": words.written(str(tariff.per_kwh)),
            "currency": tariff.currency,
        }
        if tariff.bands or tariff.changes:
            price += _("; at some times another")
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
            warnings=problems_of("tariff", warnings),
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


def _board(site: Site, warnings: Sequence[SiteProblem], words: Words) -> list[Line]:
    """Say what there is of the board and its surroundings: relays, clock, how it is found, wiring."""
    _ = words.gettext
    relays, wiring = site.relays, site.wiring
    switched = _("simulated: nothing is switched")
    if relays.board == "gpio":
        switched = _("on the pins of this board")
    rest = _("they rest %(seconds)s s between two switchings") % {
        "seconds": words.written(f"{relays.rest_s:g}")
    }
    believed = _("believed once the network has set it, or a person confirmed it")
    if site.clock.believe == "always":
        believed = _("always believed")
    found = _("the home network does not find it by a name")
    if site.network.discovery:
        found = _("as leerie.local, where it is open to the home network")
    limit = _("no limit but what the lamps allow")
    if wiring.drop_percent is not None:
        limit = _("at most %(percent)s %% of the volts may be lost") % {
            "percent": words.written(f"{wiring.drop_percent:g}")
        }
    said = [
        ("relays", _("Relays"), f"{switched}; {rest}"),
        ("clock", _("The clock"), believed),
        ("network", _("How it is found"), ", ".join((found, *site.network.names))),
        ("wiring", _("What is asked of the wiring"), limit),
    ]
    return [
        Line(id=key, name=name, address=f"/garden/{key}", says=says, warnings=problems_of(key, warnings))
        for key, name, says in said
    ]
