"""What the verbs of the command line share: their arguments, the reading of dates and instants, and JSON.

Light on purpose: every verb imports this file, also the one that hurries to its relays.
"""

from __future__ import annotations

import os
import re
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from api.render.instants import quote, read_date, read_instant

if TYPE_CHECKING:
    from pydantic import BaseModel

    from config.file.loader import LoadedSite

_LOCAL_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2})?")


def take_date(_ctx: click.Context, _param: click.Parameter, value: str | None) -> date | None:
    """Read an option's date, or refuse it with what would do."""
    try:
        return None if value is None else read_date(value)
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def read_local_or_instant(text: str, tz: ZoneInfo) -> tuple[datetime, str]:
    """Read an instant as a person or a program writes it.

    Args:
        text: local time, with or without seconds, or RFC 3339 with its offset.
        tz: time zone of the site, for local time.

    Returns:
        The instant in UTC, and a remark where the local time is one that occurs twice or not at all.

    Raises:
        ValueError: neither of the two; says what would do.
    """
    from controller.calendar.night import local, utc_of_local

    text = text.strip()
    if not _LOCAL_TIME.fullmatch(text):
        if re.fullmatch(r"[0-9-]{10}.*", text) and re.search(r"([Zz]|[+-][0-9]{2}:[0-9]{2})$", text):
            return read_instant(text), ""
        raise ValueError(
            f"{quote(text)} is no instant; write local time such as “2027-06-21 22:30”, "
            "or RFC 3339 such as 2027-06-22T02:30:00Z"
        )
    try:
        naive = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{quote(text)} is on no clock or calendar; write one that exists") from None
    read_date(f"{naive:%Y-%m-%d}")
    at_utc = utc_of_local(naive, tz)
    shown = local(at_utc, tz)
    if shown.replace(tzinfo=None) != naive:
        what = f"the clocks go forward over it, so it is read as {shown:%H:%M}"
        return at_utc, f"{naive:%H:%M} does not occur on {naive:%Y-%m-%d}: {what}"
    if naive.replace(tzinfo=tz, fold=1).astimezone(UTC) != at_utc:
        what = "the clocks go back, and this is the first of the two"
        return at_utc, f"{naive:%H:%M} occurs twice on {naive:%Y-%m-%d}: {what}"
    return at_utc, ""


def now_utc() -> datetime:
    """Look at this machine's clock, believed as it is: it only fills in what a person left out."""
    return datetime.now(UTC)


def load(path: Path) -> LoadedSite:
    """Read the site file by the newest time zone rules that this machine has, as the daemon does.

    Raises:
        SiteFileError: with every problem of the file.
    """
    from config.file.loader import load_site
    from controller.clock.tzdata import use_newest_zone_data

    use_newest_zone_data()
    return load_site(path)


def print_json(data: BaseModel | dict[str, Any]) -> None:
    """Print data as JSON; letters that the terminal or file cannot hold are escaped."""
    if not isinstance(data, dict):
        data = data.model_dump(mode="json")
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    import json

    click.echo(json.dumps(data, indent=2, ensure_ascii=not encoding.startswith("utf")))


site_argument = click.argument("site_path", metavar="SITE.toml", type=click.Path(path_type=Path))
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of words.")


# The same as api.web.server.PORT, which cannot be imported here: the lights would wait for it.
DEFAULT_PORT = 8010


def default_state() -> Path:
    """Say where the journal lives: as the service manager says, else with what other programs keep.

    Source: systemd.exec(5), StateDirectory=; XDG Base Directory Specification, XDG_STATE_HOME.
    """
    given = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    home = os.environ.get("XDG_STATE_HOME", "")
    return (Path(home) if home.startswith("/") else Path.home() / ".local" / "state") / "leerie"


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
