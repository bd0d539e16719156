"""``leerie new``: asks a few questions and writes a site file; no editor needed."""

from __future__ import annotations

import sys
import zoneinfo
from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.cli.options import site_argument

if TYPE_CHECKING:
    from config.file.new_site import NewSite, NewZone


@click.command("new", short_help="Write a site file by answering a few questions.")
@site_argument
def new(*, site_path: Path) -> None:
    """Ask where the garden is and what its zones are, and write SITE.toml, which must not be there yet.

    The place may be given as coordinates, as a pasted link of a map, or by the name of a city.
    """
    from config.errors import LeerieError
    from config.file.new_site import create_site, new_site_text, refuse_existing
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    if site_path.exists():
        raise refuse_existing(str(site_path))
    try:
        answers = _ask()
    except click.Abort:
        if sys.stdin.isatty():
            raise
        raise LeerieError("the input ended before the last answer; nothing was written") from None
    loaded = create_site(site_path, new_site_text(answers))
    for warning in loaded.warnings:
        click.echo(f"warning: {warning}")
    zones = len(loaded.site.zones)
    click.echo(f"\nWritten: {site_path}, with {zones} zone{'s' if zones > 1 else ''}.")
    click.echo(f"To start it: leerie run {site_path}. What it will do: leerie nights {site_path}.")


def _ask() -> NewSite:
    """Ask for everything that a site needs."""
    from config.file.new_site import NewSite
    from controller.relays import propose_board

    click.echo("Enter takes what stands in brackets. Ctrl-C ends, and nothing is written.\n")
    name = _prompt("What is the garden called", _name)
    latitude_deg, longitude_deg, time_zone = _ask_place(name)
    wired = click.confirm("Are relays wired to this board's pins already", default=propose_board() == "gpio")
    home = click.confirm("May phones in the home network use its page, once let in with a code", default=True)
    return NewSite(
        name=name,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        time_zone=time_zone,
        zones=_ask_zones(),
        board="gpio" if wired else "simulated",
        listen="home" if home else "board",
    )


def _ask_place(name: str) -> tuple[float, float, str]:
    """Ask for place and time zone until they agree, or a person says that they do."""
    from config.file.new_site import place_warnings
    from config.validation.place import name_near_zones
    from controller.clock.zone_of_place import zone_of_place

    while True:
        latitude, longitude = _prompt("Where is it? Coordinates, a link from a map, or a city nearby", _place)
        proposed = zone_of_place(latitude, longitude)
        if proposed is None and (near := name_near_zones(latitude, longitude)):
            click.echo(f"  {near[0].upper()}{near[1:]}.")
        time_zone = _prompt("Its time zone", _time_zone, default=proposed)
        warnings = place_warnings(name, latitude, longitude, time_zone)
        for warning in warnings:
            click.echo(f"  warning: {warning.where or warning.key}: {warning.what}; {warning.remedy}")
        if not warnings or click.confirm("Is it right all the same", default=False):
            return latitude, longitude, time_zone


def _ask_zones() -> list[NewZone]:
    from config.file.new_site import EVERY_EVENING, NewZone, free_lines

    zones: list[NewZone] = []
    while True:
        question = "Next zone (Enter if that was all)" if zones else "What is the first zone called"
        name = _prompt(question, _name_or_nothing if zones else _name, default="" if zones else None)
        if not name:
            return zones
        taken = {zone.pin for zone in zones}
        free = free_lines(taken)
        pin = _prompt(
            "  BCM number of its relay's pin", _unless_taken(taken), default=str(free[0]) if free else None
        )
        program = _prompt("  Lit", _span, default=EVERY_EVENING)
        zones.append(NewZone(name=name, pin=pin, program=program))


def _prompt(question: str, read: Callable[[str], Any], *, default: str | None = None) -> Any:  # noqa: ANN401
    """Ask until the answer can be read; click says why it cannot, and asks again."""

    def take(text: str) -> Any:  # noqa: ANN401 - what the reader gives
        try:
            return read(text.strip())
        except ValueError as error:
            raise click.UsageError(str(error)) from None

    return click.prompt(question, default=default, value_proc=take, show_default=bool(default))


def _name(text: str) -> str:
    if not text:
        raise ValueError("write a name")
    return _name_or_nothing(text)


def _name_or_nothing(text: str) -> str:
    from config.models.base import LONGEST_NAME

    if len(text) > LONGEST_NAME or not text.isprintable():
        raise ValueError(f"a name is text of one line, at most {LONGEST_NAME} characters")
    return text


def _place(text: str) -> tuple[float, float]:
    """Read coordinates or a link; else find a city, and ask which if there are several."""
    from config.place_text import read_place
    from controller.design.cities import find_cities

    cities = find_cities(text)
    if not cities:
        try:
            return read_place(text)
        except ValueError as error:
            raise ValueError(f"{error}, or a larger city") from None
    if len(cities) > 1:
        for number, city in enumerate(cities, start=1):
            click.echo(f"  {number} {city.name}, {city.country}")
        number = click.prompt("Which of them", type=click.IntRange(1, len(cities)))
        cities = [cities[number - 1]]
    (city,) = cities
    click.echo(f"  {city.name}, {city.country}: {city.latitude_deg}, {city.longitude_deg}")
    return city.latitude_deg, city.longitude_deg


def _time_zone(text: str) -> str:
    from config.phrase import Phrase
    from config.validation.finding import suggest

    known = zoneinfo.available_timezones()
    if text not in known:
        remedy = suggest(text, known, Phrase("write an area and a city, such as Europe/Oslo"))
        raise ValueError(f"“{text}” is no time zone; {remedy}")
    return text


def _unless_taken(taken: Collection[int]) -> Callable[[str], int]:
    from config.header import HEADER_PINS
    from config.models.site import FIRST_PIN, LAST_PIN

    def read(text: str) -> int:
        pin = int(text) if text.isdecimal() else -1
        if not FIRST_PIN <= pin <= LAST_PIN:
            raise ValueError(f"“{text}” is no BCM number of a pin; write {FIRST_PIN} to {LAST_PIN}")
        if pin in taken:
            raise ValueError(f"BCM {pin} is another zone's; choose one that is free")
        click.echo(f"  BCM {pin} is header pin {HEADER_PINS[pin]}.")
        return pin

    return read


def _span(text: str) -> str:
    from config.program.parser import parse_span

    return str(parse_span(text))
