"""One thing to report about a site file, before its line is known, and how its place is named."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from config.errors import KeyPath
from config.phrase import Phrase, list_phrases

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
# What people call some keys; the first that the table has was meant.
_OTHER_WORDS = {
    "amount": ("count",),
    "bcm": ("pin",),
    "gpio": ("pin",),
    "lng": ("longitude",),
    "number": ("count",),
    "power": ("watts", "rated_watts"),
    "price": ("per_kwh",),
    "qty": ("count",),
    "quantity": ("count",),
    "schedule": ("program",),
    "title": ("name",),
    "type": ("kind", "lamp"),
    "tz": ("time_zone",),
    "va": ("rated_va",),
    "voltage": ("rated_volts", "tap"),
}
_SHORTEST = 3
CABLE_FORMS = ("to", "line", "hub")


class SiteFinding(NamedTuple):
    """What is wrong, or probably a mistake, at a path, and what to do; one clause each.

    ``line``, a value of ``what``, is filled in with the line of ``other``, a second place that it concerns.
    ``meant`` is the path that was probably meant by one that is not known.
    """

    path: KeyPath
    what: Phrase
    remedy: Phrase
    other: KeyPath | None = None
    meant: KeyPath = ()


def write_path(path: KeyPath) -> str:
    """Write a path with dots, with list indexes from 1, as a person counts: ``zones[2].pin``."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            key = part if _BARE_KEY.fullmatch(part) else toml_string(part)
            text += f".{key}" if text else key
    return text


def name_place(path: KeyPath, document: Mapping[str, Any]) -> Phrase:
    """Name a place as a person does, by ids or names: ``zone “jetty”, fixture “steps”, watts``."""
    try:
        row = document[str(path[0])][path[1]]
        if path[0] == "cables":
            kind, name = next((form, row[form]) for form in CABLE_FORMS if form in row)
        else:
            kind, name = str(path[0]), row.get("id") or row["name"]
        if not _is_name(name):
            return list_phrases([write_path(path)])
        row_name = _name_row(kind, name)
    except (LookupError, TypeError, AttributeError, StopIteration):
        return list_phrases([write_path(path)])
    return list_phrases([each for each in (row_name, *_name_fixture(path[2:], row)) if each])


def _name_row(kind: str, name: str) -> Phrase:
    """Name a row of one of the tables that have names; raises KeyError for another table."""
    return {
        "zones": Phrase("zone “{name}”", name=name),
        "transformers": Phrase("transformer “{name}”", name=name),
        "to": Phrase("cable to “{name}”", name=name),
        "line": Phrase("line “{name}”", name=name),
        "hub": Phrase("hub “{name}”", name=name),
    }[kind]


def _name_fixture(path: KeyPath, zone: Mapping[str, Any]) -> tuple[str, ...]:
    """Name a place inside a zone or another table: a fixture by its id or name, anything else by its path."""
    try:
        fixture = zone["fixtures"][path[1]] if path[0] == "fixtures" else {}
        name = fixture.get("id") or fixture.get("name")
    except (LookupError, TypeError, AttributeError):
        name = None
    if not _is_name(name):
        return (write_path(path),)
    return Phrase("fixture “{name}”", name=name), write_path(path[2:])


def _is_name(name: object) -> bool:
    return isinstance(name, str) and name.isprintable() and bool(name.strip())


def toml_string(text: str) -> str:
    """Write a text as TOML does, in double quotes."""
    # JSON's text is TOML's, but for one control character that JSON leaves as it is.
    import json  # noqa: PLC0415 (not needed to start the lights)

    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def find_like(word: str, known: Iterable[str], *, likeness: float = 0.6) -> str | None:
    """Return the known word that is most like this one, whatever its capitals; None where none is."""
    import difflib  # noqa: PLC0415 (not needed to start the lights)

    by_lower = {each.lower(): each for each in known}
    close = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=likeness)
    return by_lower[close[0]] if close else None


def find_key(word: str, keys: Sequence[str]) -> str | None:
    """Return the key that was probably meant: for another word, for a short form, or one that is like it."""
    lower = word.lower()
    if known := [key for key in _OTHER_WORDS.get(lower, ()) if key in keys]:
        return known[0]
    longer = [key for key in keys if key.startswith(lower) and len(lower) >= _SHORTEST]
    return longer[0] if len(longer) == 1 else find_like(word, keys)


def suggest(word: str, known: Iterable[str], remedy: Phrase) -> Phrase:
    """Put “did you mean …?” before a remedy where one of the known words is like this one."""
    like = find_like(word, known)
    return did_you_mean(like, remedy) if like else remedy


def did_you_mean(meant: str, remedy: Phrase) -> Phrase:
    """Put what was probably meant before a remedy."""
    return Phrase("did you mean “{meant}”? {remedy}", meant=meant, remedy=remedy)
