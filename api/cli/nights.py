"""``leerie nights``: what each zone will do, night by night."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import json_option, load, now_utc, print_json, site_argument, take_date

if TYPE_CHECKING:
    from rich.text import Text

    from controller.calendar.night import Night
    from controller.planning.plan import NightPlan, Window
    from controller.planning.planner import Planner

# A week is shown where nobody says how long.
MORE_NIGHTS = 6
# Ten years and the leap days in them: more is a slip of the finger, and would take minutes.
MOST_NIGHTS = 3653


@click.command("nights")
@site_argument
@click.option(
    "--from",
    "from_date",
    callback=take_date,
    metavar="DATE",
    help="First night; else tonight, by this machine's clock.",
)
@click.option(
    "--to", "to_date", callback=take_date, metavar="DATE", help="Last night; else six nights after the first."
)
@click.option("--zone", "zone_ids", multiple=True, metavar="ID", help="Only this zone; may be given again.")
@json_option
def nights(
    *, site_path: Path, from_date: date | None, to_date: date | None, zone_ids: tuple[str, ...], as_json: bool
) -> None:
    """Say what each zone will do, night by night.

    A night runs from noon to noon and is named by the date on which it begins. Times are local; nights on
    which the clocks change are marked, and their times carry the offset from UTC.
    """
    from api.render.nights_json import nights_response
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    first, last = choose_nights(planner, from_date, to_date)
    wanted = tuple(dict.fromkeys(zone_ids)) or tuple(zone.id for zone in planner.site.zones)
    for zone_id in wanted:
        planner.site.zone(zone_id)
    if as_json:
        print_json(nights_response(planner, first, last, wanted))
    else:
        _show(planner, first, last, wanted)


def choose_nights(planner: Planner, from_date: date | None, to_date: date | None) -> tuple[date, date]:
    """Say which nights are meant, where one or both ends were left out.

    Raises:
        click.UsageError: they end before they begin, or are too many.
    """
    first = from_date or planner.night_at(now_utc()).date
    last = to_date or first + timedelta(days=MORE_NIGHTS)
    if last < first:
        begins = f"--from {first}" if from_date else f"tonight, {first}; give --from as well"
        raise click.UsageError(f"--to {last} lies before {begins}")
    if (last - first).days >= MOST_NIGHTS:
        raise click.UsageError(f"{first} to {last} is more than {MOST_NIGHTS} nights; ask for fewer")
    return first, last


def _show(planner: Planner, first: date, last: date, zone_ids: Sequence[str]) -> None:
    """Print the nights as a table for people."""
    from rich.text import Text

    from api.render.tables import QUIET, TableColumn, build_table, show
    from controller.calendar.night import nights as each_night

    rows: list[Sequence[str | Text] | None] = []
    changes: list[str] = []
    for night in each_night(first, last, planner.tz):
        if rows and len(zone_ids) > 1:
            rows.append(None)
        change = clock_change(night, planner)
        name = f"{night.date:%a %d %b %Y}"
        if change:
            name += " *"
            changes.append(f"* {night.date:%a %d %b %Y}: {change}")
        for place, zone_id in enumerate(zone_ids):
            cells = _cells(planner, planner.plan(zone_id, night), with_offset=bool(change))
            rows += [[name if place == number == 0 else "", *row] for number, row in enumerate(cells)]
    headings = [
        TableColumn(heading="Night"),
        TableColumn(heading="Zone"),
        TableColumn(heading="Lit"),
        TableColumn(heading="For", right=True),
        TableColumn(heading="Because", folds=True),
    ]
    title = f"{planner.site.name}, local time of {planner.site.time_zone}"
    notes = [Text(change, style=QUIET) for change in changes]
    show(Text(title), Text(""), build_table(headings, rows), *([Text(""), *notes] if notes else []))


def _cells(planner: Planner, plan: NightPlan, *, with_offset: bool) -> Iterator[list[str]]:
    """Say what one zone does in one night: a row for each window, or one that says why it is dark."""
    from api.render.tables import spell_duration

    if not plan.windows:
        yield [plan.zone, "dark", "", plan.because]
    for number, window in enumerate(plan.windows):
        lasts = spell_duration(window.off_utc - window.on_utc)
        because = f"{window.span}, {plan.because}"
        zone = plan.zone if number == 0 else ""
        yield [zone, _spell(window, planner, with_offset=with_offset), lasts, because]


def _spell(window: Window, planner: Planner, *, with_offset: bool) -> str:
    """Give a window in local time, with its weekdays; with offsets where the clocks change."""
    on, off = (at_utc.astimezone(planner.tz) for at_utc in (window.on_utc, window.off_utc))
    offsets = [f" ({each.isoformat()[-6:]})" if with_offset else "" for each in (on, off)]
    return f"{on:%a %H:%M}{offsets[0]} to {off:%a %H:%M}{offsets[1]}"


def clock_change(night: Night, planner: Planner) -> str:
    """Say in words how the clocks change in a night; empty on the nights on which they do not."""
    starts, ends = (at_utc.astimezone(planner.tz) for at_utc in (night.starts_at_utc, night.ends_at_utc))
    moved = (ends.utcoffset() or timedelta()) - (starts.utcoffset() or timedelta())
    if not moved:
        return ""
    minutes = round(abs(moved).total_seconds() / 60)
    hours, rest = divmod(minutes, 60)
    by = " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)
    return f"the clocks go {'forward' if moved > timedelta() else 'back'} by {by}"
