"""``leerie clock``: what the clock says, whether it is trusted and why; a person may vouch for it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import json_option, port_option, print_json, site_argument, state_option

if TYPE_CHECKING:
    from api.render.clock_json import ClockReport
    from config.models.site import Site


@click.command("clock", short_help="Say what the clock says, and whether it is trusted.")
@site_argument
@click.option(
    "--confirm", is_flag=True, help="Vouch for the time that the clock says; takes a running daemon."
)
@json_option
@state_option
@port_option("Port of a running daemon, which then answers; default: as in the site file.")
def clock(*, site_path: Path, confirm: bool, as_json: bool, state: Path, port: int | None) -> int:
    """Say what the board's clock says, whether it is trusted and why; exit 1 where it is not.

    Without a trusted clock no program is followed. With --confirm a person says that the clock is right: it
    is trusted from then on, until the board starts again or something other than the network sets it. That
    works while SITE.toml has errors, too: the daemon then runs on with the last good copy.
    """
    from config.models.network import PORT

    site = _load(site_path, state, confirm=confirm)
    port = port or (PORT if site is None else site.network.port)
    report = _confirm(site, port) if confirm or site is None else _ask(site, state, port)
    if as_json:
        print_json(report)
    else:
        for line in _sentences(report, port):
            click.echo(line.replace("SITE.toml", str(site_path)))
    return 0 if report.trusted else 1


def _load(site_path: Path, state: Path, *, confirm: bool) -> Site | None:
    """Read the site file, or the last good copy as the daemon does, with a note where the file is not valid.

    Returns:
        The site; None where there is no such copy and a confirmation may go without: it is of this board's
        clock, whatever the site.
    """
    from api.daemon.last_good import load_or_last_good
    from config.errors import SiteFileError
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    site = None
    try:
        loaded, refused = load_or_last_good(site_path, state)
        site = loaded.site
    except SiteFileError as error:
        if not confirm:
            raise
        refused = str(error)
    if refused:
        what = f"{site_path} is not valid, so its last good copy counts"
        click.echo(f"note: {what}; `leerie check {site_path}` says what to fix", err=True)
    return site


def _ask(site: Site, state: Path, port: int) -> ClockReport:
    """Have the site's daemon say what it thinks of its clock; without one, look as it would."""
    from config.errors import LeerieError

    try:
        report = _ask_daemon(port)
    except (LeerieError, ValueError):  # nobody answers, or somebody else
        return _look(site, state)
    return report if report.site == site.name else _look(site, state)


def _confirm(site: Site | None, port: int) -> ClockReport:
    """Have the site's daemon trust the time that its clock says."""
    from api.cli.daemon_client import NoDaemonError, ask_daemon
    from config.errors import LeerieError
    from controller.clock.trust import RELEASED_UTC

    try:
        report = _ask_daemon(port)
    except NoDaemonError as error:
        what = "a confirmation is for a running daemon; start it with `leerie run`, or name its port"
        raise LeerieError(f"{error}: {what} with --port") from error
    if site is not None and report.site != site.name:
        raise LeerieError(
            f"the daemon on port {port} keeps “{report.site}”, not “{site.name}”; name the port with --port"
        )
    if datetime.fromisoformat(report.now) < RELEASED_UTC:
        raise LeerieError(f"not confirmed: {report.because}")
    ask_daemon(port, "PUT", "/v1/clock/confirmation", {"time": report.now})
    return _ask_daemon(port)


def _ask_daemon(port: int) -> ClockReport:
    from api.cli.daemon_client import ask_daemon
    from api.render.clock_json import ClockReport

    return ClockReport.model_validate_json(ask_daemon(port, "GET", "/v1/clock"))


def _look(site: Site, state: Path) -> ClockReport:
    """Judge the clock as a daemon that starts now would."""
    from api.render.clock_json import clock_report
    from controller.calendar.night import zone_info
    from controller.clock.trust import CONFIRMED
    from controller.journal.journal import Journal
    from controller.journal.previous_run import PreviousRun

    previous = Journal(state).previous_run() or PreviousRun()
    now = previous.make_clock(site.clock.believe).read()
    confirmed = previous.confirmed if now.trust == CONFIRMED else None
    return clock_report(
        site,
        zone_info(site.time_zone),
        now,
        since_utc=None,
        confirmed_utc=None if confirmed is None else confirmed.utc,
        basis="this machine",
    )


def _sentences(report: ClockReport, port: int) -> list[str]:
    at = datetime.fromisoformat(report.local)
    lines = [
        f"The clock says {at:%H:%M:%S} on {at:%a %d %b %Y} ({report.time_zone}, UTC{report.local[-6:]})."
    ]
    because = report.because
    if report.trusted and (told := report.since or report.confirmed_at) and ". " not in because:
        since = datetime.fromisoformat(told).astimezone(at.tzinfo)
        because += f", since {since:%H:%M} on {since:%a %d %b %Y}"
    lines.append(f"{'Trusted' if report.trusted else 'Not trusted, lights are held'}: {because}.")
    if report.trusted and report.believe == "always":
        lines.append(
            'By believe = "always", a wrong clock is followed too: lights then come on at wrong hours.'
        )
    if report.basis != "keeper":
        lines.append(f"No daemon of this site answers on port {port}; one that starts now would find this.")
    return lines
