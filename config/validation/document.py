"""What must hold between the tables of a site file; every break of it is an error.

These checks read the file's plain tables and not the models, so that they can speak together with the
errors of a file from which no model can be made. What is not of the right kind is passed over here: the
models have said so already.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

from config.errors import KeyPath
from config.models.site import SITE_KEYS, Site
from config.validation.cables import check_cables
from config.validation.finding import SiteFinding, find_like, suggest

Document = Mapping[str, object]

# Names that the system's tz database answers to although no place has them: the board's own setting, two
# leftovers, and the set that counts leap seconds and so is half a minute off.
_NO_PLACES = ("localtime", "posixrules", "Factory")
_NO_FOLDERS = ("right/", "posix/")
_ID = re.compile(r"[a-z0-9-]+")


def check_document(document: Document) -> Iterator[SiteFinding]:
    """Yield everything that is wrong between the tables of a site file."""
    yield from _check_top(document)
    zones = list(_list_tables(document, "zones"))
    transformers = list(_list_tables(document, "transformers"))
    if document.get("zones") == []:
        yield SiteFinding(path=("zones",), what="is empty", remedy="add at least one [[zones]] table")
    yield from _check_ids(zones, "zone")
    yield from _check_ids(transformers, "transformer")
    yield from _check_pins(zones)
    yield from _check_losses(transformers)
    yield from check_cables(document)
    yield from _check_changes(document)
    ids = [table.get("id") for _, table in transformers]
    # With an id that is none, nobody can tell which transformer was meant; one problem at a time.
    if all(isinstance(each, str) and _ID.fullmatch(each) for each in ids):
        yield from _check_feeds(zones, [str(each) for each in ids])
    site = document.get("site")
    name = site.get("time_zone") if isinstance(site, Mapping) else None
    if isinstance(name, str) and not is_time_zone(name):
        yield SiteFinding(
            path=("site", "time_zone"),
            what="is no time zone of the tz database",
            remedy=f"{_suggest_time_zone(name)}write an area and a city such as America/New_York",
        )


def is_time_zone(name: str) -> bool:
    """Whether the tz database at hand knows a place or an offset of that name."""
    if name in _NO_PLACES or name.startswith(_NO_FOLDERS):
        return False
    try:
        ZoneInfo(name)
    # Besides a name that is not found, a folder of the database and a file that is no zone end up here.
    except (KeyError, ValueError, OSError):
        return False
    return True


def _suggest_time_zone(name: str) -> str:
    """Suggest a zone for a city alone, for wrong capitals and for a slip of the finger."""
    zones = sorted(zone for zone in available_timezones() if zone not in _NO_PLACES)
    wanted = name.strip().replace(" ", "_")
    if "/" in wanted:
        return suggest(wanted, zones)
    # Some cities stand in several areas; the first in the order of the alphabet is the usual one.
    by_city = {zone.rpartition("/")[2]: zone for zone in reversed(zones)}
    city = find_like(wanted, by_city, likeness=0.8)
    return f"did you mean “{by_city[city]}”? " if city else ""


def _check_top(document: Document) -> Iterator[SiteFinding]:
    """Check that [site] is there and that nothing unknown stands beside it or in it."""
    tables = [field.alias or name for name, field in Site.model_fields.items()]
    tables = ["site", *(name for name in tables if name not in SITE_KEYS)]
    site = document.get("site")
    if site is None:
        remedy = "add a [site] table with name, latitude, longitude and time_zone"
        yield SiteFinding(path=("site",), what="is missing", remedy=remedy)
    elif not isinstance(site, Mapping):
        remedy = "write [site] with one bracket on either side"
        yield SiteFinding(path=("site",), what="is not one table", remedy=remedy)
    else:
        for key in site:
            if key in tables:
                remedy = f"write [{key}] or [[{key}]] without “site.”"
                yield SiteFinding(path=("site", key), what="does not belong under [site]", remedy=remedy)
            elif key not in SITE_KEYS:
                from config.validation.messages import explain_unknown_key  # noqa: PLC0415 (not needed to start the lights)

                what, remedy = explain_unknown_key(("site", key))
                yield SiteFinding(path=("site", key), what=what, remedy=remedy)
    for key in document:
        if key in SITE_KEYS:
            yield SiteFinding(path=(key,), what="stands outside of every table", remedy="put it under [site]")
        elif key not in tables:
            remedy = f"{suggest(key, tables)}the tables are {', '.join(tables)}"
            yield SiteFinding(path=(key,), what="is no table of a site file", remedy=remedy)


def _list_tables(document: Document, key: str) -> Iterator[tuple[KeyPath, Document]]:
    """Yield the tables of a list with their paths."""
    rows = document.get(key)
    for index, row in enumerate(rows if isinstance(rows, list) else ()):
        if isinstance(row, Mapping):
            yield (key, index), row


def _check_ids(tables: list[tuple[KeyPath, Document]], noun: str) -> Iterator[SiteFinding]:
    """Yield each table whose id an earlier table has already."""
    first: dict[str, KeyPath] = {}
    for path, table in tables:
        name = table.get("id")
        if isinstance(name, str) and first.setdefault(name, path) != path:
            yield SiteFinding(
                path=(*path, "id"),
                what=f"is already the id of the {noun} on line {{line}}",
                remedy=f"give each {noun} an id of its own",
                other=(*first[name], "id"),
            )


def _check_pins(zones: list[tuple[KeyPath, Document]]) -> Iterator[SiteFinding]:
    """Yield each zone whose pin an earlier zone has already."""
    first: dict[int, tuple[KeyPath, object]] = {}
    for path, zone in zones:
        pin = zone.get("pin")
        if not isinstance(pin, int) or isinstance(pin, bool):
            continue
        owner, name = first.setdefault(pin, (path, zone.get("id", "")))
        if owner != path:
            yield SiteFinding(
                path=(*path, "pin"),
                what=f"is already the pin of zone “{name}” on line {{line}}",
                remedy="give each zone a pin of its own",
                other=(*owner, "pin"),
            )


def _check_losses(transformers: list[tuple[KeyPath, Document]]) -> Iterator[SiteFinding]:
    """Yield each transformer whose losses are given in two ways that exclude each other."""
    for path, transformer in transformers:
        if "efficiency" in transformer and "copper_w" in transformer:
            yield SiteFinding(
                path=(*path, "copper_w"),
                what="is given beside an efficiency, which holds it already",
                remedy="leave one of the two out; with copper_w the efficiency follows from the load",
            )


def _check_changes(document: Document) -> Iterator[SiteFinding]:
    """Yield each change of the tariff that does not come after the one before it."""
    tariff = document.get("tariff")
    changes = list(_list_tables(tariff, "changes")) if isinstance(tariff, Mapping) else []
    for (before_path, before), (path, change) in pairwise(changes):
        since, earlier = change.get("since"), before.get("since")
        # A date with a time is a date to Python, but none to the models, which say so.
        if type(since) is date and type(earlier) is date and since <= earlier:
            yield SiteFinding(
                path=("tariff", *path, "since"),
                what="is not after the date of the change on line {line}",
                remedy="put the changes into the order of their dates, each date once",
                other=("tariff", *before_path, "since"),
            )


def _check_feeds(zones: list[tuple[KeyPath, Document]], transformers: list[str]) -> Iterator[SiteFinding]:
    """Check that each zone is fed by a transformer that exists, if the site has any."""
    names = ", ".join(dict.fromkeys(transformers))
    for path, zone in zones:
        feed = zone.get("transformer")
        path = (*path, "transformer")  # noqa: PLW2901 (the place of the one key looked at)
        if feed is None and len(transformers) > 1:
            what = f"is missing, and the site has {len(transformers)} transformers"
            yield SiteFinding(path=path, what=what, remedy=f"add “transformer = …”: one of {names}")
        elif isinstance(feed, str) and not transformers:
            what = "names a transformer, but the site has none"
            yield SiteFinding(
                path=path, what=what, remedy="add a [[transformers]] table, or leave this key out"
            )
        elif isinstance(feed, str) and feed not in transformers:
            remedy = f"{suggest(feed, transformers)}the site has {names}"
            yield SiteFinding(path=path, what="is no transformer of this site", remedy=remedy)
