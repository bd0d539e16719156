"""The set-up of a new garden: what its one form asks for, and the site file that comes of it."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from api.page.garden.fields import NEEDED, FieldError
from api.page.garden.place import read_where
from api.render.words import N_
from config.errors import ProgramError, SiteProblem
from config.file.loader import parse_site
from config.file.new_site import EVERY_EVENING, NewSite, NewZone, free_lines, new_site_text
from config.header import HEADER_PINS, RELAY_LINES, SUPPLY_PINS
from config.models.base import LONGEST_NAME
from config.models.site import FIRST_PIN, LAST_PIN
from config.phrase import Phrase
from config.program.parser import parse_span
from controller.clock.zone_of_place import zone_of_place
from controller.relays import BoardName, Wire

# More zones than a board has lines for relays nobody has.
MOST_ZONES = len(RELAY_LINES)
_HEADER_ROWS = 20


class RelayTrial(Protocol):
    """Closes a relay for a moment."""

    def blink(self, board: BoardName, wire: Wire) -> None:
        """Close it, and open it again; raises RelayError."""


@dataclass(frozen=True, kw_only=True)
class FirstRun:
    """What the screens of the set-up are given by whoever serves them.

    Attributes:
        site_path: where the site file will be.
        home: whether the home network is let in already.
        board: which relays are proposed.
        trial: finds out which relay is which.
        finish: called when the site file is there.
    """

    site_path: Path
    home: bool
    board: BoardName = "simulated"
    trial: RelayTrial
    finish: Callable[[], None]


@dataclass(kw_only=True, slots=True)
class ZoneRow:
    """One line of zones: its number from 1, and what was written."""

    number: int
    name: str
    pin: int
    mistake: str = ""


@dataclass(kw_only=True)
class SetUp:
    """The form, as it was filled in so far.

    Attributes:
        mistakes: what is wrong, by field; for the catalogue.
        warnings: what is probably wrong with the place, which somebody may insist on.
        problems: why the file was refused.
        said: what came of a trial of a relay; for the catalogue.
    """

    name: str = ""
    place: str = ""
    time_zone: str = ""
    program: str = EVERY_EVENING
    board: BoardName = "simulated"
    active_high: bool = False
    listen: str = "board"
    rows: list[ZoneRow] = field(default_factory=list)
    mistakes: dict[str, str] = field(default_factory=dict)
    warnings: Sequence[SiteProblem] = ()
    problems: Sequence[SiteProblem] = ()
    said: str = ""
    fault: str = ""

    @property
    def pins(self) -> dict[int, int]:
        """The number of the zone that has each pin of the header."""
        return {HEADER_PINS[row.pin]: row.number for row in reversed(self.rows)}

    def add_row(self) -> None:
        """Add a line, with the pin that is to be proposed next."""
        free = free_lines({row.pin for row in self.rows})
        if free and len(self.rows) < MOST_ZONES:
            self.rows.append(ZoneRow(number=len(self.rows) + 1, name="", pin=free[0]))


def read_set_up(form: Mapping[str, str], first: FirstRun) -> SetUp:
    """Read the form as it came; an empty one begins with one line for a zone."""
    found = SetUp(
        name=form.get("name", "").strip(),
        place=form.get("place", "").strip(),
        time_zone=form.get("time_zone", "").strip(),
        program=form.get("program", EVERY_EVENING).strip(),
        board="gpio" if form.get("board", first.board) == "gpio" else "simulated",
        active_high=form.get("active_high") == "true",
        listen=form.get("listen", "home" if first.home else "board"),
    )
    for number in range(1, MOST_ZONES + 1):
        pin = form.get(f"pin-{number}", "")
        if pin.isdecimal() and FIRST_PIN <= int(pin) <= LAST_PIN:
            found.rows.append(
                ZoneRow(number=number, name=form.get(f"zone-{number}", "").strip(), pin=int(pin))
            )
    if not found.rows:
        found.add_row()
    return found


def make_site_text(asked: SetUp, form: Mapping[str, str], site_path: Path) -> str:
    """Make the text of the site file, or an empty one where something is missing or has to be asked.

    What is wrong is then in ``asked``. The time zone is as written, else that of the place, else the phone's.

    Raises:
        SiteFileError: the text would be no valid site.
    """
    latitude, longitude = _check(asked)
    zone = asked.time_zone
    if not zone and not asked.mistakes:
        zone = zone_of_place(latitude, longitude) or form.get("phone_zone", "")
    if not asked.mistakes and zone not in zoneinfo.available_timezones():
        asked.mistakes["time_zone"] = N_("Write an area and a city, such as Europe/Oslo.")
    if asked.mistakes:
        return ""
    site = NewSite(
        name=asked.name,
        latitude_deg=latitude,
        longitude_deg=longitude,
        time_zone=zone,
        zones=[
            NewZone(row.name, row.pin, asked.active_high, asked.program) for row in asked.rows if row.name
        ],
        board=asked.board,
        listen="home" if asked.listen == "home" else "board",
    )
    text = new_site_text(site)
    loaded = parse_site(text, site_path.name)
    seen = f"{latitude}, {longitude}, {zone}"
    asked.warnings = [each for each in loaded.warnings if each.key.startswith("site")]
    if asked.warnings and form.get("sure") != seen:
        asked.time_zone = zone
        return ""
    return text


def _check(asked: SetUp) -> tuple[float, float]:
    """Note what is missing or cannot be read, and give the place."""
    place = 0.0, 0.0
    if not asked.name:
        asked.mistakes["name"] = NEEDED
    elif len(asked.name) > LONGEST_NAME or not asked.name.isprintable():
        asked.mistakes["name"] = N_("Write a shorter name, in one line.")
    try:
        if asked.place:
            place = read_where(asked.place)
        else:
            asked.mistakes["place"] = NEEDED
    except FieldError as error:
        asked.mistakes["place"] = str(error)
    try:
        parse_span(asked.program)
    except ProgramError:
        asked.mistakes["program"] = N_("Write it as “dusk to midnight”, “dusk for 4h” or “20:00 to 23:00”.")
    named = [row for row in asked.rows if row.name]
    if not named:
        asked.rows[0].mistake = N_("Name at least one zone.")
        asked.mistakes["zones"] = asked.rows[0].mistake
    taken: set[int] = set()
    for row in named:
        if row.pin in taken:
            row.mistake = N_("This pin is another zone's.")
            asked.mistakes["zones"] = row.mistake
        taken.add(row.pin)
    return place


def sure_of(asked: SetUp) -> str:
    """Give what somebody insists on who sends the same place and time zone once more."""
    try:
        latitude, longitude = read_where(asked.place)
    except FieldError:
        return ""
    return f"{latitude}, {longitude}, {asked.time_zone}"


@dataclass(frozen=True, kw_only=True, slots=True)
class HeaderPin:
    """A pin of the header as it is drawn: its number, what is on it, and where it stands."""

    number: int
    bcm: int | None
    label: str
    suits: bool

    @property
    def x(self) -> int:
        """Odd numbers on the left, even ones on the right, as on the board."""
        return 132 if self.number % 2 else 168

    @property
    def y(self) -> int:
        """From the top down."""
        return 18 + 26 * ((self.number - 1) // 2)


def header_pins() -> list[HeaderPin]:
    """List the forty pins of the header, from the top."""
    lines = {pin: bcm for bcm, pin in HEADER_PINS.items()}
    return [
        HeaderPin(
            number=number,
            bcm=lines.get(number),
            label=SUPPLY_PINS.get(number) or Phrase("BCM {bcm}", bcm=lines[number]),
            suits=lines.get(number) in RELAY_LINES,
        )
        for number in range(1, 2 * _HEADER_ROWS + 1)
    ]


def pin_choices() -> list[tuple[int, str]]:
    """List the lines for relays with their pins; those that suit best first."""
    others = [line for line in range(FIRST_PIN, LAST_PIN + 1) if line not in RELAY_LINES]
    return [(line, f"{HEADER_PINS[line]} (BCM {line})") for line in (*RELAY_LINES, *others)]
