"""``leerie demo``: a whole evening in about a minute, in the terminal and over the API, no relay needed."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import DEFAULT_PORT, take_date

if TYPE_CHECKING:
    from api.demo.demo import Display

# A Friday about the equinox: every zone of the example is lit, and special nights differ.
A_GOOD_NIGHT = date(2027, 9, 17)
EXAMPLE = "full-property"
# Terminals that cannot draw over what they have drawn.
_CANNOT_MOVE = ("", "dumb", "unknown")


@click.command("demo")
@click.argument("site_path", metavar="[SITE.toml]", type=click.Path(path_type=Path), required=False)
@click.option(
    "--night",
    "night_date",
    callback=take_date,
    metavar="DATE",
    help=f"The night whose evening is shown, such as 2027-12-18; else {A_GOOD_NIGHT}.",
)
@click.option(
    "--pace",
    type=click.FloatRange(1, 1_000_000),
    help="How many times as fast as it is; else so that the evening takes a minute.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    help=f"Port of the API, on this machine only; else {DEFAULT_PORT}, or any if it is taken.",
)
@click.option("--stay", is_flag=True, help="Go on with the nights after it until Ctrl-C.")
def demo(
    *, site_path: Path | None, night_date: date | None, pace: float | None, port: int | None, stay: bool
) -> None:
    """Show an evening of an invented property in about a minute.

    Keeper, journal, page and API are the real ones; the clock hurries, and the relays are simulated. Give a
    site file of your own to see its evening: it is copied, and no relay of it is touched.
    """
    from api.demo.demo import Demo, temporary_folder
    from api.demo.lines import print_summary
    from config.file.loader import example_path
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    with temporary_folder() as folder:
        stage = Demo(
            folder,
            site_path=site_path or example_path(EXAMPLE),
            night_date=night_date or A_GOOD_NIGHT,
            pace=pace,
            port=port,
        )
        seen = stage.play(open_display, stay=stay)
    if site_path is None:
        hints = [
            f"To light a garden of your own, copy {example_path('one-zone')},",
            "change it, and see what leerie check and leerie nights say of it.",
        ]
    else:
        hints = [f"To keep it for real: leerie run {site_path}"]
    print_summary(seen, click.echo, hints)


@contextlib.contextmanager
def open_display() -> Iterator[Display]:
    """Open a picture where somebody looks at a terminal, and plain lines for a pipe or a file."""
    from api.demo.lines import tell_lines

    if not sys.stdout.isatty() or os.environ.get("TERM", "dumb") in _CANNOT_MOVE:
        with tell_lines(click.echo) as lines:
            yield lines
        return
    from api.demo.evening_screen import open_screen

    with open_screen() as screen:
        yield screen
