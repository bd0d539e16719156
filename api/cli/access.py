"""``leerie access``: where the API is reached, and who may."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import json_option, load, port_option, print_json, site_argument

if TYPE_CHECKING:
    from api.render.network_json import AddressesReport
    from config.models.site import Site


class _ShowByDefault(click.Group):
    """A group whose first command may be left out: ``leerie access SITE.toml``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the command's name before its arguments where none was named."""
        asks_for_help = args and args[0] in ctx.help_option_names
        if not asks_for_help and (not args or args[0] not in self.commands):
            args.insert(0, "show")
        return super().parse_args(ctx, args)


@click.group("access", cls=_ShowByDefault, short_help="Show the address of the API, and who may use it.")
def access() -> None:
    """Show where the API is reached, and who may use it.

    `leerie access SITE.toml` shows the addresses, and a QR code for a phone. The network table of the site
    file says who can reach them.
    """


@access.command("show", short_help="Show the addresses of the API (default).")
@site_argument
@json_option
@port_option("Port of a running daemon, which then answers; default: as in the site file.")
def show(*, site_path: Path, as_json: bool, port: int | None) -> int:
    """Show the addresses of the API, and the best as a QR code; exit 1 where something keeps them closed."""
    site = load(site_path).site
    report = _ask(site, port or site.network.port)
    if as_json:
        print_json(report)
    else:
        for line in _lines(report):
            click.echo(line)
        if report.home:
            from api.render.qr_code import show_qr_code

            show_qr_code(report.home[0], sys.stdout)
    return 1 if report.faults else 0


def _ask(site: Site, port: int) -> AddressesReport:
    """Have the site's daemon say what it serves; without one, say what it would."""
    from api.cli.daemon_client import ask_daemon
    from api.network.addresses import addresses_to_open, url_of
    from api.render.network_json import AddressesReport
    from config.errors import LeerieError

    try:
        status = json.loads(ask_daemon(port, "GET", "/v1/status"))
        if status["site"] == site.name:
            return AddressesReport(site=site.name, basis="daemon", **status["network"])
    except (LeerieError, ValueError, LookupError, TypeError):  # nobody answers, or somebody else
        pass
    settings = site.network
    encrypted = settings.certificate is not None
    hosts = addresses_to_open(settings)
    names = list(settings.names) if hosts else []
    return AddressesReport(
        site=site.name,
        basis="site file",
        board=url_of("127.0.0.1", port),
        home=[
            url_of(each, port, encrypted=encrypted)
            for each in (names + hosts if encrypted else hosts + names)
        ],
        encrypted=encrypted,
        faults=[],
    )


def _lines(report: AddressesReport) -> list[str]:
    lines = [f"On this machine: {report.board}"]
    if report.home:
        lines.append(f"In the home network: {', '.join(report.home)}")
        if not report.encrypted:
            lines.append(
                "Plain http: whoever is in that network can read along, passwords included. For https, write "
                "certificate and key under [network]."
            )
    elif not report.faults:
        lines.append('For the home network, write listen = "home" under [network] in the site file.')
    lines += [f"error: {fault}" for fault in report.faults]
    if report.basis != "daemon":
        lines.append("No daemon of this site answers; one that starts now would serve this.")
    return lines
