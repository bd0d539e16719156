"""A new site file, as a person would have written it: from what was asked for to its text."""

import os
from collections.abc import Collection, Sequence
from itertools import count
from pathlib import Path
from typing import Literal, NamedTuple

from config.errors import SiteFileError, SiteProblem
from config.file.atomic_write import fsync
from config.file.fixture_ids import slug
from config.file.loader import LoadedSite, parse_site, refuse_file
from config.file.toml_editor import write_value
from config.header import HEADER_PINS, RELAY_LINES
from config.phrase import Phrase
from config.validation.finding import toml_string

# About a metre, which is more than dusk needs.
_DECIMALS = 5
_COMMENTS_AT = 31
_LONGEST_ID = 40
EVERY_EVENING = "dusk to midnight"


class NewZone(NamedTuple):
    """A zone of a new site; its id is made of its name."""

    name: str
    pin: int
    active_high: bool = False
    program: str = EVERY_EVENING


class NewSite(NamedTuple):
    """What is asked for a new site file; places in degrees, north and east positive."""

    name: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str
    zones: Sequence[NewZone]
    board: Literal["simulated", "gpio"] = "simulated"
    listen: Literal["board", "home"] = "board"


def new_site_text(site: NewSite) -> str:
    """Write the text of a site file, with the comments that help whoever opens it later."""
    lines = [
        f"# The lights of {' '.join(site.name.split())}. “leerie check” finds mistakes in this file.",
        "# Transformers, lamps, cables and prices may be added: config/README.md has every key.",
        "",
        "[site]",
        f"name = {toml_string(site.name)}",
        _line("latitude", _degrees(site.latitude_deg), "degrees north of the equator; south is negative"),
        _line("longitude", _degrees(site.longitude_deg), "degrees east of Greenwich; west is negative"),
        _line("time_zone", toml_string(site.time_zone), "an area and a city of the tz database"),
        "",
        "[relays]",
        _board(site.board),
        "",
        "[network]",
        _listen(site.listen),
    ]
    ids: list[str] = []
    for zone in site.zones:
        ids.append(derive_zone_id(zone.name, ids))
        is_first = len(ids) == 1
        pin = f"header pin {HEADER_PINS[zone.pin]}" if zone.pin in HEADER_PINS else ""
        which = "BCM number; the relay's input is wired to " if is_first else ""
        closes = "most relay boards close on low" if is_first and not zone.active_high else ""
        lines += [
            "",
            "[[zones]]",
            f"id = {toml_string(ids[-1])}",
            f"name = {toml_string(zone.name)}",
            _line("pin", str(zone.pin), which + pin),
            _line("active_high", write_value(zone.active_high), closes),
            f"program = [{toml_string(zone.program)}]",
        ]
    return "\n".join(lines) + "\n"


def derive_zone_id(name: str, taken: Collection[str]) -> str:
    """Make an id of a zone's name that no other zone has: ``garden-path``, or else ``garden-path-2``."""
    base = slug(name) or "zone"
    return next(
        text
        for number in count(1)
        if (text := base if number == 1 else f"{base[: _LONGEST_ID - 4]}-{number}") not in taken
    )


def free_lines(taken: Collection[int]) -> list[int]:
    """List the BCM lines that suit a relay and are not taken yet, the one to propose first."""
    return [line for line in RELAY_LINES if line not in taken]


def place_warnings(
    name: str, latitude_deg: float, longitude_deg: float, time_zone: str
) -> tuple[SiteProblem, ...]:
    """Say what is probably wrong with a place and its time zone, as the check of a site file does.

    Raises:
        SiteFileError: they are not valid.
    """
    site = NewSite(name, latitude_deg, longitude_deg, time_zone, [NewZone("zone", RELAY_LINES[0])])
    return parse_site(new_site_text(site), "site.toml").warnings


def create_site(path: str | os.PathLike[str], text: str) -> LoadedSite:
    """Write a new site file, as a whole or not at all; what is there already is never touched.

    Raises:
        SiteFileError: the text is not a valid site, there is a file of that name, or it cannot be written.
    """
    name = os.fspath(path)
    loaded = parse_site(text, name)
    file = Path(name)
    temporary = file.with_name(f".{file.name}.leerie-new")
    try:
        temporary.unlink(missing_ok=True)  # only a crash half way leaves one behind
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o644)
        try:
            with os.fdopen(descriptor, "wb") as out:
                out.write(text.encode())
                out.flush()
                os.fsync(descriptor)
            os.link(temporary, file)
        finally:
            temporary.unlink(missing_ok=True)
        fsync(file.parent)
    except FileExistsError:
        raise refuse_existing(name) from None
    except OSError as error:
        what = Phrase("could not be written ({why})", why=error.strerror or "?")
        remedy = Phrase("check that its folder is there and may be written to")
        raise refuse_file(name, what, remedy) from error
    return loaded


def refuse_existing(name: str) -> SiteFileError:
    """Make the error for a file that is there already."""
    what = Phrase("is there already, and is left as it is")
    return refuse_file(name, what, Phrase("choose another name, or edit that file"))


def _line(key: str, value: str, comment: str) -> str:
    pair = f"{key} = {value}"
    return f"{pair:<{_COMMENTS_AT - 1}} # {comment}" if comment else pair


def _board(board: str) -> str:
    comment = '"gpio" once relays are wired to the board\'s pins' if board == "simulated" else ""
    return _line("board", toml_string(board), comment)


def _listen(listen: str) -> str:
    comment = "the home network too, for devices that are let in with a code"
    if listen == "board":
        comment = 'only this board; "home" opens it to the phones of the home network'
    return _line("listen", toml_string(listen), comment)


def _degrees(value: float) -> str:
    return f"{value:.{_DECIMALS}f}".rstrip("0").ljust(len(f"{value:.0f}") + 5, "0")
