"""``leerie year``: the nights to come in hours, energy, money and lamp life, and what other plans change."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import (
    date_option,
    json_option,
    load,
    print_json,
    read_option,
    site_argument,
    zone_option,
)
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from controller.forecast.mechanical_timer import MechanicalTimer


@click.command("year", short_help="Forecast the year ahead: hours, energy and cost.")
@site_argument
@date_option(
    "--from",
    "from_date",
    about="First night; else tonight, or the later day on which a mechanical timer is set.",
)
@click.option(
    "--off",
    multiple=True,
    metavar="CLOCK",
    help="Compare with: off at this time every night, such as 01:00; may be given again.",
)
@click.option(
    "--program",
    "programs",
    multiple=True,
    metavar="PROGRAM",
    help="Compare with another program, such as “dusk to 22:00 and 05:30 to dawn”; special nights stay; "
    "may be given again.",
)
@click.option(
    "--old-timer", metavar="ON-OFF", help="Compare with a mechanical timer with pins such as 21:15-23:45."
)
@date_option("--set-on", about="When that timer was set; else the first night.")
@click.option(
    "--moved-at-clock-changes", is_flag=True, help="That timer is set again after each clock change."
)
@click.option(
    "--drift-s-per-day", type=float, default=0.0, metavar="S", help="Seconds that it gains in a day."
)
@zone_option
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Draw these nights into a file.")
@json_option
def year(
    *,
    site_path: Path,
    from_date: date | None,
    off: tuple[str, ...],
    programs: tuple[str, ...],
    old_timer: str | None,
    set_on: date | None,
    moved_at_clock_changes: bool,
    drift_s_per_day: float,
    zone_ids: tuple[str, ...],
    svg: Path | None,
    as_json: bool,
) -> None:
    """Show hours, energy and cost of the 365 nights to come, by month and zone, and what other plans change.

    Differences are the other plan minus the present one: a minus saves. A mechanical timer switches the mains
    of all transformers; “dark but not lit” is the dark between dusk and its off pin without light.
    """
    from api.render.year.as_json import year_response
    from controller.forecast.year import YearQuery, forecast_year, parse_off, parse_other_program
    from controller.planning.planner import Planner

    if old_timer is None and (set_on or moved_at_clock_changes or drift_s_per_day):
        raise click.UsageError("--set-on and the like describe a timer; give its pins with --old-timer")
    planner = Planner(load(site_path).site)
    tonight = planner.night_at(now_utc()).date
    first = from_date or max(tonight, set_on or tonight)
    if set_on is not None and set_on > first:
        raise click.UsageError(
            f"the timer is set on {set_on}, after the first night; begin with --from {set_on}"
        )
    query = YearQuery(
        first=first,
        off=tuple(read_option(parse_off, text, "--off") for text in off),
        programs=tuple(read_option(parse_other_program, text, "--program") for text in programs),
        timer=_timer(old_timer, set_on or first, moved=moved_at_clock_changes, drift=drift_s_per_day),
        zones=tuple(dict.fromkeys(zone_ids)),
    )
    forecast = forecast_year(planner, query)
    if svg is not None:
        from api.render.year.svg import draw_future

        svg.write_text(draw_future(forecast), encoding="utf-8")
    if as_json:
        print_json(year_response(forecast))
        return
    from api.render.tables import show
    from api.render.year.table import lay_out_year

    show(*lay_out_year(forecast))
    if svg is not None:
        click.echo(f"\n{svg}: the picture of these nights")


def _timer(text: str | None, set_on: date, *, moved: bool, drift: float) -> MechanicalTimer | None:
    """Make the mechanical timer that was described; None where there is none."""
    from controller.forecast.mechanical_timer import MechanicalTimer, parse_pins

    def make(text: str) -> MechanicalTimer:
        pins = parse_pins(text)
        return MechanicalTimer(
            on=pins.on, off=pins.off, set_on=set_on, moved_at_clock_changes=moved, drift_s_per_day=drift
        )

    return None if text is None else read_option(make, text, "--old-timer")
