"""``leerie report``: the report of a season as a page to print."""

from pathlib import Path

import click

from api.cli.options import json_option, load, print_json, read_journal, site_argument, state_option
from controller.clock.clock import now_utc


@click.command("report", short_help="Write a season's report, to print.")
@site_argument
@click.argument("season", metavar="SEASON")
@state_option
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write to FILE; else to a file in this folder, named after the site file and the season.",
)
@click.option("--overwrite", is_flag=True, help="Overwrite the file if it exists.")
@json_option
def report(
    *, site_path: Path, season: str, state: Path, out: Path | None, overwrite: bool, as_json: bool
) -> None:
    """Write the report of a season as a page of HTML, and say where it is.

    SEASON is 2027-winter (begins in December 2027), a month such as 2027-06, a year such as 2027, or “DATE to
    DATE”. Open the page in a browser to print it on A4 or Letter, or to save it as a PDF. The daemon may be
    running meanwhile. A file that exists is kept, unless --overwrite is given.
    """
    from api.render.season_report import write_report
    from controller.history.report import year_to_come
    from controller.history.season import report_season
    from controller.planning.planner import Planner

    planner, now = Planner(load(site_path).site), now_utc()
    source = read_journal(state, planner.site)
    found = report_season(planner, source, season, now_utc=now, year=year_to_come(planner, now))
    period = found.period
    path = out or Path(f"{site_path.stem}-{period.name.replace(' ', '-')}.html")
    page = write_report(found)
    try:
        with path.open("w" if overwrite else "x", encoding="utf-8") as file:
            file.write(page)
    except FileExistsError:
        what = f"{path} exists; name another file with --out, or overwrite it with --overwrite"
        raise click.UsageError(what) from None
    if as_json:
        print_json({"site": planner.site.name, "period": period.name, "file": str(path)})
    else:
        click.echo(f"{path}: the report of {period.name}, to print")
