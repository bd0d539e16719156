"""``leerie check``: every problem of the site file at once, and what the year's sun makes of the programs."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import date_option, json_option, load, print_json, site_argument
from api.render.numbers import count
from config.errors import Severity, SiteFileError, SiteProblem
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from config.file.loader import LoadedSite
    from config.models.site import Zone
    from config.validation.finding import SiteFinding
    from controller.relays import BoardName

Finding = tuple[Severity, SiteProblem]


@click.command("check", short_help="Check the site file: every problem at once.")
@site_argument
@date_option("--from", "from_date", about="First night of the year that is looked at; default: tonight.")
@json_option
def check(*, site_path: Path, from_date: date | None, as_json: bool) -> int:
    """Read the site file and print every problem at once.

    With an error the file cannot be used: exit code 2. A warning is probably a mistake. A note says what is
    worth knowing: what the sun makes of a program over the year, such as a dusk after the off time in June,
    or that the relays are simulated. With warnings and notes alone the exit code is 0. At the end each zone
    is listed with its pin, by its BCM number and by its number on the header.
    """
    try:
        loaded = load(site_path)
    except SiteFileError as error:
        if not as_json:
            raise
        problems = _to_json((Severity.ERROR, problem) for problem in error.problems)
        print_json({"site": None, "problems": problems, "pins": []})
        return 2
    findings = [(Severity.WARNING, problem) for problem in loaded.warnings]
    findings += _review(loaded, from_date)
    findings.sort(key=lambda finding: finding[1].line)
    pins = [_pin_of(zone) for zone in loaded.site.zones]
    if as_json:
        print_json({"site": loaded.site.name, "problems": _to_json(findings), "pins": pins})
        return 0
    for level, problem in findings:
        _print_problem(f"{level}: {problem}")
    for pin in pins:
        closes = "high" if pin["active_high"] else "low"
        click.echo(f"zone “{pin['zone']}”: BCM {pin['bcm']}, header pin {pin['header']}, closes on {closes}")
    click.echo(_summary(len(loaded.site.zones), findings))
    return 0


def _review(loaded: LoadedSite, from_date: date | None) -> Iterator[Finding]:
    """Check what needs more than the file: the sun over the year, and this machine."""
    from config.file.loader import locate
    from controller.planning.planner import Planner
    from controller.planning.review import review_year

    planner = Planner(loaded.site)
    found = [*_review_board(loaded.site.relays.board)]
    found += review_year(planner, from_date or planner.night_at(now_utc()).date)
    for severity, finding in found:
        for problem in locate([finding], loaded.text, loaded.file_name):
            yield severity, problem


def _review_board(board: BoardName) -> Iterator[tuple[Severity, SiteFinding]]:
    from config.validation.finding import SiteFinding
    from controller.relays import SIMULATED, missing_library

    path = ("relays", "board")
    if board == "simulated":
        remedy = 'write board = "gpio" once relays are wired to the pins'
        yield Severity.NOTE, SiteFinding(path, SIMULATED, remedy)
    elif missing := missing_library(board):
        yield Severity.WARNING, SiteFinding(path, *missing)


def _pin_of(zone: Zone) -> dict[str, object]:
    """Say where a zone's relay is wired to, by both ways of counting pins."""
    from config.header import HEADER_PINS

    return {
        "zone": zone.id,
        "bcm": zone.pin,
        "header": HEADER_PINS[zone.pin],
        "active_high": zone.active_high,
    }


def _to_json(findings: Iterable[Finding]) -> list[dict[str, object]]:
    return [{**asdict(problem), "level": level} for level, problem in findings]


def _print_problem(text: str) -> None:
    """Print a problem, folded on a terminal and in one line on a pipe."""
    if sys.stdout.isatty():
        columns = shutil.get_terminal_size().columns
        text = textwrap.fill(text, columns, subsequent_indent="  ", break_on_hyphens=False)
    click.echo(text)


def _summary(zones: int, findings: Iterable[Finding]) -> str:
    number = Counter(level for level, _ in findings)
    notes = f", {count(number[Severity.NOTE], 'note')}" if number[Severity.NOTE] else ""
    if number[Severity.WARNING]:
        return f"No errors, {count(number[Severity.WARNING], 'warning')}{notes}"
    return f"OK: {count(zones, 'zone')}, no warnings{notes}"
