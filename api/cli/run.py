"""``leerie run``: the options and the help of the daemon; see ``start`` for how it starts."""

from pathlib import Path

import click

from api.cli.main import start_daemon
from api.cli.options import port_option, site_argument


@click.command("run")
@site_argument
@click.option(
    "--state",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of the journal; default: $STATE_DIRECTORY, else ~/.local/state/leerie.",
)
@port_option("Port of the API; default: as in the site file.")
@click.option("--home", is_flag=True, help="Where there is no site file yet: let a phone set the garden up.")
@click.option("--relays-off", is_flag=True, help="Only switch every relay off, and end.")
def run(*, site_path: Path, state: Path | None, port: int | None, home: bool, relays_off: bool) -> int:
    """Light a site every night until told to stop.

    Where there is no SITE.toml yet, the page asks for what is needed and writes it. With --home a phone may
    do that: its pairing code is printed, and a QR code that takes it along.

    SIGTERM or Ctrl-C switches every light off and ends with exit code 0. A change of the site file is read
    once the file has been still for two seconds, and at once on SIGHUP; a file with errors is refused, and
    the old one stays in force.
    """
    return start_daemon(site_path, state=state, port=port, home=home, relays_off=relays_off)
