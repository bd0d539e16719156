"""The option that says where the journal is, for the verbs that read it."""

from __future__ import annotations

from pathlib import Path

import click

from api.cli.run import default_state


def _take_state(_ctx: click.Context, _param: click.Parameter, value: Path | None) -> Path:
    """Give the folder that was named, or the usual one."""
    return default_state() if value is None else value


state_option = click.option(
    "--state",
    callback=_take_state,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of the journal, or a copy of one; else $STATE_DIRECTORY, else ~/.local/state/leerie.",
)
