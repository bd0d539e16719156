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

Finding = tuple[Severity, SiteProblem]


@click.command("check", short_help="Check the site file: every problem at once.")
@site_argument
@date_option("--from", "from_date", about="First night of the year that is looked at; default: tonight.")
@json_option
def check(*, site_path: Path, from_date: date | None, as_json: bool) -> int:
    """Read the site file and print every problem at once.

    With an error the file cannot be used: exit code 2. A warning is probably a mistake. A note says what the
    sun makes of a program over the year, such as a dusk after the off time in June. With warnings and notes
    alone the exit code is 0.
    """
    try:
        loaded = load(site_path)
    except SiteFileError as error:
        if not as_json:
            raise
        problems = _to_json((Severity.ERROR, problem) for problem in error.problems)
        print_json({"site": None, "problems": problems})
        return 2
    findings = [(Severity.WARNING, problem) for problem in loaded.warnings]
    findings += _review(loaded, site_path, from_date)
    findings.sort(key=lambda finding: finding[1].line)
    if as_json:
        print_json({"site": loaded.site.name, "problems": _to_json(findings)})
        return 0
    for level, problem in findings:
        _print_problem(f"{level}: {problem}")
    click.echo(_summary(len(loaded.site.zones), findings))
    return 0


def _review(loaded: LoadedSite, site_path: Path, from_date: date | None) -> Iterator[Finding]:
    from config.file.loader import decode_text, locate, read_bytes
    from controller.planning.planner import Planner
    from controller.planning.review import review_year

    planner = Planner(loaded.site)
    found = review_year(planner, from_date or planner.night_at(now_utc()).date)
    if not found:
        return
    name = str(site_path)
    text = decode_text(read_bytes(site_path), name).removeprefix("\ufeff")
    for severity, finding in found:
        for problem in locate([finding], text, name):
            yield severity, problem


def _to_json(findings: Iterable[Finding]) -> list[dict[str, object]]:
    rows = [{**asdict(problem), "level": level} for level, problem in findings]
    return [{key: value for key, value in row.items() if key != "where"} for row in rows]


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
