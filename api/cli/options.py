"""What the commands share: arguments and options, loading the site file, printing JSON."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from api.cli.main import LAST_PORT, default_state

if TYPE_CHECKING:
    from pydantic import BaseModel

    from config.file.loader import LoadedSite
    from config.models.site import Site
    from controller.history.source import RenamedJournal

# A command, or the function that becomes one.
Command = TypeVar("Command", bound=Callable[..., Any])
Value = TypeVar("Value")


def read_option(read: Callable[[str], Value], text: str, option: str) -> Value:
    """Read what somebody wrote for an option, or refuse it and say what to write."""
    try:
        return read(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=option) from None


def _take_date(_ctx: click.Context, _param: click.Parameter, value: str | None) -> date | None:
    """Read an option's date, or refuse it and say what to write."""
    from api.render.instants import read_date

    try:
        return None if value is None else read_date(value)
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def load(path: Path) -> LoadedSite:
    """Read the site file with the newest time zone rules that this machine has, as the daemon does.

    Raises:
        SiteFileError: with every problem of the file.
    """
    from config.file.loader import load_site
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    return load_site(path)


def read_journal(place: Path, site: Site) -> RenamedJournal:
    """Read a journal, in its state folder or a copy, by what zones and fixtures are called now."""
    from controller.history.source import RenamedJournal
    from controller.journal.reader import JournalReader

    return RenamedJournal(JournalReader(place), site)


def print_json(data: BaseModel | dict[str, Any]) -> None:
    """Print data as JSON; characters that the terminal or file cannot hold are escaped."""
    click.echo(dump_json()(data))


def dump_json() -> Callable[[BaseModel | dict[str, Any]], str]:
    """Choose how JSON is written to standard output, so that its encoding holds every character."""
    from api.render.document import dump_indented

    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    return partial(dump_indented, ensure_ascii=not encoding.startswith("utf"))


def echo_pieces(pieces: Iterable[str]) -> None:
    """Print the pieces of a text as they come."""
    for piece in pieces:
        click.echo(piece, nl=False)


def date_option(name: str, *names: str, about: str) -> Callable[[Command], Command]:
    """Make an option whose value is a date."""
    return click.option(name, *names, callback=_take_date, metavar="DATE", help=about)


def port_option(about: str, **more: Any) -> Callable[[Command], Command]:  # noqa: ANN401 - as click's own option
    """Make the option that names the port of the API."""
    return click.option("--port", type=click.IntRange(1, LAST_PORT), help=about, **more)


def _take_state(_ctx: click.Context, _param: click.Parameter, value: Path | None) -> Path:
    return default_state() if value is None else value


site_argument = click.argument("site_path", metavar="SITE.toml", type=click.Path(path_type=Path))
zone_option = click.option(
    "--zone", "zone_ids", multiple=True, metavar="ID", help="Only this zone; may be given again."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
state_option = click.option(
    "--state",
    callback=_take_state,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of the journal, or a copy of one; default: $STATE_DIRECTORY, else ~/.local/state/leerie.",
)
