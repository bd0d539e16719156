"""``leerie nights``: what each zone will do, night by night."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import (
    date_option,
    dump_json,
    echo_pieces,
    json_option,
    load,
    site_argument,
    zone_option,
)
from api.render.numbers import spell_duration
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

    from controller.calendar.night import Night
    from controller.planning.plan import NightPlan
    from controller.planning.planner import Planner

# A week is shown where no last night is named; ten years at most, since more would take minutes.
MORE_NIGHTS = 6
MOST_NIGHTS = 3653


@click.command("nights")
@site_argument
@date_option("--from", "from_date", about="First night; default: tonight, by this machine's clock.")
@date_option("--to", "to_date", about="Last night; default: six nights after the first.")
@zone_option
@json_option
def nights(
    *, site_path: Path, from_date: date | None, to_date: date | None, zone_ids: tuple[str, ...], as_json: bool
) -> None:
    """Show what each zone will do, night by night.

    A night runs from noon to noon and is named by the date on which it begins. Times are local; nights with a
    clock change are marked, and their times carry the offset from UTC.
    """
    from api.render.nights_json import write_nights_json
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    first, last = _choose_nights(planner, from_date, to_date)
    zones = planner.site.zones
    wanted = [planner.site.zone(each).id for each in dict.fromkeys(zone_ids)] or [zone.id for zone in zones]
    if as_json:
        echo_pieces(write_nights_json(planner, first, last, wanted, dump_json()))
        click.echo()
    else:
        _show(planner, first, last, wanted)


def _choose_nights(planner: Planner, from_date: date | None, to_date: date | None) -> tuple[date, date]:
    first = from_date or planner.night_at(now_utc()).date
    last = to_date or first + timedelta(days=MORE_NIGHTS)
    if last < first:
        begins = f"--from {first}" if from_date else f"tonight, {first}; add --from"
        raise click.UsageError(f"--to {last} is before {begins}")
    if (last - first).days >= MOST_NIGHTS:
        raise click.UsageError(f"{first} to {last} is more than {MOST_NIGHTS} nights; ask for fewer")
    return first, last


def _show(planner: Planner, first: date, last: date, zone_ids: Sequence[str]) -> None:
    from rich.text import Text

    from api.render.tables import show_each

    title = f"{planner.site.name}, local time of {planner.site.time_zone}"
    show_each(chain([Text(title)], _lay_out(planner, first, last, zone_ids)))


def _lay_out(planner: Planner, first: date, last: date, zone_ids: Sequence[str]) -> Iterator[RenderableType]:
    """Lay out nights as tables, page after page, and the clock changes among them."""
    from rich.text import Text

    from api.render.document import in_batches
    from api.render.tables import PAGE_ROWS, QUIET, build_table, numbers, texts
    from controller.calendar.night import nights as each_night

    headings = [*texts("Night", "Zone", "Lit"), *numbers("For"), *texts("Because", folds=True)]
    changes: list[Text] = []
    for page in in_batches(each_night(first, last, planner.tz), max(PAGE_ROWS // len(zone_ids), 1)):
        rows: list[Sequence[str | Text] | None] = []
        for night in page:
            if rows and len(zone_ids) > 1:
                rows.append(None)
            change = _clock_change(night, planner)
            name = f"{night.date:%a %d %b %Y}"
            if change:
                changes.append(Text(f"* {name}: {change}", style=QUIET))
                name += " *"
            for zone_id in zone_ids:
                for row in _cells(planner, planner.plan(zone_id, night), with_offset=bool(change)):
                    rows.append([name, *row])
                    name = ""
        yield from (Text(""), build_table(headings, rows))
    if changes:
        yield from (Text(""), *changes)


def _cells(planner: Planner, plan: NightPlan, *, with_offset: bool) -> Iterator[list[str]]:
    if not plan.windows:
        yield [plan.zone, "dark", "", plan.because]
    zone = plan.zone
    for window in plan.windows:
        on, off = (
            f"{at:%a %H:%M}" + (f" ({at.isoformat()[-6:]})" if with_offset else "")
            for at in (window.on_utc.astimezone(planner.tz), window.off_utc.astimezone(planner.tz))
        )
        lasts = spell_duration(window.off_utc - window.on_utc)
        yield [zone, f"{on} to {off}", lasts, f"{window.span}, {plan.because}"]
        zone = ""


def _clock_change(night: Night, planner: Planner) -> str:
    """Say how the clocks change in a night; empty on the nights on which they do not."""
    starts, ends = (at_utc.astimezone(planner.tz) for at_utc in (night.starts_at_utc, night.ends_at_utc))
    moved = (ends.utcoffset() or timedelta()) - (starts.utcoffset() or timedelta())
    if not moved:
        return ""
    hours, rest = divmod(round(abs(moved).total_seconds() / 60), 60)
    by = " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)
    return f"the clocks go {'forward' if moved > timedelta() else 'back'} by {by}"
