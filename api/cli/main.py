"""The entry point of ``leerie``: ``run`` straight to the lights, everything else through click.

Importing click would cost the lights a twentieth of their time, so a plain ``leerie run`` is read here.
"""

import contextlib
import gc
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

from config.errors import LeerieError, SiteFileError

LAST_PORT = 65535
REQUEST_WRONG = 2
INTERNAL_ERROR = 70  # EX_SOFTWARE of BSD's sysexits.h
STOPPED_BY_PERSON = 130  # 128 + SIGINT
READER_GONE = 141  # 128 + SIGPIPE


def main() -> NoReturn:
    """Run this process's command line, and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a question mark.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    run = parse_plain_run(sys.argv[1:])
    if run is not None:
        sys.exit(exit_code_of(run))
    from api.cli.commands import leerie

    leerie()
    raise AssertionError("click leaves with an exit code")


def parse_plain_run(words: Sequence[str]) -> Callable[[], int] | None:
    """Read ``run SITE.toml [--state DIR] [--port N] [--home] [--relays-off]``, as a unit writes it.

    Returns:
        What runs the daemon; None for everything else, which click reads or refuses.
    """
    if len(words) < 2 or words[0] != "run" or words[1].startswith("-"):  # noqa: PLR2004 - run and a file
        return None
    state, port, home, relays_off = None, None, False, False
    rest = iter(words[2:])
    for word in rest:
        if word in ("--relays-off", "--home"):
            home, relays_off = home or word == "--home", relays_off or word == "--relays-off"
            continue
        value = next(rest, "")
        if word == "--state" and value and not value.startswith("-") and not Path(value).is_file():
            state = Path(value)
        elif word == "--port" and value.isdecimal() and 1 <= int(value) <= LAST_PORT:
            port = int(value)
        else:
            return None
    return lambda: start_daemon(Path(words[1]), state=state, port=port, home=home, relays_off=relays_off)


def start_daemon(
    site_path: Path, *, state: Path | None, port: int | None, home: bool, relays_off: bool
) -> int:
    """Run the daemon to its end, and return its exit code; a port here wins over that of the site file.

    Where there is no site file yet, the page sets the garden up first; ``home`` lets a phone do that.
    """
    # Before the lights are right nothing becomes garbage, and looking for it takes a tenth of their time.
    # Looking for plugins of pydantic would read the metadata of every installed package.
    gc.disable()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        from api.daemon.last_good import is_first_run
        from api.daemon.main import run_daemon

        state = state or default_state()
        if not relays_off and is_first_run(site_path, state):
            from api.daemon.first_run import run_first

            return run_first(site_path, state=state, port=port, home=home)
        return run_daemon(site_path, state=state, port=port, relays_off=relays_off)
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


def exit_code_of(run: Callable[[], object]) -> int:
    """Run, print what went wrong on standard error, and return the exit code.

    Args:
        run: returns its exit code; anything but a number is 0.
    """
    try:
        result = run()
    except KeyboardInterrupt:
        return STOPPED_BY_PERSON
    except Exception as error:
        if os.environ.get("LEERIE_TRACEBACK"):
            raise
        if isinstance(error, LeerieError | OSError):
            print_error(_message(error))
            return REQUEST_WRONG
        what = " ".join(f"{type(error).__name__}: {error}".split())
        print_error(f"leerie: internal error: {what}; run it again with LEERIE_TRACEBACK=1 to see where")
        return INTERNAL_ERROR
    return result if isinstance(result, int) else 0


def print_error(text: str) -> None:
    """Write the lines of a text to standard error; nobody may be reading there either."""
    with contextlib.suppress(OSError):
        for line in text.splitlines():
            if line.strip():
                print(line, file=sys.stderr, flush=True)  # noqa: T201 - a message for the person who started it


def _message(error: LeerieError | OSError) -> str:
    if isinstance(error, SiteFileError):
        return str(error)
    if isinstance(error, LeerieError):
        return f"leerie: {error}"
    return f"leerie: {f'{error.filename}: ' if error.filename else ''}{error.strerror or error}"


if __name__ == "__main__":
    main()
