"""What must hold between the ids of zones and fixtures and those that they had earlier."""

from collections.abc import Iterator, Mapping

from config.errors import KeyPath
from config.models.site import Site
from config.validation.cables import Document, Rows, tables_of
from config.validation.finding import SiteFinding, toml_string


def check_earlier_ids(document: Document) -> Iterator[SiteFinding]:
    """Yield what keeps the history under an earlier id from having one owner, which has another id now."""
    zones = tables_of(document, "zones")
    yield from _check_formerly(zones, "zone")
    for path, zone in zones:
        fixtures = [((*path, *place), fixture) for place, fixture in tables_of(zone, "fixtures")]
        yield from _check_formerly(fixtures, "fixture")


def find_renames(before: Site, after: Site) -> Iterator[str]:
    """Yield a hint for each zone that is gone where a new one has its pin: probably the same one."""
    gone = {zone.pin: zone.id for zone in before.zones if zone.id not in _ids_of(after)}
    for zone in after.zones:
        if zone.pin in gone and zone.id not in _ids_of(before):
            earlier = ", ".join(toml_string(each) for each in (*zone.formerly, gone[zone.pin]))
            yield (
                f"zone {gone[zone.pin]} is gone and zone {zone.id} is new on the same pin: if it is the same "
                f"zone, write formerly = [{earlier}] in it to keep its history"
            )


def _ids_of(site: Site) -> set[str]:
    """Give the ids that the zones of a site have or had."""
    return {each for zone in site.zones for each in (zone.id, *zone.formerly)}


def _check_formerly(tables: Rows, noun: str) -> Iterator[SiteFinding]:
    owners: Mapping[object, KeyPath] = {
        table["id"]: path for path, table in tables if isinstance(table.get("id"), str)
    }
    claims: dict[str, KeyPath] = {}
    for path, table in tables:
        earlier = table.get("formerly")
        if earlier and "id" not in table:
            what = "names earlier ids of what has none now"
            yield SiteFinding((*path, "formerly"), what, f"add “id = …” to this {noun}")
        for index, old in enumerate(earlier if isinstance(earlier, list) else ()):
            if not isinstance(old, str):
                continue
            place = (*path, "formerly", index)
            claim = claims.setdefault(old, place)
            if old == table.get("id"):
                yield SiteFinding(place, "is the id that it has now", "name only ids that it had earlier")
            elif old in owners:
                what = f"is still the id of the {noun} on line {{line}}"
                remedy = f"remove it here, or give that {noun} another id"
                yield SiteFinding(place, what, remedy, (*owners[old], "id"))
            elif claim != place:
                what = "is named as an earlier id on line {line} already"
                remedy = f"its history goes on in one {noun}: remove one of the two"
                yield SiteFinding(place, what, remedy, claim)
