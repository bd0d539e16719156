"""``leerie wiring``: whether the wiring carries the load, and what every lamp gets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Unpack
from zoneinfo import ZoneInfo

import click

from api.cli.options import json_option, load, print_json
from api.cli.placing import PlacingOptions, place_lights, placing_options
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from config.models.site import Site
    from controller.inspection.report import WiringReport


@click.command("wiring", short_help="Check loads and volts, and say what to change.")
@click.argument("site_path", metavar="[SITE.toml]", required=False, type=click.Path(path_type=Path))
@click.option("--transformer", "transformer_id", metavar="ID", help="Only this transformer.")
@click.option(
    "--sheet",
    "sheet_path",
    metavar="FILE.html",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the site sheet to print: drawing, load, what to buy, what to check.",
)
@click.option(
    "--placing",
    metavar="OBJECT",
    help="Instead, with no file: how many lights for an object, where and how bright. A tree, shrub, wall or"
    " tall thing has a height and a width or length (“tree 7 ft by 5 ft”), a path a length and a width.",
)
@placing_options
@click.option(
    "--apply",
    "applied",
    type=click.IntRange(1),
    metavar="N",
    help="Write proposal N into the site file, its comments kept, and report on the wiring as it then is.",
)
@click.option("--all", "listed", is_flag=True, help="List the checks that are ok too.")
@json_option
def wiring(
    *,
    site_path: Path | None,
    transformer_id: str | None,
    sheet_path: Path | None,
    placing: str | None,
    applied: int | None,
    listed: bool,
    as_json: bool,
    **asked: Unpack[PlacingOptions],
) -> int:
    """Check the load of each transformer and the volts at every lamp, and say how to fix what is wrong.

    The fewest volts are those with everything lit and the cable warm; the most are those with a zone lit
    alone on cool cable. Exit code 1 where there is an error, 0 otherwise. This advises; fuses and breakers
    protect.
    """
    if placing is not None:
        if any(each is not None for each in (site_path, sheet_path, transformer_id, applied)):
            raise click.UsageError(
                "--placing needs no site file, and goes with its own options and --json only"
            )
        return place_lights(placing, asked, as_json=as_json)
    for option, given in asked.items():
        if given is not None:
            raise click.UsageError(f"--{option} goes with --placing")
    if site_path is None:
        raise click.MissingParameter(param_hint="'SITE.toml'", param_type="argument")
    from api.render.wiring.as_json import to_response, worst_level
    from config.errors import Severity

    site = load(site_path).site
    reports = _choose_reports(site, transformer_id)
    if applied is not None:
        site = _apply(site_path, site, reports, applied)
        reports = _choose_reports(site, transformer_id)
    if sheet_path is not None:
        _write_sheet(site, reports, sheet_path)
    if as_json:
        print_json(to_response(site, reports))
    else:
        from api.render.wiring.table import print_wiring

        print_wiring(site, reports, listed=listed)
        if sheet_path is not None:
            click.echo(f"\nThe sheet to print is {sheet_path}.")
    return 1 if worst_level(reports) is Severity.ERROR else 0


def _choose_reports(site: Site, transformer_id: str | None) -> tuple[WiringReport, ...]:
    """Report on the transformers that were asked for.

    Raises:
        click.UsageError: the site has none of that id.
    """
    from controller.inspection.report import report_site

    reports = report_site(site)
    known = [each.wiring.transformer.id for each in reports]
    if transformer_id is not None and transformer_id not in known:
        has = f"this site has {', '.join(known)}" if known else "this site has none"
        raise click.UsageError(f"no transformer is called “{transformer_id}”; {has}")
    return tuple(each for each in reports if transformer_id in (None, each.wiring.transformer.id))


def _apply(site_path: Path, site: Site, reports: tuple[WiringReport, ...], number: int) -> Site:
    """Write a proposal into the site file, and say which; on standard error, as JSON may follow.

    Raises:
        click.UsageError: there is no such proposal, or it is not clear for which transformer.
        SiteFileError: the file was changed meanwhile, or cannot be written.
    """
    from config.file.cable_editor import write_changes

    mended = [report for report in reports if report.proposals]
    if not mended:
        raise click.UsageError("there are no proposals to apply")
    if len(mended) > 1:
        names = ", ".join(report.wiring.transformer.id for report in mended)
        raise click.UsageError(f"{names} have proposals; name one with --transformer")
    [report] = mended
    if number > len(report.proposals):
        last = len(report.proposals)
        raise click.UsageError(f"there is no proposal {number}; the last one is {last}")
    proposal = report.proposals[number - 1]
    loaded = write_changes(site_path, site, proposal.changes)
    click.echo(f"Written into {site_path}: {proposal.words}.", err=True)
    return loaded.site


def _write_sheet(site: Site, reports: tuple[WiringReport, ...], path: Path) -> None:
    from api.render.wiring.site_sheet import make_sheet

    today = now_utc().astimezone(ZoneInfo(site.time_zone)).date()
    path.write_text(make_sheet(site, reports, today), encoding="utf-8")
