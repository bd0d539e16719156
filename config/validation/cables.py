"""What must hold between the cable keys of a site file; every break of it is an error.

Like the other checks these read the file's plain tables, so that they can speak together with the errors of a
file from which no model can be made. Where the ends of a cable cannot be told, nothing is said of the tree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from config.errors import KeyPath
from config.validation.cable_tree import CableRun, FixtureRef, Plan, check_tree
from config.validation.finding import SiteFinding

Document = Mapping[str, object]
Rows = list[tuple[KeyPath, Document]]

FORMS = ("to", "line", "hub")
# More is no garden any more, and the search for advice, which grows with the square, should not take minutes.
MOST_NODES = 500


def check_cables(document: Document) -> Iterator[SiteFinding]:
    """Yield everything that keeps the cables of a site file from being trees with all lights on them."""
    cables, transformers = _rows(document, "cables"), _rows(document, "transformers")
    yield from _check_fixtures(document)
    yield from _check_taps(transformers, cables)
    for path, row in cables:
        yield from _check_form(path, row)
    runs = [_read_run(path, row) for path, row in cables]
    feeds = [row.get("id") for _, row in transformers]
    told = len(cables) == len(_list(document, "cables"))
    if not told or None in runs or not all(isinstance(feed, str) for feed in feeds):
        return
    plan = Plan(
        feeds=tuple(str(feed) for feed in feeds),
        runs=[run for run in runs if run is not None],
        lights=list(_read_lights(document, cables)),
    )
    if plan.count_nodes() > MOST_NODES:
        remedy = "put the lamps of a tape or a string at one node"
        yield SiteFinding(path=("cables",), what=f"lead to more than {MOST_NODES} nodes", remedy=remedy)
        return
    yield from check_tree(plan)


def _check_fixtures(document: Document) -> Iterator[SiteFinding]:
    """Check what two keys of one fixture say together."""
    for _, path, fixture in _fixtures(document):
        if "lead_gauge" in fixture and "lead" not in fixture:
            what = "is the gauge of a lead without a length"
            yield SiteFinding(path=(*path, "lead_gauge"), what=what, remedy="add “lead = …”, such as “3 ft”")
        if "driver" in fixture and fixture.get("lamp") == "filament":
            what = "is the driver of an LED, but the lamp is a filament"
            yield SiteFinding(path=(*path, "driver"), what=what, remedy="leave this key out")
        readings, count = fixture.get("measured_volts"), _count_of(fixture)
        if isinstance(readings, list) and len(readings) > count:
            what = f"has {len(readings)} readings of {count} light{'s' if count > 1 else ''}"
            remedy = "give one number for each light at most, or the last light's alone"
            yield SiteFinding(path=(*path, "measured_volts"), what=what, remedy=remedy)


def _check_taps(transformers: Rows, cables: Rows) -> Iterator[SiteFinding]:
    """Check that each tap in use is one of its transformer's, and that none is left to be guessed."""
    for path, transformer in transformers:
        begin = [(each, cable) for each, cable in cables if cable.get("from") == transformer.get("id")]
        taps = transformer.get("taps")
        if "tap" not in transformer and any("tap" not in cable for _, cable in begin):
            remedy = "add “tap = …”: the volts of the tap in use, such as 12"
            yield SiteFinding(path=(*path, "tap"), what="is missing, and cables begin there", remedy=remedy)
        for each, table in ((path, transformer), *begin):
            tap = table.get("tap")
            if isinstance(taps, list) and tap is not None and tap not in taps:
                remedy = f"this transformer has {', '.join(f'{volts} V' for volts in taps)}"
                yield SiteFinding(path=(*each, "tap"), what="is none of its taps", remedy=remedy)
    ids = [transformer.get("id") for _, transformer in transformers]
    for path, cable in cables:
        if "tap" in cable and "from" in cable and cable["from"] not in ids:
            what = "is a tap, but this cable begins at no transformer"
            yield SiteFinding(path=(*path, "tap"), what=what, remedy="write it on the cable that does")


def _check_form(path: KeyPath, row: Document) -> Iterator[SiteFinding]:
    """Check that a cable is one of its forms, and has what that form needs and nothing else."""
    given = [form for form in FORMS if form in row]
    if not given:
        remedy = "add “to = …” with the node at its end, or “line = …” or “hub = …”"
        yield SiteFinding(path=path, what="leads nowhere", remedy=remedy)
    for form in given[1:]:
        what = f"stands beside “{given[0]}”, and a cable is one of the two"
        yield SiteFinding(path=(*path, form), what=what, remedy="leave one of them out, or write two cables")
    if "hub" in row and not row.get("legs"):
        remedy = 'add “legs = …”: the length of each leg, such as ["10 ft", "25 ft"]'
        yield SiteFinding(path=(*path, "legs"), what="is missing, and a hub has legs", remedy=remedy)
    for key in ("legs", "leg_gauge"):
        if key in row and given and "hub" not in row:
            remedy = "name the hub with “hub = …”, or leave this key out"
            yield SiteFinding(
                path=(*path, key), what="belongs to a hub, and this cable has none", remedy=remedy
            )


def _list(document: Document, key: str) -> list[object]:
    rows = document.get(key)
    return rows if isinstance(rows, list) else []


def _rows(document: Document, key: str) -> Rows:
    """List the tables under a key with their paths."""
    rows = enumerate(_list(document, key))
    return [((key, index), row) for index, row in rows if isinstance(row, Mapping)]


def _fixtures(document: Document) -> Iterator[tuple[Document, KeyPath, Document]]:
    """Yield each fixture with its zone and its path."""
    for path, zone in _rows(document, "zones"):
        for index, fixture in enumerate(_list(zone, "fixtures")):
            if isinstance(fixture, Mapping):
                yield zone, (*path, "fixtures", index), fixture


def _count_of(fixture: Document) -> int:
    count = fixture.get("count")
    return count if isinstance(count, int) and not isinstance(count, bool) and count > 0 else 1


def _read_run(path: KeyPath, row: Document) -> CableRun | None:
    """Read where a cable begins and what it leads to; None where that cannot be told."""
    given = [form for form in FORMS if form in row]
    begins, name = row.get("from"), row.get(given[0]) if given else None
    if len(given) != 1 or not isinstance(begins, str) or not isinstance(name, str):
        return None
    legs = row.get("legs")
    count = len(legs) if isinstance(legs, list) else 0
    return CableRun(path=path, begins=begins, form=given[0], name=name, legs=count)


def _read_lights(document: Document, cables: Rows) -> Iterator[FixtureRef]:
    """Yield the fixtures that hang on something: as they say, else on what bears their zone's name."""
    ends = [row.get(form) for _, row in cables for form in ("line", "hub")]
    simple = {end for end in ends if isinstance(end, str)}
    ids = [row.get("id") for _, row in _rows(document, "transformers")]
    for zone, path, fixture in _fixtures(document):
        zone_id, feed = str(zone.get("id")), zone.get("transformer")
        if feed is None and len(ids) == 1:
            feed = ids[0]
        node = fixture.get("node", zone_id if zone_id in simple else None)
        if isinstance(node, str) and node.strip():
            known = feed if isinstance(feed, str) and feed in ids else None
            count = _count_of(fixture)
            yield FixtureRef(path=path, node=node, count=count, transformer=known, zone=zone_id)
