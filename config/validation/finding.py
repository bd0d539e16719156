"""One thing to report about a site file, before its line is known, and how its place is named."""

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from config.errors import KeyPath

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
CABLE_FORMS = {"to": "cable to", "line": "line", "hub": "hub"}


class SiteFinding(NamedTuple):
    """What is wrong, or probably a mistake, at a path, and what to do; one clause each.

    ``{line}`` in ``what`` stands for the line of ``other``, a second place that it concerns.
    """

    path: KeyPath
    what: str
    remedy: str
    other: KeyPath | None = None


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


def name_place(path: KeyPath, document: Mapping[str, Any]) -> str:
    """Name a place as a person does, zones and transformers by id: ``zone “jetty”, fixtures[2].watts``."""
    try:
        row = document[str(path[0])][path[1]]
        if path[0] == "cables":
            noun, name = next((noun, row[form]) for form, noun in CABLE_FORMS.items() if form in row)
        else:
            noun, name = {"zones": "zone", "transformers": "transformer"}[str(path[0])], row["id"]
    except (LookupError, TypeError, StopIteration):
        return write_path(path)
    if not isinstance(name, str) or not name.isprintable() or not name.strip():
        return write_path(path)
    return f"{noun} “{name}”" + (f", {write_path(path[2:])}" if path[2:] else "")


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


def suggest(word: str, known: Iterable[str]) -> str:
    """Return “did you mean …? ” where one of the known words is like this one, else an empty text."""
    like = find_like(word, known)
    return f"did you mean “{like}”? " if like else ""
