"""The way to the daemon without click, whose import would cost the lights a twentieth of their time."""

from __future__ import annotations

import gc
import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

# The same as api.web.server.PORT, which cannot be imported here: the lights would wait for it.
DEFAULT_PORT = 8010
LAST_PORT = 65535


class StartRequest(NamedTuple):
    """What ``leerie run`` was asked for; a dataclass would take three times as long to make."""

    site_path: Path
    state: Path | None
    port: int
    relays_off: bool


def parse_plain_run(words: Sequence[str]) -> StartRequest | None:
    """Read ``run SITE.toml [--state DIR] [--port N] [--relays-off]``, as a unit or a person writes it.

    Returns:
        The request; None for everything else, which click reads or refuses.
    """
    if len(words) < 2 or words[0] != "run" or words[1].startswith("-"):  # noqa: PLR2004 - run and a file
        return None
    state, port, relays_off = None, DEFAULT_PORT, False
    rest = iter(words[2:])
    for word in rest:
        if word == "--relays-off":
            relays_off = True
            continue
        value = next(rest, "")
        if word == "--state" and value and not value.startswith("-") and not Path(value).is_file():
            state = Path(value)
        elif word == "--port" and value.isdecimal() and 1 <= int(value) <= LAST_PORT:
            port = int(value)
        else:
            return None
    return StartRequest(Path(words[1]), state, port, relays_off)


def start_daemon(request: StartRequest) -> int:
    """Run the daemon to its end, and return its exit code."""
    # Before the lights are right nothing becomes garbage, and looking for it takes a tenth of their time.
    # Looking for plugins of pydantic would read the metadata of every installed package.
    gc.disable()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        from api.daemon.main import run_daemon

        state = request.state or default_state()
        return run_daemon(request.site_path, state=state, port=request.port, relays_off=request.relays_off)
    finally:
        gc.enable()


def default_state() -> Path:
    """Return the folder of the journal: what the service manager names, else the user's state folder.

    Source: systemd.exec(5), StateDirectory=; XDG Base Directory Specification, XDG_STATE_HOME.
    """
    named = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if named:
        return Path(named)
    home = os.environ.get("XDG_STATE_HOME", "")
    return (Path(home) if home.startswith("/") else Path.home() / ".local" / "state") / "leerie"
