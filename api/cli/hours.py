"""``leerie hours``: run hours, missed light, energy, cost, and wear of lamps and relays, from the journal."""

from datetime import date
from pathlib import Path

import click

from api.cli.options import (
    date_option,
    json_option,
    load,
    print_json,
    read_journal,
    site_argument,
    state_option,
    zone_option,
)
from controller.clock.clock import now_utc


@click.command("hours", short_help="Show what ran: hours, missed light, energy, cost, wear.")
@site_argument
@state_option
@click.option(
    "--by",
    type=click.Choice(["night", "month", "season", "whole"]),
    default="month",
    show_default=True,
    help="One row a night (noon to noon), month, season (three whole months), or for all nights.",
)
@click.option(
    "--period",
    metavar="PERIOD",
    help="Only 2027-winter (begins in December 2027), 2027-06, 2027-06-21, or “DATE to DATE”.",
)
@date_option("--from", "from_date", about="First night.")
@date_option("--to", "to_date", about="Last night; else tonight.")
@zone_option
@json_option
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV (RFC 4180), a row a zone and period.")
@click.option("--replaced", hidden=True, multiple=True)
def hours(
    *,
    site_path: Path,
    state: Path,
    by: str,
    period: str | None,
    from_date: date | None,
    to_date: date | None,
    zone_ids: tuple[str, ...],
    as_json: bool,
    as_csv: bool,
    replaced: tuple[str, ...],
) -> None:
    """Show what each zone did: hours, what was missed and why, energy, cost, lamps and relays.

    Without dates it shows the last 14 nights, 12 months or 4 seasons; `--by whole` then adds up the journal's
    whole life. Energy is worked out from the load that a zone had at the time.
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other; give one of them")
    if replaced:
        raise click.UsageError("this only reads; write leerie replaced SITE.toml ZONE FIXTURE [--on DATE]")

    from controller.calendar.periods import Each
    from controller.history.query import HoursQuery
    from controller.history.report import iter_hour_rows, report_hours, year_to_come
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    source, now = read_journal(state, planner.site), now_utc()
    query = HoursQuery(by=Each(by), period=period, first=from_date, last=to_date, zones=zone_ids)
    if as_csv:
        from api.render.hours_csv import write_csv
        from api.render.numbers import currency_of

        rows = iter_hour_rows(planner, source, query, now_utc=now)
        for line in write_csv(rows, currency_of(planner.site)):
            click.echo(line, nl=False)
        return
    report = report_hours(planner, source, query, now_utc=now, year=year_to_come(planner, now))
    if as_json:
        from api.render.hours_json import to_response

        print_json(to_response(report))
        return
    from api.render.hours_table import lay_out_hours
    from api.render.tables import show

    show(*lay_out_hours(report))
