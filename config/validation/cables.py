"""What must hold between the cable keys of a site file; every violation is an error.

Like the other checks these read the file's plain tables. Where the ends of a cable are not known, nothing is
reported about the tree.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from config.errors import KeyPath
from config.models.cables import MOST_VOLTS
from config.phrase import Phrase, count_phrase
from config.validation.finding import CABLE_FORMS, SiteFinding

Document = Mapping[str, Any]
Rows = list[tuple[KeyPath, Document]]

# The greatest regulation that “regulation_percent” takes.
MOST_RISE = 1.5


def check_cables(document: Document) -> Iterator[SiteFinding]:
    """Yield everything that keeps the cables of a site file from supplying all the lights on them."""
    cables, transformers = tables_of(document, "cables"), tables_of(document, "transformers")
    fixtures = fixtures_of(document)
    for _, path, fixture in fixtures:
        yield from _check_fixture(path, fixture)
    yield from _check_taps(transformers, cables)
    for path, row in cables:
        yield from _check_form(path, row)
    if cables or any("node" in fixture for _, _, fixture in fixtures):
        from config.validation.cable_tree import check_tree, read_tree  # noqa: PLC0415 (most files have none)

        if tree := read_tree(document):
            yield from check_tree(tree)


def tables_of(document: Document, key: str) -> Rows:
    """List the tables under a key with their paths; what is not a table is left out."""
    rows = document.get(key)
    rows = enumerate(rows if isinstance(rows, list) else ())
    return [((key, index), row) for index, row in rows if isinstance(row, Mapping)]


def fixtures_of(document: Document) -> list[tuple[Document, KeyPath, Document]]:
    """List each fixture with its zone and its path."""
    return [
        (zone, (*path, *place), fixture)
        for path, zone in tables_of(document, "zones")
        for place, fixture in tables_of(zone, "fixtures")
    ]


def count_of(fixture: Document) -> int:
    """Return how many lights a fixture is; 1 where its count is missing or not valid."""
    count = fixture.get("count")
    return count if isinstance(count, int) and not isinstance(count, bool) and count > 0 else 1


def _check_fixture(path: KeyPath, fixture: Document) -> Iterator[SiteFinding]:
    if "lead_gauge" in fixture and "lead" not in fixture:
        what = Phrase("is the gauge of a lead without a length")
        yield SiteFinding((*path, "lead_gauge"), what, Phrase("add “lead = …”, such as “3 ft”"))
    if "driver" in fixture and fixture.get("lamp") == "filament":
        what = Phrase("is the driver of an LED, but the lamp is a filament")
        yield SiteFinding((*path, "driver"), what, Phrase("remove this key"))
    readings, count = fixture.get("measured_volts"), count_of(fixture)
    if isinstance(readings, list) and len(readings) not in (0, 1, count):
        what = count_phrase(
            "has {readings} readings of {n} light",
            "has {readings} readings of {n} lights",
            count,
            readings=len(readings),
        )
        remedy = Phrase("give one number for each light, or the last light’s alone")
        yield SiteFinding((*path, "measured_volts"), what, remedy)


def _check_taps(transformers: Rows, cables: Rows) -> Iterator[SiteFinding]:
    for path, transformer in transformers:
        begin = [(each, cable) for each, cable in cables if cable.get("from") == transformer.get("id")]
        taps = transformer.get("taps")
        no_tap = "tap" not in transformer and any("tap" not in cable for _, cable in begin)
        if no_tap:
            remedy = Phrase("add “tap = …”: the volts of the tap in use, such as 12")
            yield SiteFinding((*path, "tap"), Phrase("is missing, and cables begin here"), remedy)
        for each, table in ((path, transformer), *begin):
            tap = table.get("tap")
            if isinstance(taps, list) and tap is not None and tap not in taps:
                known = ", ".join(f"{volts} V" for volts in taps)
                remedy = Phrase("this transformer has {taps}", taps=known)
                yield SiteFinding((*each, "tap"), Phrase("is not one of its taps"), remedy)
        yield from _check_commons(transformer, begin)
        yield from _check_regulation(path, transformer, tap_told=no_tap)
    ids = [transformer.get("id") for _, transformer in transformers]
    at_transformers = {
        "tap": Phrase("is a tap, but this cable does not begin at a transformer"),
        "common": Phrase("is a common, but this cable does not begin at a transformer"),
    }
    for path, cable in cables:
        for key, what in at_transformers.items():
            if key in cable and "from" in cable and cable["from"] not in ids:
                yield SiteFinding((*path, key), what, Phrase("write it on the cable that does"))


def _check_commons(transformer: Document, begin: Rows) -> Iterator[SiteFinding]:
    """Yield the cables from a transformer whose common it does not have."""
    commons = transformer.get("commons", 1)
    for path, cable in begin:
        common = cable.get("common")
        if _is_count(commons) and _is_count(common) and common > commons:
            remedy = count_phrase(
                "this transformer has {n} common; write “commons = …” in its table if it has more",
                "this transformer has {n} commons; write “commons = …” in its table if it has more",
                commons,
            )
            yield SiteFinding((*path, "common"), Phrase("is not one of its commons"), remedy)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _check_regulation(path: KeyPath, transformer: Document, *, tap_told: bool) -> Iterator[SiteFinding]:
    """Yield what contradicts itself about a transformer's volts with and without load."""
    measured = [key for key in ("no_load_volts", "full_load_volts") if key in transformer]
    if not measured:
        return
    if "regulation_percent" in transformer:
        what = Phrase("says the same as “{key}”, which is also given", key=measured[0])
        yield SiteFinding((*path, "regulation_percent"), what, Phrase("remove one of the two"))
    if "tap" not in transformer and not tap_told:
        what = Phrase("is missing, and “{key}” was measured there", key=measured[0])
        remedy = Phrase("add “tap = …”: the volts of the tap at which you measured, such as 12")
        yield SiteFinding((*path, "tap"), what, remedy)
    if "no_load_volts" not in transformer:
        what = Phrase("needs the volts without load beside it")
        remedy = Phrase("add “no_load_volts = …”: the volts measured with nothing connected")
        yield SiteFinding((*path, "full_load_volts"), what, remedy)
        return
    of = "full_load_volts" if "full_load_volts" in transformer else "tap"
    no_load_v, full_load_v = (_volts_in(transformer.get(key)) for key in ("no_load_volts", of))
    if no_load_v is None or full_load_v is None:
        return
    if no_load_v < full_load_v:
        what = Phrase(
            "is below the {volts:g} V of “{key}”, and volts rise without load", volts=full_load_v, key=of
        )
        remedy = Phrase("measure both again, or exchange the two")
        yield SiteFinding((*path, "no_load_volts"), what, remedy)
    elif no_load_v > MOST_RISE * full_load_v:
        what = Phrase("is more than half above the {volts:g} V of “{key}”", volts=full_load_v, key=of)
        yield SiteFinding((*path, "no_load_volts"), what, Phrase("measure both at the tap in use"))


def _volts_in(value: object) -> float | None:
    """Return a number as volts; None for what the models refuse."""
    try:
        volts = float(value) if isinstance(value, int | float | Decimal) else 0.0
    except OverflowError:
        return None
    return volts if 0.0 < volts <= MOST_VOLTS else None


def _check_form(path: KeyPath, row: Document) -> Iterator[SiteFinding]:
    given = [form for form in CABLE_FORMS if form in row]
    if not given:
        remedy = Phrase("add “to = …” with the node at its end, or “line = …” or “hub = …”")
        yield SiteFinding(path, Phrase("leads nowhere"), remedy)
    for form in given[1:]:
        what = Phrase("excludes “{given}”, which is also given", given=given[0])
        yield SiteFinding((*path, form), what, Phrase("remove one of them, or write two cables"))
    if "hub" in row and not row.get("legs"):
        remedy = Phrase('add “legs = …”: the length of each leg, such as ["10 ft", "25 ft"]')
        yield SiteFinding((*path, "legs"), Phrase("is missing, and a hub has legs"), remedy)
    if "lights" in row and given and "line" not in row:
        remedy = Phrase("name the line with “line = …”, or remove this key")
        yield SiteFinding((*path, "lights"), Phrase("belongs to a line, but this cable is none"), remedy)
    for key in ("legs", "leg_gauge"):
        if key in row and given and "hub" not in row:
            what = Phrase("belongs to a hub, but this cable has none")
            yield SiteFinding((*path, key), what, Phrase("name the hub with “hub = …”, or remove this key"))
