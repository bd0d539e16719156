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
from config.phrase import Phrase
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

# What is wrong with an id or a pin that stands twice, with the name and the line of the first.
_ANOTHER_ZONES_ID = (
    Phrase("is already the id of zone “{name}” on line {line}", name="", line=0),
    Phrase("give each zone its own id"),
)
_ANOTHER_ZONES_PIN = (
    Phrase("is already the pin of zone “{name}” on line {line}", name="", line=0),
    Phrase("give each zone its own pin"),
)
_ANOTHER_TRANSFORMERS_ID = (
    Phrase("is already the id of transformer “{name}” on line {line}", name="", line=0),
    Phrase("give each transformer its own id"),
)
_ANOTHER_FIXTURES_ID = (
    Phrase("is already the id of fixture “{name}” on line {line}", name="", line=0),
    Phrase("give each fixture its own id"),
)


def find_too_long(value: object, path: KeyPath = ()) -> Iterator[SiteFinding]:
    """Yield every key and text that is longer than any that the other checks have to look at."""
    if isinstance(value, str) and len(value) > LONGEST_TEXT:
        what = Phrase("has more than {most} characters", most=LONGEST_TEXT)
        yield SiteFinding(path, what, Phrase("write a shorter one"))
    elif isinstance(value, Mapping):
        for key, item in value.items():
            if len(key) > LONGEST_TEXT:
                what = Phrase("has a key of more than {most} characters", most=LONGEST_TEXT)
                yield SiteFinding(path, what, Phrase("write a shorter one"))
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
        yield SiteFinding(("zones",), Phrase("is empty"), Phrase("add at least one [[zones]] table"))
    yield from _check_unique(zones, "id", str, _ANOTHER_ZONES_ID)
    yield from _check_unique(transformers, "id", str, _ANOTHER_TRANSFORMERS_ID)
    yield from _check_unique(zones, "pin", int, _ANOTHER_ZONES_PIN)
    for path, zone in zones:
        fixtures = [((*path, *place), fixture) for place, fixture in tables_of(zone, "fixtures")]
        yield from _check_unique(fixtures, "id", str, _ANOTHER_FIXTURES_ID)
    yield from check_earlier_ids(document)
    for path, transformer in transformers:
        if "efficiency" in transformer and "copper_w" in transformer:
            what = Phrase("is included in the efficiency, which is also given")
            remedy = Phrase("remove one of the two; with copper_w the efficiency follows from the load")
            yield SiteFinding((*path, "copper_w"), what, remedy)
    yield from check_cables(document)
    yield from _check_changes(document)
    relays = document.get("relays")
    if isinstance(relays, Mapping) and "chip" in relays and relays.get("driver") == "gpiozero":
        what = Phrase("is only for gpiod; gpiozero finds the chip by itself")
        remedy = Phrase('write driver = "gpiod", or remove the chip')
        yield SiteFinding(("relays", "chip"), what, remedy)
    network = document.get("network")
    if isinstance(network, Mapping) and "key" in network and "certificate" not in network:
        what = Phrase("has no certificate to go with it")
        remedy = Phrase("add “certificate = …”, or remove the key")
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


def _explain_time_zone(name: str, site: Document) -> tuple[Phrase, Phrase]:
    """Say what is wrong with the name of a time zone, and which was probably meant."""
    what = Phrase("is not a time zone of the tz database")
    if _OFFSET.fullmatch(name):
        what = Phrase("is an offset, which knows no summer time")
    elif like := _find_time_zone(name):
        return what, Phrase("did you mean “{meant}”?", meant=like)
    place = [site.get("latitude"), site.get("longitude")]
    if all(isinstance(each, int | Decimal) for each in place):
        from config.validation.place import name_near_zones  # noqa: PLC0415 (not needed to start the lights)

        if near := name_near_zones(*map(float, place)):  # type: ignore[arg-type]
            return what, Phrase("write an area and a city: {near}", near=near)
    return what, Phrase("write an area and a city such as America/New_York")


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
        remedy = Phrase("add a [site] table with name, latitude, longitude and time_zone")
        yield SiteFinding(("site",), Phrase("is missing"), remedy)
    elif not isinstance(site, Mapping):
        remedy = Phrase("write {heading} with one bracket on either side", heading="[site]")
        yield SiteFinding(("site",), Phrase("must be one table"), remedy)
    else:
        for key in site:
            if key in tables:
                remedy = Phrase("write [{key}] or [[{key}]] without “site.”", key=key)
                yield SiteFinding(("site", key), Phrase("does not belong under [site]"), remedy)
            elif key not in SITE_KEYS:
                from config.validation.messages import explain_unknown_key  # noqa: PLC0415 (not needed to start the lights)

                yield explain_unknown_key(("site", key))
    for key in document:
        if key in SITE_KEYS:
            yield SiteFinding((key,), Phrase("is outside all tables"), Phrase("put it under [site]"))
        elif key not in tables:
            yield _explain_table(key, document[key], tables)


def _explain_table(key: str, value: object, tables: Sequence[str]) -> SiteFinding:
    """Say what is wrong with a table, or a key, that the top does not have; it may belong inside another."""
    from config.validation.fields import heading_of, homes_of  # noqa: PLC0415 (not needed to start the lights)

    what = Phrase("is not a table of the site file")
    inner = [heading for home in homes_of(key) if (heading := heading_of(f"{home}.{key}"))]
    tables_there = value if isinstance(value, list) else [value]
    is_table = any(isinstance(each, Mapping) for each in tables_there)
    if inner:
        return SiteFinding((key,), what, Phrase("write {heading}, below its table", heading=inner[0]))
    if not is_table and (homes := homes_of(key)):
        remedy = Phrase("write it under {heading}", heading=heading_of(homes[0]))
        return SiteFinding((key,), what, remedy)
    if like := find_key(key, tables):
        remedy = Phrase("did you mean {heading}?", heading=heading_of(like))
        return SiteFinding((key,), what, remedy, meant=(like,))
    return SiteFinding((key,), what, Phrase("the tables are {tables}", tables=", ".join(tables)))


def _check_unique(
    tables: Rows, key: str, kind: type, clauses: tuple[Phrase, Phrase]
) -> Iterator[SiteFinding]:
    what, remedy = clauses
    first: dict[object, tuple[KeyPath, object]] = {}
    for path, table in tables:
        value = table.get(key)
        if isinstance(value, bool) or not isinstance(value, kind):
            continue
        owner, name = first.setdefault(value, (path, table.get("id", "")))
        if owner != path:
            yield SiteFinding((*path, key), what.fill(name=name), remedy, (*owner, key))


def _check_changes(document: Document) -> Iterator[SiteFinding]:
    tariff = document.get("tariff")
    changes = tables_of(tariff, "changes") if isinstance(tariff, Mapping) else []
    for (before_path, before), (path, change) in pairwise(changes):
        since, earlier = change.get("since"), before.get("since")
        # A date with a time is a date to Python, but not to the models, which report it.
        if type(since) is date and type(earlier) is date and since <= earlier:
            what = Phrase("is not after the date of the change on line {line}", line=0)
            remedy = Phrase("put the changes into the order of their dates, each date once")
            yield SiteFinding(("tariff", *path, "since"), what, remedy, ("tariff", *before_path, "since"))


def _check_transformers(zones: Rows, transformers: list[str]) -> Iterator[SiteFinding]:
    names = ", ".join(dict.fromkeys(transformers))
    for path, zone in zones:
        name = zone.get("transformer")
        key = (*path, "transformer")
        if name is None and len(transformers) > 1:
            what = Phrase("is missing, and the site has {count} transformers", count=len(transformers))
            yield SiteFinding(key, what, Phrase("add “transformer = …”: one of {names}", names=names))
        elif isinstance(name, str) and not transformers:
            what = Phrase("names a transformer, but the site has none")
            yield SiteFinding(key, what, Phrase("add a [[transformers]] table, or remove this key"))
        elif isinstance(name, str) and name not in transformers:
            remedy = suggest(name, transformers, Phrase("the site has {names}", names=names))
            yield SiteFinding(key, Phrase("is not a transformer of this site"), remedy)
