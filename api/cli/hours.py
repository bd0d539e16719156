"""``leerie hours``: run hours, missed light, energy, cost, and wear of lamps and relays, from the journal."""

from datetime import date
from pathlib import Path

import click

from api.cli.options import (
    date_option,
    dump_json,
    echo_pieces,
    json_option,
    load,
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
    type=click.Choice(["night", "month", "season", "year", "whole"]),
    default="month",
    show_default=True,
    help="One row a night (noon to noon), month, season (three whole months), year, or for all nights.",
)
@click.option(
    "--period",
    metavar="PERIOD",
    help="Only 2027, 2027-winter (begins in December 2027), 2027-06, 2027-06-21, or “DATE to DATE”.",
)
@date_option("--from", "from_date", about="First night.")
@date_option("--to", "to_date", about="Last night; else tonight.")
@click.option("--all", "everything", is_flag=True, help="All nights since the journal began.")
@zone_option
@click.option(
    "--beside",
    multiple=True,
    type=click.Choice(["last-year", "forecast"]),
    help="Put beside each period the same one a year earlier, or what the present program was expected to "
    "use; may be given twice.",
)
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
    everything: bool,
    zone_ids: tuple[str, ...],
    beside: tuple[str, ...],
    as_json: bool,
    as_csv: bool,
    replaced: tuple[str, ...],
) -> None:
    """Show what each zone did: hours, what was missed and why, energy, cost, lamps and relays.

    Without dates it shows the last 14 nights, 12 months, 4 seasons or 5 years, and with `--by whole` the sum
    of all nights. Energy is worked out from the load that a zone had at the time.
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other; give one of them")
    if replaced:
        raise click.UsageError("this only reads; write leerie replaced SITE.toml ZONE FIXTURE [--on DATE]")

    from controller.calendar.periods import Each
    from controller.history.query import Beside, HoursQuery
    from controller.history.report import stream_hours, year_to_come
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    source, now = read_journal(state, planner.site), now_utc()
    query = HoursQuery(
        by=Each(by),
        period=period,
        first=from_date,
        last=to_date,
        everything=everything,
        zones=zone_ids,
        beside=frozenset(map(Beside, beside)),
    )
    year = None if as_csv else year_to_come(planner, now)
    stream = stream_hours(planner, source, query, now_utc=now, year=year)
    if as_csv:
        from api.render.hours_csv import write_csv

        echo_pieces(write_csv(stream))
    elif as_json:
        from api.render.hours_json import write_hours_json

        echo_pieces(write_hours_json(stream, dump_json()))
        click.echo()
    else:
        from api.render.hours_table import lay_out_hours
        from api.render.tables import show_each

        show_each(lay_out_hours(stream))
