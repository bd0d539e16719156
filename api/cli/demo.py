"""``leerie demo``: an evening in about a minute, in the terminal and over the API, with no relay attached."""

from __future__ import annotations

import os
import sys
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import date_option, port_option

if TYPE_CHECKING:
    from api.demo.demo import Display
    from api.render.network_json import NetworkResponse

# A Friday about the equinox: every zone of the example is lit, and special nights differ.
A_GOOD_NIGHT = date(2027, 9, 17)
EXAMPLE = "full-property"
# Values of TERM for terminals whose cursor cannot move.
_CANNOT_MOVE = ("", "dumb", "unknown")


@click.command("demo", short_help="Show an evening in about a minute; needs no file.")
@click.argument("site_path", metavar="[SITE.toml]", type=click.Path(path_type=Path), required=False)
@date_option(
    "--night",
    "night_date",
    about=f"The night whose evening is shown, such as 2027-12-18; default: {A_GOOD_NIGHT}.",
)
@click.option(
    "--pace",
    type=click.FloatRange(1, 1_000_000),
    help="Times normal speed; default: so that the evening takes a minute.",
)
@port_option("Port of the API, on this machine only; default: 8010, or any if that is taken.")
@click.option("--home", is_flag=True, help="Let phones in the home network look and switch as well.")
@click.option("--stay", is_flag=True, help="Continue with the nights after it until Ctrl-C.")
def demo(
    *,
    site_path: Path | None,
    night_date: date | None,
    pace: float | None,
    port: int | None,
    home: bool,
    stay: bool,
) -> None:
    """Show an evening of an invented property in about a minute.

    Keeper, journal, API and page are those of leerie run; the clock is fast and the relays are simulated.
    Give a site file of your own to see its evening: the file is copied, and none of its relays is switched.
    """
    from tempfile import TemporaryDirectory

    from api.demo.demo import Demo
    from api.demo.lines import print_summary
    from config.file.loader import example_path
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    with TemporaryDirectory(prefix="leerie-demo-") as folder:
        result = Demo(
            Path(folder),
            site_path=site_path or example_path(EXAMPLE),
            night_date=night_date or A_GOOD_NIGHT,
            pace=pace,
            port=port,
            home=home,
        ).run(open_display, stay=stay, on_serving=_show_addresses)
    if site_path is None:
        hints = [
            "To light a garden of your own: leerie run garden.toml, and its page asks for what it needs;",
            "or leerie new garden.toml, which asks here.",
        ]
    else:
        hints = [f"To light it for real: leerie run {site_path}"]
    print_summary(result, click.echo, hints)


def _show_addresses(served: NetworkResponse) -> None:
    """Say where a phone finds the page, with a QR code where there is room for one."""
    from api.render.qr_code import show_qr_code

    if served.home:
        click.echo(f"On a phone in the home network: {served.home[0]}")
        click.echo("Whoever is in that network may look and switch: nothing is real.")
        show_qr_code(served.home[0], sys.stdout)
    for fault in served.faults:
        click.echo(f"warning: {fault}")


def open_display() -> AbstractContextManager[Display]:
    """Open a picture on a terminal, and plain lines on a pipe or for a file."""
    if not sys.stdout.isatty() or os.environ.get("TERM", "dumb") in _CANNOT_MOVE:
        from api.demo.lines import Lines

        return nullcontext(Lines(click.echo))
    from api.demo.screen import Screen

    return Screen()
