"""``leerie year``: the nights to come in hours, energy, money and lamp life, and what other plans change."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from api.cli.options import json_option, load, now_utc, print_json, site_argument, take_date

if TYPE_CHECKING:
    from controller.forecast.mechanical_timer import OldTimer

T = TypeVar("T")


@click.command("year")
@site_argument
@click.option(
    "--from",
    "from_date",
    callback=take_date,
    metavar="DATE",
    help="First night; else tonight, or the later day on which an old timer is set.",
)
@click.option(
    "--off",
    "off",
    multiple=True,
    metavar="CLOCK",
    help="Lay beside it that every evening ends at this time, such as 01:00; may be given again.",
)
@click.option(
    "--program",
    "programs",
    multiple=True,
    metavar="PROGRAM",
    help="Lay beside it another program, such as “dusk to 22:00 and 05:30 to dawn”; special nights stay; "
    "may be given again.",
)
@click.option(
    "--old-timer", metavar="ON-OFF", help="Lay beside it a mechanical dial with pins such as 21:15-23:45."
)
@click.option(
    "--set-on", callback=take_date, metavar="DATE", help="When that dial was set right; else the first night."
)
@click.option(
    "--moved-at-clock-changes", is_flag=True, help="That dial is set right after each clock change."
)
@click.option(
    "--drift-s-per-day", type=float, default=0.0, metavar="S", help="Seconds that the dial gains in a day."
)
@click.option("--zone", "zone_ids", multiple=True, metavar="ID", help="Only this zone; may be given again.")
@click.option(
    "--svg",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Draw these nights into a file.",
)
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
    """Say what the 365 nights to come will take, by month and zone, and what other plans would change.

    Differences are the other plan less the present one: a minus saves. An old timer switches the mains of
    all transformers; “dark and unlit” is the dark that its owner had before its off pin tripped.
    """
    from api.cli.parsing import read_off, read_program
    from api.render.year_json import year_as_json
    from controller.forecast.year import YearQuery, forecast_year
    from controller.planning.planner import Planner

    if old_timer is None and (set_on or moved_at_clock_changes or drift_s_per_day):
        raise click.UsageError("--set-on and the like tell of an old timer; give its pins with --old-timer")
    planner = Planner(load(site_path).site)
    tonight = planner.night_at(now_utc()).date
    first = from_date or max(tonight, set_on or tonight)
    if set_on is not None and set_on > first:
        raise click.UsageError(
            f"the dial is set on {set_on}, after the first night; begin with --from {set_on}"
        )
    ask = YearQuery(
        first=first,
        off=tuple(_read(read_off, text, "--off") for text in off),
        programs=tuple(_read(read_program, text, "--program") for text in programs),
        timer=_timer(old_timer, set_on or first, moved=moved_at_clock_changes, drift=drift_s_per_day),
        zones=tuple(dict.fromkeys(zone_ids)),
    )
    told = forecast_year(planner, ask)
    if svg is not None:
        from api.render.year_svg import draw_future

        svg.write_text(draw_future(told), encoding="utf-8")
    if as_json:
        print_json(year_as_json(told))
        return
    from api.render.tables import show
    from api.render.year_table import lay_out_year

    show(*lay_out_year(year_as_json(told)))
    if svg is not None:
        click.echo(f"\n{svg}: the picture of these nights")


def _timer(text: str | None, set_on: date, *, moved: bool, drift: float) -> OldTimer | None:
    """Make the old timer that was described; None where there is none."""
    from api.cli.parsing import read_pins
    from controller.forecast.mechanical_timer import OldTimer

    if text is None:
        return None

    def make(pins: str) -> OldTimer:
        on, off = read_pins(pins)
        return OldTimer(on=on, off=off, set_on=set_on, moved_at_clock_changes=moved, drift_s_per_day=drift)

    return _read(make, text, "--old-timer")


def _read(read: Callable[[str], T], text: str, option: str) -> T:
    """Read an option's text, or refuse it in its own words."""
    try:
        return read(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=option) from None
