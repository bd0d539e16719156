"""``leerie run``: the daemon. This file imports nothing that the lights would have to wait for."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import click

from api.cli.options import DEFAULT_PORT, default_state, site_argument


@click.command("run")
@site_argument
@click.option(
    "--state",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of the journal; default: $STATE_DIRECTORY, else ~/.local/state/leerie.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="Port of the API, on this machine only.",
)
@click.option("--relays-off", is_flag=True, help="Only switch every relay off, and end.")
def run(*, site_path: Path, state: Path | None, port: int, relays_off: bool) -> int:
    """Light a site every night until told to stop.

    SIGTERM or Ctrl-C switches every light off and ends with exit code 0. SIGHUP reads the site file again; a
    file with errors is refused, and the old one stays in force.
    """
    # Before the lights are right nothing becomes garbage, and looking for it takes a tenth of their time.
    # Looking for plugins of pydantic would read the metadata of every installed package.
    gc.disable()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        from api.daemon.main import run_daemon

        return run_daemon(site_path, state=state or default_state(), port=port, relays_off=relays_off)
    finally:
        gc.enable()
