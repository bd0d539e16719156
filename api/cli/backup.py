"""``leerie backup``: a consistent copy of the journal while the daemon runs, and the way back."""

import shutil
from pathlib import Path

import click

from api.cli.options import load, site_argument, state_option
from controller.clock.clock import now_utc


@click.command("backup", short_help="Back up the journal, or restore it.")
@site_argument
@click.argument("target", metavar="COPY", type=click.Path(path_type=Path))
@state_option
@click.option("--restore", is_flag=True, help="Replace the journal by COPY instead of making a copy.")
def backup(*, site_path: Path, target: Path, state: Path, restore: bool) -> None:
    """Write a consistent copy of the journal to COPY, also while the daemon runs.

    COPY is a file that does not exist yet, or a folder; into a folder go the journal and the site file, under
    names with today's date. A copy is an ordinary journal: `leerie hours --state FILE` reads it.

    To restore: stop the daemon, run `leerie backup SITE.toml COPY --restore`, start it again. COPY is then a
    file without damage; the journal that was there is kept beside it under another name.
    """
    from controller.journal.database import journal_path
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    if restore:
        _restore(target, state)
        return
    from controller.journal.backup import copy_to

    if not target.is_dir():
        copy_to(journal_path(state), target)
        click.echo(f"{target}: the journal of {planner.site.name}")
        return
    today = now_utc().astimezone(planner.tz).date()
    copy, site_copy = target / f"journal-{today}.sqlite", target / f"site-{today}.toml"
    copy_to(journal_path(state), copy)
    shutil.copyfile(site_path, site_copy)
    click.echo(f"{copy}: the journal of {planner.site.name}\n{site_copy}: its site file")


def _restore(copy: Path, state: Path) -> None:
    """Put a copy in the place of the journal."""
    from controller.journal.backup import restore
    from controller.journal.database import JOURNAL_NAME
    from controller.journal.lock import StateLock

    path = state / JOURNAL_NAME
    with StateLock(state):
        aside = restore(copy, path, now_utc())
    click.echo(f"{path}: restored from {copy}")
    if aside is not None:
        click.echo(f"{aside}: the journal that was there")
