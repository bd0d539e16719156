"""The exit codes of ``leerie``, and the one line on standard error that goes with each error."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable

from config.errors import LeerieError, SiteFileError

REQUEST_WRONG = 2
INTERNAL_ERROR = 70  # EX_SOFTWARE of BSD's sysexits.h
STOPPED_BY_PERSON = 130  # 128 + SIGINT
READER_GONE = 141  # 128 + SIGPIPE


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
