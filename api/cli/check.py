"""``leerie check``: reads the site file, says every problem at once and what the year's sun makes of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import json_option, load, now_utc, print_json, site_argument, take_date
from config.errors import SiteFileError, SiteProblem

if TYPE_CHECKING:
    from config.file.loader import LoadedSite
    from config.models.site import Site

# The words in front of each line, all as long as the longest.
LEVELS = ("error", "warning", "note")

Levelled = tuple[str, SiteProblem]


@click.command("check")
@site_argument
@click.option(
    "--from",
    "from_date",
    callback=take_date,
    metavar="DATE",
    help="First night of the year looked at; else tonight.",
)
@json_option
def check(*, site_path: Path, from_date: date | None, as_json: bool) -> int:
    """Read the site file and print every problem at once.

    An error is a file that cannot be used: exit code 2. A warning is hardly meant, and a note is what the sun
    makes of a program in the course of a year, such as a dusk that comes after the off time in June: with
    these alone the file is good, exit code 0.
    """
    try:
        loaded = load(site_path)
    except SiteFileError as error:
        if not as_json:
            raise
        print_json({"site": None, "problems": _as_json(("error", problem) for problem in error.problems)})
        return 2
    problems = [("warning", problem) for problem in loaded.warnings]
    problems += _review(loaded, site_path, from_date)
    problems.sort(key=lambda each: each[1].line)
    if as_json:
        print_json({"site": loaded.site.name, "problems": _as_json(problems)})
        return 0
    for level, problem in problems:
        click.echo(f"{level}: {problem}")
    click.echo(_summary(site_path, loaded.site, problems))
    return 0


def _review(loaded: LoadedSite, site_path: Path, from_date: date | None) -> list[Levelled]:
    """Look at the year ahead, and find the lines that it concerns."""
    from config.file.loader import decode_text, read_bytes
    from config.file.toml_positions import Positions
    from config.validation.finding import write_path
    from controller.planning.planner import Planner
    from controller.planning.review import review_year

    planner = Planner(loaded.site)
    first = from_date or planner.night_at(now_utc()).date
    remarks = review_year(planner, first)
    if not remarks:
        return []
    positions = Positions(decode_text(read_bytes(site_path), str(site_path)).removeprefix("\ufeff"))
    return [
        (
            remark.weight.value,
            SiteProblem(
                file=str(site_path),
                line=(place := positions.find(remark.path)).line,
                key=write_path(remark.path),
                value=place.value,
                what=remark.what,
                remedy=remark.remedy,
            ),
        )
        for remark in remarks
    ]


def _as_json(problems: Iterable[Levelled]) -> list[dict[str, object]]:
    """Put problems into JSON's own kinds of value."""
    return [{**asdict(problem), "level": level} for level, problem in problems]


def _summary(site_path: Path, site: Site, problems: list[Levelled]) -> str:
    """Say in one line how the file is."""
    zones = f"{len(site.zones)} zone{'s' if len(site.zones) != 1 else ''}"
    found = [
        f"{number} {level}{'s' if number != 1 else ''}"
        for level in LEVELS
        if (number := sum(each == level for each, _ in problems))
    ]
    return f"{site_path}: good: “{site.name}”, {zones}; {', '.join(found) or 'nothing to say about it'}"
