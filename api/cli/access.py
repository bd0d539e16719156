"""``leerie access``: where the API is reached, and who may."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

import click

from api.cli.options import json_option, load, port_option, print_json, site_argument
from controller.calendar.night import zone_info

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


_daemon_port = port_option("Port of the running daemon; default: as in the site file.")


@click.group("access", cls=_ShowByDefault, short_help="Show the address of the API, and who may use it.")
def access() -> None:
    """Show where the API is reached, and who may use it.

    `leerie access SITE.toml` shows the addresses, and a QR code for a phone. The network table of the site
    file says who can reach them. `leerie access pair SITE.toml` lets a phone in.
    """


@access.command("show", short_help="Show the addresses of the API (default).")
@site_argument
@json_option
@port_option("Port of a running daemon, which then answers; default: as in the site file.")
def show(*, site_path: Path, as_json: bool, port: int | None) -> int:
    """Show the addresses of the API, and the best as a QR code; exit 1 where something is wrong with them."""
    site = load(site_path).site
    report = _ask(site, port or site.network.port)
    if as_json:
        print_json(report)
    else:
        for line in _lines(site, report):
            click.echo(line)
        if report.home:
            from api.render.qr_code import show_qr_code

            show_qr_code(report.home[0], sys.stdout)
    return 1 if report.faults else 0


@access.command("pair", short_help="Let a phone in, with a pairing code.")
@site_argument
@click.option("--name", metavar="NAME", help="What the phone is called; it chooses if left out.")
@click.option("--read-only", is_flag=True, help="It may look at everything, and change nothing.")
@json_option
@_daemon_port
def pair(*, site_path: Path, name: str | None, read_only: bool, as_json: bool, port: int | None) -> None:
    """Print a code that a phone is let in with: once, within ten minutes."""
    from api.render.access_json import CodeResponse

    site, port, report = _find_daemon(site_path, port)
    body = {"scope": "read" if read_only else "control", "name": name}
    code = CodeResponse.model_validate_json(_send(port, "POST", "/v1/access/codes", body))
    if as_json:
        print_json(code)
        return
    ends_at = datetime.fromisoformat(code.ends_at).astimezone(zone_info(site.time_zone))
    may = "read, but not change anything" if read_only else "control everything"
    click.echo(f"Code: {code.code}")
    click.echo(f"Once, until {ends_at:%H:%M}. Whoever enters it may {may}.")
    if report.home:
        click.echo(f"Open {report.home[0]} on that device and type it in. A program: POST /v1/access/tokens")
    for line in _faults(site, report):
        click.echo(line)


@access.command("calendar", short_help="Make an address for a calendar program.")
@site_argument
@click.option("--name", metavar="NAME", default="calendar", help="What it is called in the list.")
@json_option
@_daemon_port
def calendar(*, site_path: Path, name: str, as_json: bool, port: int | None) -> None:
    """Print an address that a calendar program subscribes to; it is shown this once.

    Whoever knows it can read the nights to come, and nothing else, until it is revoked.
    """
    from api.render.access_json import CodeResponse, TokenResponse

    _, port, report = _find_daemon(site_path, port)
    body: dict[str, object] = {"scope": "calendar", "name": name}
    code = CodeResponse.model_validate_json(_send(port, "POST", "/v1/access/codes", body))
    made = _send(port, "POST", "/v1/access/tokens", {"code": code.code})
    token = TokenResponse.model_validate_json(made)
    if as_json:
        print_json(token)
        return
    base = (report.home[0] if report.home else report.board).rstrip("/")
    click.echo(f"{base}{token.calendar}")
    click.echo(f"It is called {token.name}, and is revoked with: leerie access revoke {site_path} {token.id}")


@access.command("list", short_help="List the devices that are let in.")
@site_argument
@json_option
@_daemon_port
def list_devices(*, site_path: Path, as_json: bool, port: int | None) -> None:
    """List tokens and sessions: what each may do, when it was made and last used."""
    from api.render.access_json import CredentialsResponse

    site, port, _ = _find_daemon(site_path, port)
    known = CredentialsResponse.model_validate_json(_send(port, "GET", "/v1/access/tokens"))
    if as_json:
        print_json(known)
        return
    if not known.tokens:
        click.echo(f"No device is let in. To let one in: leerie access pair {site_path}")
    tz = zone_info(site.time_zone)
    for each in known.tokens:
        made = datetime.fromisoformat(each.made_at).astimezone(tz)
        used = datetime.fromisoformat(each.used_at).astimezone(tz) if each.used_at else None
        last = f"last used {used:%Y-%m-%d %H:%M}" if used else "never used"
        click.echo(f"{each.id}  {each.name}: {each.kind}, {each.scope}, made {made:%Y-%m-%d %H:%M}, {last}")


@access.command("revoke", short_help="Shut a device out.")
@site_argument
@click.argument("token_id", metavar="ID")
@_daemon_port
def revoke(*, site_path: Path, token_id: str, port: int | None) -> None:
    """Shut a device out, by its id in the list; the sessions of a token end with it."""
    _, port, _ = _find_daemon(site_path, port)
    _send(port, "DELETE", f"/v1/access/tokens/{quote(token_id, safe='')}")
    click.echo(f"Revoked: {token_id}.")


def _find_daemon(site_path: Path, port: int | None) -> tuple[Site, int, AddressesReport]:
    """Find the daemon of a site, and where it is reached.

    Raises:
        LeerieError: none answers on the port, or that of another site.
    """
    from api.cli.daemon_client import NoDaemonError
    from config.errors import LeerieError

    site = load(site_path).site
    port = port or site.network.port
    try:
        keeps = json.loads(_send(port, "GET", "/v1/status"))["site"]
    except NoDaemonError as error:
        what = "start it with leerie run, or name its port with --port"
        raise LeerieError(f"{error}: the daemon lets devices in; {what}") from error
    if keeps != site.name:
        words = f"the daemon on port {port} keeps “{keeps}”, not “{site.name}”"
        raise LeerieError(f"{words}; name the port with --port")
    return site, port, _ask(site, port)


def _send(port: int, method: str, path: str, body: Mapping[str, object] | None = None) -> bytes:
    from api.cli.daemon_client import ask_daemon

    return ask_daemon(port, method, path, body)


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
    hosts = [each for each in addresses_to_open(settings) if not each.startswith("fe80:")]
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


def _faults(site: Site, report: AddressesReport) -> list[str]:
    """Say why the home network cannot reach the API, or not in every way."""
    if report.home or report.faults:
        return [f"error: {fault}" for fault in report.faults]
    if site.network.listen == "board":
        return ['For the home network, write listen = "home" under [network] in the site file.']
    return ["This machine has no address in a home network now. It is opened once it has one."]


def _lines(site: Site, report: AddressesReport) -> list[str]:
    lines = [f"On this machine: {report.board}"]
    if report.home:
        lines.append(f"In the home network: {', '.join(report.home)}")
        if not report.encrypted:
            lines.append(
                "Plain http: whoever is in that network can read along, codes and tokens included. For "
                "https, write certificate and key under [network]."
            )
    lines += _faults(site, report)
    if report.basis != "daemon":
        lines.append("No daemon of this site answers; one that starts now would serve this.")
    return lines
