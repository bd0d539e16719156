"""The entry point of ``leerie``: ``run`` straight to the lights, everything else through click."""

from __future__ import annotations

import sys
from typing import NoReturn

from api.cli.exit_codes import exit_code_of
from api.cli.start import parse_plain_run, start_daemon


def main() -> NoReturn:
    """Run this process's command line, and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a question mark.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    request = parse_plain_run(sys.argv[1:])
    if request is not None:
        sys.exit(exit_code_of(lambda: start_daemon(request)))
    from api.cli.commands import leerie

    leerie()
    raise AssertionError("click leaves with an exit code")


if __name__ == "__main__":
    main()
