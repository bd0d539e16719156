"""``leerie check``: every problem of the site file at once, and what the year's sun makes of the programs."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import date_option, json_option, load, print_json, site_argument
from api.render.numbers import count
from config.errors import Severity, SiteFileError
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from api.render.check_json import Finding


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
    from api.render.check_json import check_response, find_problems, pin_response, refused_response

    try:
        loaded = load(site_path)
    except SiteFileError as error:
        if not as_json:
            raise
        print_json(refused_response(error.problems))
        return 2
    problems = find_problems(loaded, from_date, now_utc=now_utc())
    if as_json:
        print_json(check_response(loaded, problems))
        return 0
    for level, problem in problems:
        _print_problem(f"{level}: {problem}")
    for pin in map(pin_response, loaded.site.zones):
        closes = "high" if pin.active_high else "low"
        click.echo(f"zone “{pin.zone}”: BCM {pin.bcm}, header pin {pin.header}, closes on {closes}")
    click.echo(_summary(len(loaded.site.zones), problems))
    return 0


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
