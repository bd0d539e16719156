"""Something to say about a site file, before anybody knows on which line it stands."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from config.errors import KeyPath

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteFinding:
    """One thing that is wrong or doubtful.

    Attributes:
        path: keys and list places from the top of the file; places are counted from 0.
        what: what is wrong, one clause; ``{line}`` in it stands for the line of ``other``.
        remedy: what would do, one clause.
        other: a second place that has to do with it.
    """

    path: KeyPath
    what: str
    remedy: str
    other: KeyPath | None = None


def write_path(path: KeyPath) -> str:
    """Write a path with dots, with list places from 1, as a person counts: ``zones[2].pin``."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            key = part if _BARE_KEY.fullmatch(part) else toml_string(part)
            text += f".{key}" if text else key
    return text


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
