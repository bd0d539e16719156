"""What must hold between the ids of zones and fixtures and those that they had earlier."""

from collections.abc import Iterator, Mapping

from config.errors import KeyPath
from config.models.site import Site
from config.phrase import Phrase
from config.validation.cables import Document, Rows, tables_of
from config.validation.finding import SiteFinding, toml_string


def check_earlier_ids(document: Document) -> Iterator[SiteFinding]:
    """Yield what keeps the history under an earlier id from having one owner, which has another id now."""
    zones = tables_of(document, "zones")
    yield from _check_formerly(zones, of_fixtures=False)
    for path, zone in zones:
        fixtures = [((*path, *place), fixture) for place, fixture in tables_of(zone, "fixtures")]
        yield from _check_formerly(fixtures, of_fixtures=True)


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


def _check_formerly(tables: Rows, *, of_fixtures: bool) -> Iterator[SiteFinding]:
    owners: Mapping[object, KeyPath] = {
        table["id"]: path for path, table in tables if isinstance(table.get("id"), str)
    }
    claims: dict[str, KeyPath] = {}
    for path, table in tables:
        earlier = table.get("formerly")
        if earlier and "id" not in table:
            what = Phrase("names earlier ids of what has none now")
            remedy = (
                Phrase("add “id = …” to this fixture") if of_fixtures else Phrase("add “id = …” to this zone")
            )
            yield SiteFinding((*path, "formerly"), what, remedy)
        for index, old in enumerate(earlier if isinstance(earlier, list) else ()):
            if not isinstance(old, str):
                continue
            place = (*path, "formerly", index)
            claim = claims.setdefault(old, place)
            if old == table.get("id"):
                what = Phrase("is the id that it has now")
                yield SiteFinding(place, what, Phrase("name only ids that it had earlier"))
            elif old in owners:
                what = Phrase("is still the id of the zone on line {line}", line=0)
                remedy = Phrase("remove it here, or give that zone another id")
                if of_fixtures:
                    what = Phrase("is still the id of the fixture on line {line}", line=0)
                    remedy = Phrase("remove it here, or give that fixture another id")
                yield SiteFinding(place, what, remedy, (*owners[old], "id"))
            elif claim != place:
                what = Phrase("is named as an earlier id on line {line} already", line=0)
                remedy = Phrase("its history goes on in one zone: remove one of the two")
                if of_fixtures:
                    remedy = Phrase("its history goes on in one fixture: remove one of the two")
                yield SiteFinding(place, what, remedy, claim)
