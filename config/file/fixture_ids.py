"""Gives a fixture an id in the site file, so that what is recorded about it stays with it."""

import os
import re
import unicodedata
from collections.abc import Mapping
from itertools import count
from typing import Any

from config.errors import SiteFileError, SiteProblem, UnknownFixtureError
from config.file.editor import edit_site, find_zone
from config.file.loader import LoadedSite, decode_text, locate, read_bytes
from config.file.toml_editor import TomlEditor
from config.models.base import RELAY
from config.phrase import Phrase
from config.validation.finding import SiteFinding, toml_string

_LONGEST = 40
_OTHERS = re.compile(r"[^a-z0-9]+")


def write_fixture_id(path: str | os.PathLike[str], zone_id: str, place: int) -> LoadedSite:
    """Write an id for a fixture, by its place in its zone from 1, into the site file, unless it has one.

    The id is made of the fixture's name or kind, and is no other fixture's in the zone, now or earlier.

    Returns and raises what edit_site does; where the file cannot be written, the error also says which key to
    write on which line.

    Raises:
        UnknownZoneError: the file has no such zone.
        UnknownFixtureError: the zone has no such fixture.
    """
    wanted: list[tuple[tuple[str | int, ...], str]] = []

    def change(editor: TomlEditor) -> None:
        zone = find_zone(editor, zone_id)
        fixtures = editor.get((*zone, "fixtures")) or []
        if not 1 <= place <= len(fixtures):
            raise UnknownFixtureError(zone_id, place, len(fixtures))
        if "id" not in fixtures[place - 1]:
            fixture = (*zone, "fixtures", place - 1)
            wanted.append((fixture, derive_fixture_id(fixtures, place)))
            editor.put((*fixture, "id"), wanted[0][1])

    try:
        return edit_site(path, change)
    except SiteFileError as error:
        if not wanted or not isinstance(error.__cause__, OSError):
            raise
        raise SiteFileError((*error.problems, *_by_hand(path, *wanted[0]))) from error.__cause__


def _by_hand(
    path: str | os.PathLike[str], fixture: tuple[str | int, ...], fixture_id: str
) -> tuple[SiteProblem, ...]:
    """Say what a person can write where this program cannot."""
    what = Phrase("has no id for its replacements to be recorded under")
    remedy = Phrase("add “id = {id}” to this table", id=toml_string(fixture_id))
    finding = SiteFinding(fixture, what, remedy)
    name = os.fspath(path)
    return locate([finding], decode_text(read_bytes(path), name), name)


def derive_fixture_id(fixtures: list[Mapping[str, Any]], place: int) -> str:
    """Make an id for the fixture at a place, from 1, of a zone's tables: ``path``, or else ``path-2``."""
    fixture = fixtures[place - 1]
    taken = {each.get("id") for each in fixtures}.union(*(each.get("formerly", ()) for each in fixtures))
    base = slug(str(fixture.get("name", ""))) or str(fixture["kind"])
    return next(
        text
        for number in count(1)
        if (text := base if number == 1 else f"{base[: _LONGEST - 4]}-{number}") not in taken
    )


def slug(name: str) -> str:
    """Write a name in the letters that an id may have; nothing where it could not be one."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    text = _OTHERS.sub("-", plain).strip("-")[:_LONGEST].strip("-")
    return "" if text.isdigit() or text == RELAY else text
