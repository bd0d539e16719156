"""What must hold between the tables of a site file; every violation is an error.

These checks read the file's plain tables and not the models, so that their findings can be reported together
with the errors of a file from which no model can be made. Values of the wrong type are passed over here: the
models report them.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

from config.errors import KeyPath
from config.models.site import SITE_KEYS, Site
from config.validation.cables import Document, Rows, check_cables, tables_of
from config.validation.earlier_ids import check_earlier_ids
from config.validation.finding import SiteFinding, find_key, find_like, suggest

# Names that the system's tz database answers to although no place has them: the board's own setting, two
# leftovers, and the set that counts leap seconds and so is half a minute off.
_NO_PLACES = ("localtime", "posixrules", "Factory")
_NO_FOLDERS = ("right/", "posix/")
_OFFSET = re.compile(r"(?:UTC|GMT|Z)?\s*[+−-]?\s*[0-9]{1,2}(?::?[0-9]{2})?", re.IGNORECASE)
_ID = re.compile(r"[a-z0-9-]+")
# Of a key or a text; none that means something comes near. To search longer ones for what was meant may
# take minutes, and holds up the lights meanwhile.
LONGEST_TEXT = 1000


def find_too_long(value: object, path: KeyPath = ()) -> Iterator[SiteFinding]:
    """Yield every key and text that is longer than any that the other checks have to look at."""
    if isinstance(value, str) and len(value) > LONGEST_TEXT:
        yield SiteFinding(path, f"has more than {LONGEST_TEXT} characters", "write a shorter one")
    elif isinstance(value, Mapping):
        for key, item in value.items():
            if len(key) > LONGEST_TEXT:
                yield SiteFinding(
                    path, f"has a key of more than {LONGEST_TEXT} characters", "write a shorter one"
                )
            else:
                yield from find_too_long(item, (*path, key))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from find_too_long(item, (*path, place))


def check_document(document: Document) -> Iterator[SiteFinding]:
    """Yield everything that is wrong between the tables of a site file."""
    top = list(_check_top(document))
    yield from top
    zones, transformers = tables_of(document, "zones"), tables_of(document, "transformers")
    if document.get("zones") == []:
        yield SiteFinding(("zones",), "is empty", "add at least one [[zones]] table")
    yield from _check_unique(zones, "id", str, "zone")
    yield from _check_unique(transformers, "id", str, "transformer")
    yield from _check_unique(zones, "pin", int, "zone")
    for path, zone in zones:
        fixtures = [((*path, *place), fixture) for place, fixture in tables_of(zone, "fixtures")]
        yield from _check_unique(fixtures, "id", str, "fixture")
    yield from check_earlier_ids(document)
    for path, transformer in transformers:
        if "efficiency" in transformer and "copper_w" in transformer:
            what = "is included in the efficiency, which is also given"
            remedy = "remove one of the two; with copper_w the efficiency follows from the load"
            yield SiteFinding((*path, "copper_w"), what, remedy)
    yield from check_cables(document)
    yield from _check_changes(document)
    network = document.get("network")
    if isinstance(network, Mapping) and "key" in network and "certificate" not in network:
        what, remedy = "has no certificate to go with it", "add “certificate = …”, or remove the key"
        yield SiteFinding(("network", "key"), what, remedy)
    ids = [table.get("id") for _, table in transformers]
    # Where an id is not valid, it is not known which transformer was meant; one problem at a time.
    is_known = isinstance(document.get("transformers", []), list)
    is_known = is_known and ("transformers",) not in [finding.meant for finding in top]
    if is_known and all(isinstance(each, str) and _ID.fullmatch(each) for each in ids):
        yield from _check_transformers(zones, [str(each) for each in ids])
    site = document.get("site")
    name = site.get("time_zone") if isinstance(site, Mapping) else None
    if isinstance(site, Mapping) and isinstance(name, str) and not _is_time_zone(name):
        yield SiteFinding(("site", "time_zone"), *_explain_time_zone(name, site))


def _is_time_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    # Besides a name that is not found, a folder of the database and a file that is no zone end up here.
    except (KeyError, ValueError, OSError):
        return False
    return name not in _NO_PLACES and not name.startswith(_NO_FOLDERS)


def _explain_time_zone(name: str, site: Document) -> tuple[str, str]:
    """Say what is wrong with the name of a time zone, and which was probably meant."""
    what = "is not a time zone of the tz database"
    if _OFFSET.fullmatch(name):
        what = "is an offset, which knows no summer time"
    elif like := _find_time_zone(name):
        return what, f"did you mean “{like}”?"
    place = [site.get("latitude"), site.get("longitude")]
    if all(isinstance(each, int | Decimal) for each in place):
        from config.validation.place import name_near_zones  # noqa: PLC0415 (not needed to start the lights)

        if near := name_near_zones(*map(float, place)):  # type: ignore[arg-type]
            return what, f"write an area and a city: {near}"
    return what, "write an area and a city such as America/New_York"


def _find_time_zone(name: str) -> str | None:
    zones = sorted(zone for zone in available_timezones() if "/" in zone)
    wanted = name.partition(",")[0].strip().replace(" ", "_")
    area, _, city = wanted.rpartition("/")
    # Some cities are listed in several areas; the first in alphabetical order is the usual one.
    by_city = {zone.rpartition("/")[2]: zone for zone in reversed(zones)}
    by_city |= {zone.rpartition("/")[2]: zone for zone in zones if zone.startswith(f"{area}/")}
    like = find_like(city, by_city, likeness=0.8)
    return by_city[like] if like else None


def _check_top(document: Document) -> Iterator[SiteFinding]:
    tables = [field.alias or name for name, field in Site.model_fields.items()]
    tables = ["site", *(name for name in tables if name not in SITE_KEYS)]
    site = document.get("site")
    if site is None:
        remedy = "add a [site] table with name, latitude, longitude and time_zone"
        yield SiteFinding(("site",), "is missing", remedy)
    elif not isinstance(site, Mapping):
        yield SiteFinding(("site",), "must be one table", "write [site] with one bracket on either side")
    else:
        for key in site:
            if key in tables:
                remedy = f"write [{key}] or [[{key}]] without “site.”"
                yield SiteFinding(("site", key), "does not belong under [site]", remedy)
            elif key not in SITE_KEYS:
                from config.validation.messages import explain_unknown_key  # noqa: PLC0415 (not needed to start the lights)

                yield explain_unknown_key(("site", key))
    for key in document:
        if key in SITE_KEYS:
            yield SiteFinding((key,), "is outside all tables", "put it under [site]")
        elif key not in tables:
            yield _explain_table(key, document[key], tables)


def _explain_table(key: str, value: object, tables: Sequence[str]) -> SiteFinding:
    """Say what is wrong with a table, or a key, that the top does not have; it may belong inside another."""
    from config.validation.fields import heading_of, homes_of  # noqa: PLC0415 (not needed to start the lights)

    what = "is not a table of the site file"
    inner = [heading for home in homes_of(key) if (heading := heading_of(f"{home}.{key}"))]
    tables_there = value if isinstance(value, list) else [value]
    is_table = any(isinstance(each, Mapping) for each in tables_there)
    if inner:
        return SiteFinding((key,), what, f"write {inner[0]}, below its table")
    if not is_table and (homes := homes_of(key)):
        return SiteFinding((key,), what, f"write it under {heading_of(homes[0])}")
    if like := find_key(key, tables):
        return SiteFinding((key,), what, f"did you mean {heading_of(like)}?", meant=(like,))
    return SiteFinding((key,), what, f"the tables are {', '.join(tables)}")


def _check_unique(tables: Rows, key: str, kind: type, noun: str) -> Iterator[SiteFinding]:
    first: dict[object, tuple[KeyPath, object]] = {}
    for path, table in tables:
        value = table.get(key)
        if isinstance(value, bool) or not isinstance(value, kind):
            continue
        owner, name = first.setdefault(value, (path, table.get("id", "")))
        if owner != path:
            what = f"is already the {key} of {noun} “{name}” on line {{line}}"
            yield SiteFinding((*path, key), what, f"give each {noun} its own {key}", (*owner, key))


def _check_changes(document: Document) -> Iterator[SiteFinding]:
    tariff = document.get("tariff")
    changes = tables_of(tariff, "changes") if isinstance(tariff, Mapping) else []
    for (before_path, before), (path, change) in pairwise(changes):
        since, earlier = change.get("since"), before.get("since")
        # A date with a time is a date to Python, but not to the models, which report it.
        if type(since) is date and type(earlier) is date and since <= earlier:
            what = "is not after the date of the change on line {line}"
            remedy = "put the changes into the order of their dates, each date once"
            yield SiteFinding(("tariff", *path, "since"), what, remedy, ("tariff", *before_path, "since"))


def _check_transformers(zones: Rows, transformers: list[str]) -> Iterator[SiteFinding]:
    names = ", ".join(dict.fromkeys(transformers))
    for path, zone in zones:
        name = zone.get("transformer")
        key = (*path, "transformer")
        if name is None and len(transformers) > 1:
            what = f"is missing, and the site has {len(transformers)} transformers"
            yield SiteFinding(key, what, f"add “transformer = …”: one of {names}")
        elif isinstance(name, str) and not transformers:
            remedy = "add a [[transformers]] table, or remove this key"
            yield SiteFinding(key, "names a transformer, but the site has none", remedy)
        elif isinstance(name, str) and name not in transformers:
            remedy = f"{suggest(name, transformers)}the site has {names}"
            yield SiteFinding(key, "is not a transformer of this site", remedy)
